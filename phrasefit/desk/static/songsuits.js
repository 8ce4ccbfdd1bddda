// ------------------------------------------------------------- which routines suit one song

import { make, tried } from "./elements.js";
import { get } from "./server.js";

/** Open the list of routines for a song, the best first; each leads to its sheet. */
export function showSuits(song) {
  const body = make("div", { role: "status" }, make("p", {}, "Trying every routine…"));
  const gone = new AbortController();
  const dialog = make("dialog", { class: "suits", "aria-labelledby": "suits-title",
    onclose: () => { gone.abort(); dialog.remove(); } },
    make("h2", { id: "suits-title" }, `Which routine suits ${song.title}?`), body,
    make("p", { class: "keys" }, make("button", { type: "button", onclick: () => dialog.close() }, "Close")));
  dialog.addEventListener("click", (event) => { if (event.target.closest("a")) dialog.close(); });
  document.body.append(dialog);
  dialog.showModal();
  tried(async () => {
    const found = await get(`/api/songs/${song.hash}/suits`, gone.signal);
    const link = (one) => make("a", { href: `/sheet/${song.hash}?routine=${encodeURIComponent(one.key)}` }, one.name);
    body.replaceChildren(
      found.routines.length ? "" : make("p", {}, "No routine fits this song."),
      make("ul", {}, found.routines.map((one) => make("li", {}, make("p", {}, link(one)), make("p", {}, one.line),
        one.change_percent ? make("p", { class: "quiet" }, `tempo: ${one.tempo_verdict}`) : null))),
      found.unfit.length ? make("details", {}, make("summary", {}, "Not for this song"),
        make("ul", {}, found.unfit.map((one) => make("li", {}, `${one.name}: ${one.reason}`)))) : "");
  });
}
