// ------------------------------------------------------- a long table of which few rows are drawn
//
// Only the rows in sight, and some around them, are in the page. Each says which row it is
// (aria-rowindex) and the table how many there are (aria-rowcount), so that a screen reader
// knows the whole. The page itself scrolls; rows are as high as the style sheet says.

import { make } from "./elements.js";
import { onceLetGo } from "./letting-go.js";

const AROUND = 12; // rows drawn above and below those in sight

const classOf = (column) => `cell ${column.key}${column.number ? " number" : ""}`;

/**
 * Make a table.
 *
 * `columns` are `{ key, name, number, sorts }`, the name being shown of those that sort; `cells(row)` gives what stands in each, `id(row)`
 * names a row; `onsort(key)` is called when a person wants another order.
 */
export function songTable({ label, columns, cells, id, onsort }) {
  const head = make("div", { role: "row", "aria-rowindex": 1, class: "row head" }, columns.map(heading));
  const body = make("div", { role: "rowgroup", class: "rows" });
  const table = make("div", { role: "table", "aria-label": label, class: "songtable" },
    make("div", { role: "rowgroup", class: "top" }, head), body);
  const drawn = new Map();
  let rows = [];
  let height = 0;
  let next = { rows, afresh: false }; // what is shown as soon as no row is pressed

  function heading(column) {
    const name = column.sorts
      ? make("button", { onclick: () => onsort(column.key) }, column.name)
      : make("span", { class: "unseen" }, column.name);
    return make("div", { role: "columnheader", class: classOf(column), data: { key: column.key } }, name);
  }

  function element(row) {
    const inside = cells(row);
    return make("div", { role: "row", class: "row" }, columns.map((column, i) =>
      make("div", { role: "cell", class: classOf(column) }, inside[i])));
  }

  function draw() {
    const box = body.getBoundingClientRect();
    const first = Math.max(0, Math.floor(-box.top / height) - AROUND);
    const end = Math.min(rows.length, Math.ceil((window.innerHeight - box.top) / height) + AROUND);
    const wanted = new Set();
    for (let i = first; i < end; i++) {
      const name = id(rows[i]);
      wanted.add(name);
      let row = drawn.get(name);
      if (!row) {
        row = element(rows[i]);
        drawn.set(name, row);
      }
      const at = `${i * height}px`;
      if (row.style.top !== at) row.style.top = at;
      if (row.ariaRowIndex !== String(i + 2)) row.ariaRowIndex = String(i + 2);
    }
    for (const [name, row] of drawn) {
      if (!wanted.has(name) && !row.contains(document.activeElement)) {
        row.remove();
        drawn.delete(name);
      }
    }
    // In their order, also for the keyboard and for those who listen.
    let after = null;
    for (let i = end - 1; i >= first; i--) {
      const row = drawn.get(id(rows[i]));
      if (row.parentNode !== body || row.nextSibling !== after) body.insertBefore(row, after);
      after = row;
    }
  }

  function measure() {
    const probe = make("div", { class: "row" });
    body.append(probe);
    height = probe.offsetHeight || 48;
    probe.remove();
    body.style.height = `${rows.length * height}px`;
    draw();
  }

  /** Go to a row by its place, and put the focus on its link. */
  function focus(i) {
    if (!rows.length) return;
    const row = rows[Math.max(0, Math.min(rows.length - 1, i))];
    const place = rows.indexOf(row) * height;
    const top = body.getBoundingClientRect().top + place;
    if (top < head.offsetHeight || top + height > window.innerHeight) {
      window.scrollBy(0, top - window.innerHeight / 2);
    }
    draw();
    drawn.get(id(row)).querySelector("a").focus({ preventScroll: true });
  }

  table.addEventListener("keydown", (event) => {
    const row = event.target.closest("[role=row]");
    const steps = { ArrowDown: 1, ArrowUp: -1, PageDown: 10, PageUp: -10, Home: -Infinity, End: Infinity };
    if (!row?.ariaRowIndex || row === head || !(event.key in steps)) return;
    event.preventDefault();
    focus(Number(row.ariaRowIndex) - 2 + steps[event.key]);
  });
  const showNext = onceLetGo(body, () => {
    const { afresh } = next;
    const first = Math.floor(-body.getBoundingClientRect().top / height);
    const inSight = afresh && first >= 0 ? rows[first] : null;
    rows = next.rows;
    next.afresh = false;
    if (afresh) {
      for (const row of drawn.values()) row.remove();
      drawn.clear();
    }
    table.setAttribute("aria-rowcount", rows.length + 1);
    measure();
    const now = inSight ? rows.findIndex((row) => id(row) === id(inSight)) : -1;
    if (now >= 0) window.scrollBy(0, (now - first) * height); // what is looked at stays in sight
  });
  let asked = false;
  const soon = () => {
    if (asked) return;
    asked = true;
    requestAnimationFrame(() => { asked = false; draw(); });
  };
  window.addEventListener("scroll", soon, { passive: true });
  window.addEventListener("resize", measure);

  return {
    element: table,
    /** Show these rows; `afresh` draws also those anew that are in sight. */
    show(those, { afresh = false } = {}) {
      next = { rows: those, afresh: afresh || next.afresh };
      showNext();
    },
    /** Say by which column it is sorted. */
    sorted(key, direction) {
      for (const cell of head.children) {
        if (cell.dataset.key === key) cell.setAttribute("aria-sort", direction);
        else cell.removeAttribute("aria-sort");
      }
    },
    end() {
      window.removeEventListener("scroll", soon);
      window.removeEventListener("resize", measure);
    },
  };
}
