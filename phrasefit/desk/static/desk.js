// ------------------------------------------------------- the frame: five views, one address each
//
// A view is a module in views/ that has `title` and `show(main, place)`: it fills `main` and
// may return a function that is called when the person leaves. Styles find it by its name as a
// class, or by `room` where the view has one. `place` holds `path`, the
// pieces of the address after the view's name, and `query`, a URLSearchParams.

import { away, make, say, tried, trouble } from "./elements.js";
import { saveLink } from "./saving.js";
import { awayOf, moduleAt, post } from "./server.js";

const VIEWS = ["songs", "routines", "sheet", "evening", "record"];
const main = document.getElementById("view");
let leave = null;
let shown = 0;

/** Go to an address of the desk. */
export function go(address, { replace = false } = {}) {
  history[replace ? "replaceState" : "pushState"](null, "", address);
  return showPlace();
}

function place() {
  const [view = "songs", ...path] = location.pathname.split("/").filter(Boolean).map(decodeURIComponent);
  return { view: VIEWS.includes(view) ? view : "songs", path, query: new URLSearchParams(location.search) };
}

async function showPlace() {
  const here = place();
  const turn = ++shown;
  leave?.();
  leave = null;
  for (const link of document.querySelectorAll("#top nav a")) {
    if (link.pathname === `/${here.view}`) link.setAttribute("aria-current", "page");
    else link.removeAttribute("aria-current");
  }
  await tried(async () => {
    const view = await moduleAt(`/static/views/${here.view}.js`);
    if (turn !== shown) return;
    document.title = `${view.title} – the desk`;
    const room = make("div", { class: view.room ?? here.view });
    main.replaceChildren(room);
    say(view.title); // now: later it would talk over what the view says
    const left = await view.show(room, here);
    if (turn === shown) leave = left ?? null;
    else left?.();
  });
}

document.addEventListener("click", (event) => {
  const link = event.target.closest("a[href^='/']");
  const plain = event.button === 0 && !(event.ctrlKey || event.metaKey || event.shiftKey || event.altKey);
  if (!link || !plain || link.target) return;
  if (link.hasAttribute("download")) {
    event.preventDefault();
    saveLink(link);
    return;
  }
  if (!VIEWS.includes(link.pathname.split("/")[1])) return;
  event.preventDefault();
  go(link.pathname + link.search);
  main.focus({ preventScroll: true });
});
window.addEventListener("popstate", showPlace);

/** Keep the browser from opening a file that is dropped where no view takes it. */
function keepHere(event) {
  if (event.defaultPrevented || !event.dataTransfer?.types.includes("Files")) return;
  event.preventDefault();
  if (event.type === "drop") trouble("drop songs on the view Songs, routine files on the view Routines");
}
for (const kind of ["dragover", "drop"]) window.addEventListener(kind, keepHere);

const dark = document.getElementById("dark");
function setDark(on) {
  document.documentElement.classList.toggle("dark", on);
  dark.setAttribute("aria-pressed", on);
  try { localStorage.setItem("dark", on ? "yes" : "no"); } catch { /* a browser that keeps nothing */ }
}
dark.addEventListener("click", () => setDark(!document.documentElement.classList.contains("dark")));
try { setDark(localStorage.getItem("dark") === "yes"); } catch { /* likewise */ }

let isStopped = false; // here, and told in full
awayOf({ lost: () => away(!isStopped), found: () => away(false) });

document.getElementById("stop").addEventListener("click", () => tried(async () => {
  await post("/api/stop");
  isStopped = true;
  leave?.();
  main.replaceChildren(make("h1", {}, "The desk is closed"),
    make("p", {}, "Nothing is lost. You can close this window; start the desk again from its icon."));
  document.getElementById("top").hidden = true;
}));

showPlace();
