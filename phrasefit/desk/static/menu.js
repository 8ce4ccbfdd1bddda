// --------------------------------------------------------- the menu of a count, in words
//
// Pattern: menu button and menu of the ARIA Authoring Practices Guide (W3C): arrows move,
// Home and End too, Escape closes, and the focus goes back to where it came from.

import { make } from "./elements.js";

let open = null;

/** Close the menu that is open, if one is. */
export function closeMenu({ focus = true } = {}) {
  if (!open) return;
  const { menu, from, stop } = open;
  open = null;
  stop.abort();
  menu.remove();
  from().setAttribute?.("aria-expanded", "false");
  if (focus) from().focus();
}

/**
 * Open a menu beside what `from()` gives. `title` names it; `groups` hold a `name` and `items`,
 * each with `words` and `work`, and perhaps `said`, what a screen reader says in their place.
 * `step(n)` shows the menu of the place `n` before or behind.
 */
export function openMenu({ from, title, groups, step }) {
  closeMenu({ focus: false });
  const stop = new AbortController();
  const item = ({ words, work, said }) => make("button", {
    role: "menuitem", tabindex: "-1", "aria-label": said ?? null,
    onclick: () => { closeMenu(); work(); },
  }, words);
  const parts = groups.filter((group) => group.items.length).map((group) =>
    make("div", { role: "group", "aria-label": group.name },
      make("span", { class: "of", "aria-hidden": "true" }, group.name),
      make("div", { class: "items", role: "none" }, group.items.map(item))));
  const menu = make("div", { role: "menu", "aria-label": title, class: "count-menu" },
    make("div", { class: "head", role: "group", "aria-label": "which count" },
      make("button", { role: "menuitem", tabindex: "-1", "aria-label": "a count earlier", onclick: () => step(-1) }, "‹"),
      make("b", { "aria-hidden": "true" }, title),
      make("button", { role: "menuitem", tabindex: "-1", "aria-label": "a count later", onclick: () => step(1) }, "›")),
    parts);
  document.getElementById("view").append(menu);
  open = { menu, from, stop };
  from().setAttribute("aria-expanded", "true");
  placeBeside(menu, from());
  const items = [...menu.querySelectorAll("[role=menuitem]")];
  menu.addEventListener("keydown", (event) => onKey(event, items, step));
  document.addEventListener("pointerdown", (event) => {
    if (!menu.contains(event.target)) closeMenu({ focus: false });
  }, { signal: stop.signal });
  items[2].focus({ preventScroll: true });
}

function onKey(event, items, step) {
  const at = items.indexOf(document.activeElement);
  const to = { ArrowDown: at + 1, ArrowUp: at - 1, Home: 2, End: items.length - 1 }[event.key];
  if (to !== undefined) items[mod(to, items.length)].focus();
  else if (event.key === "ArrowLeft") step(-1);
  else if (event.key === "ArrowRight") step(1);
  else if (event.key === "Escape" || event.key === "Tab") closeMenu();
  else return;
  event.preventDefault();
  event.stopPropagation();
}

/** Put the menu under the place, above it where there is more room, and inside the window. */
function placeBeside(menu, place) {
  const box = place.getBoundingClientRect();
  const { offsetWidth: width, offsetHeight: height } = menu;
  const below = box.bottom + 6 + height <= innerHeight;
  const above = box.top - 6 - height >= 0;
  const top = below ? box.bottom + 6 : above ? box.top - 6 - height : Math.max(4, innerHeight - height - 4);
  menu.style.top = `${top}px`;
  menu.style.left = `${clamp(box.left - 20, 4, Math.max(4, innerWidth - width - 4))}px`;
}
