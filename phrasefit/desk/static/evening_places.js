// ------------------------------------------ the places of an evening: dances and lessons
//
// Every button names its dance for those who do not see it; `data-focus` is what finds the
// button again after the list was drawn anew.

import { make, once } from "./elements.js";

/** Make the rows of an evening. */
export function placesOf(page) {
  const n = page.state.rows.filter((row) => row.place).length;
  return page.state.rows.map((row) => (row.kind === "lesson" ? lesson(row) : dance(page, row, n)));
}

/**
 * Make of `more(place)` what is sent about the dance of a row: where it is by then, as what was
 * pressed before may have moved it, and nothing if it is gone.
 */
function aboutThe(row, { rows: drawn }) {
  const isSame = (other) => other.song === row.song && other.routine === row.routine;
  const which = drawn.filter(isSame).indexOf(row);
  return (more) => ({ rows }) => {
    const place = rows.filter(isSame)[which]?.place;
    return place ? { place, ...more?.(place) } : null;
  };
}

const lesson = (row) => make("li", { class: "lesson" },
  make("span", { class: "when" }, row.when), make("strong", {}, row.names[0]));

function dance(page, row, n) {
  const there = aboutThe(row, page.state);
  const item = make("li", { class: row.locked ? "dance locked" : "dance", data: { place: row.place } },
    make("span", { class: "when" }, row.when ?? ""),
    make("span", { class: "number" }, row.place),
    make("div", { class: "what" },
      make("strong", {}, row.names[0]), make("span", {}, row.names[1]),
      row.kind === "fault" ? make("p", {}, `Cannot be danced: ${row.fault}.`) : said(row)),
    make("div", { class: "keys" }, handleOf(page, row, there), keysOf(page, row, n, there)));
  return item;
}

function said(row) {
  const again = row.again.length ? [make("p", {}, `The routine comes again at place ${row.again.join(", ")}.`)] : [];
  return [
    make("p", {}, row.facts),
    row.calls.map((words) => make("p", { class: "call" }, words)),
    make("p", { class: "quiet" }, row.locked ? `locked; ${row.why}` : row.why),
    again,
  ];
}

function keysOf(page, row, n, there) {
  const { place } = row;
  const busy = Boolean(page.state.searching);
  const key = (name, words, off, onclick, more = {}) => make("button", {
    onclick, disabled: busy || off, "aria-label": `${words}: ${row.names[0]}, place ${place}`,
    data: { focus: `${name}-${place}` }, ...more,
  }, words);
  const move = (by, name) => page.change("move", there((now) => {
    const to = clamp(now + by, 1, n);
    page.moved = { from: `${name}-${now}`, to: `${name}-${to}` };
    return { to };
  }), `${row.names[0]} is ${name} by one place`);
  return [
    key("earlier", "Earlier", place === 1, () => move(-1, "earlier")),
    key("later", "Later", place === n, () => move(1, "later")),
    key("lock", "Lock", false, () => page.change("lock", there(() => ({ on: !row.locked })),
      row.locked ? `Place ${place} is free` : `Place ${place} is locked`), { "aria-pressed": String(row.locked) }),
    key("swap", "Next best", row.locked, () => page.search(there(), "Looking for the next best")),
    make("a", { class: "button", href: `/sheet/${row.song}?routine=${encodeURIComponent(row.routine)}`,
      "aria-label": `Sheet: ${row.names[0]}` }, "Sheet"),
    key("remove", "Remove", false, once(() => page.change("drop", there(), `${row.names[0]} is removed; Undo brings it back`))),
  ];
}

/** Make the handle by which a dance is dragged; the buttons do the same without dragging. */
function handleOf(page, row, there) {
  const handle = make("span", { class: "handle", "aria-hidden": "true", title: "Drag to another place" }, "↕");
  handle.addEventListener("pointerdown", (down) => {
    if (page.state.searching || down.button !== 0) return;
    down.preventDefault();
    const item = handle.closest("li");
    const items = [...item.parentNode.querySelectorAll("li.dance")];
    let to = row.place;
    handle.setPointerCapture(down.pointerId);
    item.classList.add("dragged");
    const over = (move) => {
      const under = items.findLast((other) => other.getBoundingClientRect().top <= move.clientY) ?? items[0];
      to = Number(under.dataset.place);
      for (const other of items) other.classList.toggle("target", other === under && other !== item);
    };
    const drop = (up) => {
      handle.removeEventListener("pointermove", over);
      for (const other of items) other.classList.remove("target", "dragged");
      if (up.type === "pointerup" && to !== row.place) {
        page.change("move", there(() => ({ to })), `${row.names[0]} is now at place ${to}`);
      }
    };
    handle.addEventListener("pointermove", over);
    handle.addEventListener("pointerup", drop, { once: true });
    handle.addEventListener("pointercancel", drop, { once: true });
  });
  return handle;
}
