// --------------------------------------------------------------------------- the view "Songs"

import { fill, make, once, say, tried, triedUnasked } from "../elements.js";
import { onceLetGo } from "../letting-go.js";
import { get, news, post } from "../server.js";
import { chooseFolder, confirmed, copy, filesOf, onlySongs } from "../songadding.js";
import { songQueue } from "../songqueue.js";
import { songTable } from "../songtable.js";
import { showSuits } from "../songsuits.js";

export const title = "Songs";

const COLUMNS = [
  { key: "title", name: "Title", sorts: true },
  { key: "artist", name: "Artist", sorts: true },
  { key: "tempo", name: "Counts a minute", number: true, sorts: true },
  { key: "length", name: "Length", number: true, sorts: true },
  { key: "sure", name: "How sure", sorts: true },
  { key: "fit", name: "Best routine", sorts: true },
  { key: "do", name: "What you can do" },
];
const ORDERS = { new: "newest first", title: "title", artist: "artist", tempo: "counts a minute",
  length: "length", sure: "how sure", fit: "how well it fits" };
const FALLS = new Set(["new", "sure", "fit"]); // the most comes first

const plain = (text) => text.normalize("NFD").replace(/\p{M}/gu, "").toLowerCase();
const length = (s) => `${Math.floor(s / 60)}:${String(s % 60).padStart(2, "0")}`;
const order = new Intl.Collator("en", { numeric: true, sensitivity: "base" });

