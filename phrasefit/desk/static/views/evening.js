// ------------------------------------------------------------------------- the view "Evening"
//
// /evening lists the evenings, /evening/ID is one of them, /evening/ID/run the dark screen.

import { go } from "../desk.js";
import { make, once, say, tried, triedUnasked } from "../elements.js";
import { showPlan } from "../evening_plan.js";
import { showRun } from "../evening_run.js";
import { onceLetGo } from "../letting-go.js";
import { get, news, post } from "../server.js";

export const title = "Evening";

/** Fill `main` with the list, one evening, or the screen of the one that is run. */
export async function show(main, { path: [id, what] }) {
  if (!id) return showList(main);
  return what === "run" ? showRun(main, id) : showPlan(main, id);
}

async function showList(main) {
  const list = make("ul", { class: "evenings" });
  main.append(
    make("h1", {}, "Evenings"),
    make("p", {}, "An evening is songs with routines in their order: filled by your wishes, changed by hand, printed, run."),
    make("p", { class: "keys" }, make("button", { class: "main", onclick: once(() => begin({})) }, "New evening")),
    list,
  );
  let evenings = [];
  const draw = onceLetGo(list, () => {
    list.replaceChildren(...evenings.map(rowOf));
    if (!evenings.length) list.append(make("li", { class: "quiet" }, "None yet."));
  });
  const ask = async () => {
    ({ evenings } = await get("/api/evenings"));
    draw();
  };
  await triedUnasked(ask); // a drop on the view meanwhile is told, and stays
  const again = () => triedUnasked(ask);
  return news("evening", again, again);
}

/** Make an evening, perhaps as another one was, and open it. */
const begin = (how) => tried(async () => {
  const made = await post("/api/evenings", how);
  await go(`/evening/${made.id}`);
});

function rowOf(evening) {
  const n = evening.n_dances;
  const about = [evening.date, evening.where, `${n} dance${n === 1 ? "" : "s"}`].filter(Boolean).join(", ");
  const remove = async () => {
    if (!confirm(`Remove the evening “${evening.title}”? What was danced stays in the record.`)) return;
    await tried(() => post(`/api/evenings/${evening.id}/remove`, { revision: evening.revision }));
    say(`${evening.title} is removed`);
  };
  return make("li", { class: "card" },
    make("a", { class: "name", href: `/evening/${evening.id}` }, evening.title || "Without a name"),
    make("p", { class: "quiet" }, about),
    make("div", { class: "keys" },
      make("a", { class: "button", href: `/evening/${evening.id}/run`, "aria-label": `Run ${evening.title}` }, "Run"),
      make("button", { onclick: once(() => begin({ copy_of: evening.id })), "aria-label": `Copy ${evening.title}` }, "Copy"),
      make("button", { onclick: once(remove), "aria-label": `Remove ${evening.title}` }, "Remove")));
}
