// ------------------------------------------------------------------ a short menu beside a button

import { make } from "../elements.js";

/** Open a menu of `[words, work]` under a button; Escape or a tap elsewhere closes it. */
export function menuFor(button, choices) {
  document.getElementById("menu")?.remove();
  const menu = make("div", { id: "menu", class: "menu", role: "menu" });
  const close = ({ back = true } = {}) => {
    menu.remove();
    document.removeEventListener("pointerdown", outside, true);
    if (back) button.focus();
  };
  const outside = (event) => { if (!menu.contains(event.target)) close({ back: false }); };
  menu.append(...choices.map(([words, work]) =>
    make("button", { role: "menuitem", onclick: () => { close(); work(); } }, words)));
  menu.addEventListener("keydown", (event) => {
    const items = [...menu.children];
    const at = items.indexOf(document.activeElement);
    const to = { ArrowDown: at + 1, ArrowUp: at - 1, Home: 0, End: items.length - 1 }[event.key];
    if (event.key === "Escape" || event.key === "Tab") close();
    else if (to !== undefined) items[(to + items.length) % items.length].focus();
    else return;
    event.preventDefault();
    event.stopPropagation();
  });
  button.after(menu);
  document.addEventListener("pointerdown", outside, true);
  menu.firstChild.focus();
}