/** Fill `room`; gives what ends it. */
export async function show(room, place) {
  const wish = wishesOf(place.query);
  const state = { songs: [], meters: {}, fits: null, best: {}, places: null };
  const queue = songQueue(room);
  const empty = make("section", { class: "empty", hidden: true });
  const line = make("p", { role: "status", class: "copying", hidden: true });
  const found = make("p", { class: "found", role: "status" });
  const table = songTable({ label: "Songs", columns: COLUMNS, id: (song) => song.hash, cells, onsort });
  const filters = make("form", { class: "filters", role: "search", "aria-label": "Filter the songs",
    onsubmit: (event) => event.preventDefault() });
  const where = make("details", { class: "where" });
  const listed = make("div", { class: "listed", hidden: true }, filters, found, table.element);
  room.append(make("h1", {}, title), adding(), line, queue.element, empty, listed, where);

  // ---------------------------------------------------------------------------- adding

  function adding() {
    const pick = make("input", { type: "file", multiple: true, "aria-label": "Add songs", id: "pick",
      onchange: () => take(pick.files).then(() => { pick.value = ""; }) });
    return make("div", { class: "keys adding" },
      make("span", { class: "button" }, "Add songs…", pick),
      make("button", { onclick: () => chooseFolder(refresh) }, "Choose a folder…"),
      make("span", { class: "quiet" }, "or drop them anywhere on this page"));
  }

  async function take(chosen) {
    await tried(async () => {
      const { suffixes } = state.places ?? await get("/api/songs/places"); // who is quick is no less welcome
      const files = onlySongs(await chosen, suffixes);
      if (!files.length) throw new Error("there are no songs in this; drop MP3, M4A, OGG, FLAC or WAV files");
      await copy(files, line);
      await showPlaces();
    });
  }

  function over(event) {
    if (![...(event.dataTransfer?.types ?? [])].includes("Files")) return;
    event.preventDefault();
    event.dataTransfer.dropEffect = "copy";
    document.body.classList.add("dropping");
  }
  const off = (event) => { if (!event.relatedTarget) document.body.classList.remove("dropping"); };
  async function dropped(event) {
    if (!event.dataTransfer?.files.length && !event.dataTransfer?.items.length) return;
    event.preventDefault();
    document.body.classList.remove("dropping");
    await take(filesOf(event.dataTransfer));
  }

  // --------------------------------------------------------------------------- the rows

  function cells(song) {
    const query = wish.routine ? `?routine=${encodeURIComponent(wish.routine)}` : "";
    return [
      make("a", { href: `/sheet/${song.hash}${query}`, title: song.plays ? null : "its file is not in one of your folders" },
        song.title || "without a title", song.plays ? "" : " (no file)", song.cut_off ? " (cut off)" : ""),
      song.artist,
      song.tempo ? String(Math.round(song.tempo)) : "–",
      length(song.duration_s),
      song.doubt === "sure" ? "sure" : `${song.doubt} (${Math.round(song.sure * 100)}\u00a0%)`,
      fitOf(song),
      [make("button", { onclick: () => showSuits(song), "aria-label": `Which routine suits ${song.title}?`,
        data: { focus: `suits ${song.hash}` } }, "Which routine?"),
        make("button", { onclick: () => forget(song), "aria-label": `Forget ${song.title}`,
          data: { focus: `forget ${song.hash}` } }, "Forget")],
    ];
  }

  function fitOf(song) {
    if (state.fits) {
      const [score, , words] = state.fits.fits[song.hash] ?? [];
      return score === undefined ? "–" : `${words} (${score})`;
    }
    const [score, name] = state.best[song.hash] ?? [];
    return name === undefined ? "" : `${name} (${score})`;
  }

  function onsort(key) {
    wish.down = wish.sort === key ? !wish.down : FALLS.has(key);
    wish.sort = key;
    filters.elements.sort.value = key;
    filter();
  }

  const valueOf = {
    new: (song) => song.heard_at, title: (song) => song.titlePlace, artist: (song) => song.artistPlace,
    tempo: (song) => song.tempo, length: (song) => song.duration_s, sure: (song) => song.sure,
    fit: (song) => (state.fits?.fits[song.hash] ?? state.best[song.hash] ?? [-1])[0],
  };

  /** Give all songs in the order wished for; worked out again only when that or they change. */
  function inOrder() {
    const wanted = `${wish.sort} ${wish.down}`;
    if (state.order === wanted) return state.inOrder;
    for (const name of wish.sort === "new" ? [] : ["title", "artist"]) {
      // Comparing words is slow: once, and then their places are compared.
      if (state.songs.every((song) => `${name}Place` in song)) continue;
      state.songs.sort((a, b) => order.compare(a[name], b[name]))
        .forEach((song, i) => { song[`${name}Place`] = i; });
    }
    const value = valueOf[wish.sort];
    const turn = wish.down ? -1 : 1;
    state.order = wanted;
    state.inOrder = [...state.songs].sort((a, b) =>
      turn * (value(a) - value(b)) || (a.titlePlace ?? 0) - (b.titlePlace ?? 0));
    return state.inOrder;
  }

  function filter({ afresh = false } = {}) {
    if (afresh) state.order = null;
    const words = plain(wish.q).split(/\s+/).filter(Boolean);
    const passes = (song) =>
      words.every((word) => song.searched.includes(word))
      && (!wish.from || song.tempo >= wish.from) && (!wish.to || song.tempo <= wish.to)
      && (!wish.meter || String(song.meter) === wish.meter)
      && (!wish.sure || (song.doubt === "sure") === (wish.sure === "yes"))
      && (!state.fits || fitsWell(song));
    const rows = inOrder().filter(passes);
    table.show(rows, { afresh });
    table.sorted(wish.sort, wish.down ? "descending" : "ascending");
    const all = state.songs.length;
    const counted = rows.length === all ? `${all} song${all === 1 ? "" : "s"}` : `${rows.length} of ${all} songs`;
    const only = state.fits?.only_nearest ? `; of the ${state.fits.only_nearest} nearest in tempo, as this routine follows each song` : "";
    found.textContent = counted + only;
    keepInAddress(wish);
  }

  function fitsWell(song) {
    const [score, inReach] = state.fits.fits[song.hash] ?? [];
    return inReach && score >= state.fits.least;
  }

  async function forget(song) {
    const question = `Forget ${song.title}? Its file stays where it is, unless it is a copy made here. Your corrections are kept, should it come back.`;
    if (!await confirmed(question, "Forget it")) return;
    await tried(async () => {
      await post("/api/songs/forget", { songs: [song.hash] });
      say(`${song.title} is forgotten`);
      await refresh();
    });
  }

  // ------------------------------------------------------------------------ the filters

  const optionsOf = (name, options) =>
    options.map(([value, text]) => make("option", { value, selected: value === wish[name] }, text));
  const meters = () => optionsOf("meter", [["", "any"], ...Object.entries(state.meters)]);

  function drawFilters(routines) {
    const choice = (name, words, options) =>
      make("label", {}, words, make("select", { name, onchange: changed }, options));
    const number = (name, words, spoken = words) => make("label", {}, words, make("input", { type: "number", name, min: 20, max: 400,
      "aria-label": spoken, value: wish[name] || "", oninput: changed }));
    const isWide = matchMedia("(min-width: 60rem)").matches;
    const more = make("div", { class: "more" },
      number("from", "Counts a minute from"), number("to", "to", "Counts a minute to"),
      choice("meter", "Counted in", meters()),
      choice("sure", "How sure", optionsOf("sure", [["", "any"], ["yes", "sure"], ["no", "with a doubt"]])),
      choice("routine", "Fits the routine",
        optionsOf("routine", [["", "any"], ...routines.map((one) => [one.key, one.name])])),
      choice("sort", "Sorted by", optionsOf("sort", Object.entries(ORDERS))));
    const isAsked = ["from", "to", "meter", "sure", "routine"].some((name) => wish[name]);
    filters.replaceChildren(
      make("label", { class: "search" }, "Search", make("input", { type: "search", name: "q", value: wish.q, oninput: changed })),
      make("details", { open: isWide || isAsked }, make("summary", {}, "Filters and order"), more));
  }

  async function changed(event) {
    const { name, value } = event.target;
    wish[name] = ["from", "to"].includes(name) ? Number(value) : value;
    if (name === "sort") wish.down = FALLS.has(value);
    if (name === "routine") await chooseRoutine();
    filter({ afresh: name === "routine" });
    if (name !== "q") say(found.textContent);
  }

  async function loadFits() {
    const { routine } = wish;
    const fits = routine ? await get(`/api/songs/fits?routine=${encodeURIComponent(routine)}`) : null;
    if (routine === wish.routine) state.fits = fits; // not another one chosen meanwhile
  }

  async function chooseRoutine(attempt = tried) {
    await attempt(loadFits);
    if (state.fits) Object.assign(wish, { sort: "fit", down: true });
    else if (wish.sort === "fit") Object.assign(wish, { sort: "new", down: true });
    filters.elements.sort.value = wish.sort;
    room.querySelector(".head .fit button").textContent = state.fits ? "Fit" : "Best routine";
  }

  // ---------------------------------------------------------------------------- loading

  function readSong(columns, row) {
    const song = Object.fromEntries(columns.map((name, i) => [name, row[i]]));
    song.searched = plain(`${song.title} ${song.artist}`);
    return song;
  }

  let columns = [];
  async function load() {
    const [list] = await Promise.all([get("/api/songs"), showPlaces()]);
    columns = list.columns;
    state.songs = list.rows.map((row) => readSong(columns, row));
    state.meters = list.meters;
  }

  async function refresh() {
    const before = Object.keys(state.meters).join();
    await load();
    if (Object.keys(state.meters).join() !== before) filters.elements.meter?.replaceChildren(...meters());
    showAll();
    showBest();
  }

  function showAll() {
    const none = !state.songs.length;
    listed.hidden = none;
    empty.hidden = !none;
    if (none) drawEmpty();
    else filter({ afresh: true });
  }

  let turn = 0;
  async function showBest() {
    const mine = ++turn;
    const { best } = await get("/api/songs/best").catch(() => ({ best: {} }));
    if (mine !== turn) return;
    state.best = best;
    if (!listed.hidden) filter({ afresh: true });
  }

  function heard(row) {
    const song = readSong(columns, row);
    const i = state.songs.findIndex((one) => one.hash === song.hash);
    if (i < 0) state.songs.push(song);
    else state.songs[i] = song;
    const isNew = !(song.meter in state.meters);
    if (isNew || state.songs.length === 1) soon();
    showAll();
  }
  /** Once all songs are heard, say also of them what fits. */
  const allHeard = ({ working }) => triedUnasked(async () => {
    if (working) return;
    await loadFits();
    await showBest();
  });
  let later = 0;
  function soon() {
    clearTimeout(later);
    later = setTimeout(() => triedUnasked(refresh), 300);
  }

  function drawEmpty() {
    empty.replaceChildren(
      make("p", {}, "Drop your songs here, or choose the folder that they are in."),
      make("p", {}, "The desk listens to each once, a few seconds a song, and draws it in lines of 32 counts."),
      make("p", {}, "Open a song, choose a routine, and see whether it fits."),
      state.places?.samples
        ? make("button", { class: "main", onclick: once(() => tried(() => post("/api/songs/samples"))) }, "Try it with the sample songs")
        : make("p", { class: "quiet" }, "Any MP3, M4A, OGG, FLAC or WAV file that you may play at your class will do."));
  }

  async function showPlaces() {
    state.places = await get("/api/songs/places");
    drawPlaces();
  }

  const drawPlaces = onceLetGo(where, () => {
    const { folders, copies } = state.places;
    const act = (words, label, work) => make("button", { "aria-label": label, onclick: () => tried(async () => { await work(); await refresh(); }) }, words);
    where.hidden = !folders.length && !copies.n;
    fill(where, make("summary", {}, "Where the songs are"),
      make("ul", {}, folders.map((folder) => make("li", {},
        make("span", {}, folder.path, folder.there ? "" : " (not there now)"),
        act("Forget this folder", `Forget this folder: ${folder.path}`, () => post("/api/songs/folders/forget", { name: folder.name }))))),
      folders.length ? act("Look for new songs", "Look for new songs in these folders", () => post("/api/songs/folders/look")) : null,
      copies.n ? make("p", { class: "copies" }, `${copies.n === 1 ? "1 copy of a dropped song" : `${copies.n} copies of dropped songs`}, ${(copies.bytes / 1e6).toFixed(1)} MB `,
        act("Clear the copies", "Clear the copies of dropped songs", async () => {
          if (await confirmed("Clear the copies? Their songs stay in the list, but cannot be played until they are added again.", "Clear them")) {
            await post("/api/songs/copies/clear");
          }
        })) : null);
  });

  // --------------------------------------------------------------------------- begin, end

  document.addEventListener("dragover", over);
  document.addEventListener("dragleave", off);
  document.addEventListener("drop", dropped);
  const ends = [news("heard", heard), news("hearing", allHeard), news("songs", soon, soon), news("song", soon)];
  // What lies above the rows is drawn before them: a row that moves is missed by who presses it.
  const [{ routines }] = await Promise.all([get("/api/routines"), load(), queue.asked]);
  drawFilters(routines.filter((one) => !one.errors));
  if (wish.routine) await chooseRoutine(triedUnasked); // a drop meanwhile is told, and stays
  showAll();
  showBest();

  return () => {
    document.removeEventListener("dragover", over);
    document.removeEventListener("dragleave", off);
    document.removeEventListener("drop", dropped);
    clearTimeout(later);
    turn = -1;
    [...ends, queue.end, table.end].forEach((end) => end());
  };
}

function wishesOf(query) {
  const sort = query.get("sort") in ORDERS ? query.get("sort") : "new";
  return { q: query.get("q") ?? "", from: Number(query.get("from")) || 0, to: Number(query.get("to")) || 0,
    meter: query.get("meter") ?? "", sure: query.get("sure") ?? "", routine: query.get("fits") ?? "",
    sort, down: query.has("down") ? query.get("down") === "yes" : FALLS.has(sort) };
}

/** Keep what is wished for in the address, so that reload and back bring it again. */
function keepInAddress(wish) {
  const query = new URLSearchParams();
  for (const name of ["q", "from", "to", "meter", "sure"]) if (wish[name]) query.set(name, wish[name]);
  if (wish.routine) query.set("fits", wish.routine);
  if (wish.sort !== "new") query.set("sort", wish.sort);
  if (wish.down !== FALLS.has(wish.sort)) query.set("down", wish.down ? "yes" : "no");
  const address = `/songs${query.size ? `?${query}` : ""}`;
  if (location.pathname.startsWith("/songs") || location.pathname === "/") history.replaceState(null, "", address);
}
