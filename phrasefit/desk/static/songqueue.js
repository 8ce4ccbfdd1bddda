// -------------------------------------- songs being heard, left for later, and those that failed

import { make, say, tried, triedUnasked } from "./elements.js";
import { onceLetGo } from "./letting-go.js";
import { get, news, post } from "./server.js";

const songs = (n) => `${n} song${n === 1 ? "" : "s"}`;

/** Make the panel for `room`; of what it gives `asked` is kept once it is drawn, `end` ends it. */
export function songQueue(room) {
  const now = make("div", { class: "hearing" });
  const failed = make("div", { class: "failed" });
  const element = make("section", { class: "queue", "aria-label": "Songs being heard" }, now, failed);
  let was = false;
  let state = null;

  const button = (words, address, value) => make("button", {
    onclick: () => tried(async () => { await post(address, value); }) }, words);

  function show(newer) {
    if (was && !newer.working) say("all songs are heard");
    was = newer.working;
    state = newer;
    draw();
  }

  // It grows and goes, and rows below it with it: not while one of them is pressed.
  const draw = onceLetGo(room, () => {
    now.replaceChildren();
    if (state.working) {
      now.append(
        make("p", { class: "doing" }, make("strong", {}, `Listening to song ${Math.min(state.done + 1, state.all)} of ${state.all}`),
          state.now.length ? `: ${state.now.join(", ")}` : "",
          make("span", { class: "quiet" }, state.left ? ` – about ${state.left} left` : "")),
        make("progress", { max: state.all, value: state.done, "aria-label": "songs heard" }),
        button("Stop", "/api/songs/hearing/stop"));
    } else if (state.unheard) {
      now.append(make("p", {}, `${songs(state.unheard)} not heard yet.`),
        make("div", { class: "keys" }, button("Hear them", "/api/songs/hearing/on"),
          button("Leave them out", "/api/songs/hearing/give-up")));
    }
    failed.replaceChildren();
    if (state.n_failed) failed.append(failures());
    element.hidden = !now.children.length && !state.n_failed;
  });

  function failures() {
    const open = failed.dataset.open === "yes";
    const all = state.failed.map((one) => one.name);
    return make("details", { open, ontoggle: (event) => { failed.dataset.open = event.target.open ? "yes" : "no"; } },
      make("summary", {}, `${songs(state.n_failed)} could not be used`),
      make("ul", {}, state.failed.map((one) => make("li", {},
        make("p", {}, make("strong", {}, one.title), `: ${one.reason}`),
        make("div", { class: "keys" },
          one.anyway ? again("Hear it anyway", one, true) : one.again ? again("Try again", one, false) : null,
          away("Take away", [one.name], one.title))))),
      all.length > 1 ? away("Take all away", all, "all of them") : null);
  }

  const again = (words, one, anyway) => make("button", { "aria-label": `${words}: ${one.title}`,
    onclick: () => tried(() => post("/api/songs/again", { names: [one.name], anyway })) }, words);
  const away = (words, names, which) => make("button", { "aria-label": `${words}: ${which}`,
    onclick: () => tried(() => post("/api/songs/take-away", { names })) }, words);

  const ask = () => triedUnasked(async () => show(await get("/api/songs/hearing")));
  const ends = [news("hearing", show), news("open", ask)];
  return { element, asked: ask(), end: () => ends.forEach((end) => end()) };
}
