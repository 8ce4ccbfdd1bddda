// ----------------------------------------------------------------------- controls

const toggle = (id) => {
  const on = document.body.classList.toggle(id);
  $(id).setAttribute("aria-pressed", on);
};
const speedBy = (step) => setRate(clamp(Number($("speed").value) + step, 50, 110));
const playPause = () => (sound.playing ? pause() : play());

// Key, its name in the list, what it does.
const KEYS = [
  [" ", "space", "play, pause", playPause],
  ["ArrowLeft", "←", "back one eight", () => step(-1)],
  ["ArrowRight", "→", "on one eight", () => step(1)],
  ["PageUp", "page up", "wall before", () => stepWall(-1)],
  ["PageDown", "page down", "next wall", () => stepWall(1)],
  ["Home", "home", "count 1 of wall 1", () => toStart()],
  ["ArrowUp", "↑", "5 % faster", () => speedBy(5)],
  ["ArrowDown", "↓", "5 % slower", () => speedBy(-5)],
  ["r", "R", "repeat this eight", () => repeat("group")],
  ["w", "W", "repeat this wall", () => repeat("wall")],
  ["t", "T", "tap the 1", tap],
  ["[", "[", "the one a beat earlier", () => shiftOne(-1)],
  ["]", "]", "the one a beat later", () => shiftOne(1)],
  [",", ",", "all beats earlier by 10 ms", () => allLater(-10)],
  [".", ".", "all beats later by 10 ms", () => allLater(10)],
  ["b", "B", "large type", () => toggle("large")],
  ["d", "D", "dark hall", () => toggle("dark")],
];

const toStart = () => seek(state.score.times[state.score.start]);

/** Tell whether the control in focus needs the key itself. */
function isOwnKey(target, key) {
  if (target.matches("select, input[type=number]")) return true;
  if (target.matches("input[type=range]")) return /^(Arrow|Page|Home|End)/.test(key);
  if (target.matches("#lines")) return /^(ArrowUp|ArrowDown|Page)/.test(key); // it scrolls
  return key === " " && target.matches("button, summary, input");
}

document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey || !$("keys-on").checked) return;
  if ($("wrong").open) return;
  const action = KEYS.find(([key]) => key === event.key || key === event.key.toLowerCase());
  if (!action || isOwnKey(event.target, event.key)) return;
  event.preventDefault();
  action[3]();
});

function wire() {
  const clicks = {
    play: playPause, "to-start": toStart, back: () => step(-1), ahead: () => step(1),
    "repeat-group": () => repeat("group"), "repeat-wall": () => repeat("wall"),
    large: () => toggle("large"), dark: () => toggle("dark"),
    "one-earlier": () => shiftOne(-1), "one-later": () => shiftOne(1),
    "beats-earlier": () => allLater(-10), "beats-later": () => allLater(10), tap,
    half: () => setLevel(data.half), double: () => setLevel(data.double),
    "section-here": () => markSection(true), "no-section-here": () => markSection(false),
    undo, "undo-all": undoAll, save,
    "wrong-other": () => { $("wrong").close(); $("file").click(); },
    "wrong-clicks": () => { $("wrong").close(); useClicks(); },
    "wrong-keep": () => $("wrong").close(),
  };
  for (const [id, action] of Object.entries(clicks)) $(id).addEventListener("click", action);
  $("seek").addEventListener("input", () => seek(Number($("seek").value)));
  $("seek").addEventListener("pointerdown", () => { state.dragging = true; });
  $("seek").addEventListener("change", () => { state.dragging = false; });
  addEventListener("pointerup", () => { state.dragging = false; });
  $("speed").addEventListener("input", () => setRate(Number($("speed").value)));
  $("file").addEventListener("change", () => {
    const [file] = $("file").files;
    if (file) open(file, file.name);
  });
  setInterval(scheduleClicks, 100);
}

/** Call a group of counts what it is: an eight, in threes a six. */
const inGroups = (words) => (data.group === 6 ? words.replace("eight", "six") : words);

const GROUP_WORDS = { "repeat-group": "Repeat this eight", back: "Back one eight", ahead: "On one eight" };

/** Write what the buttons step by: after a correction only bars are known. */
function nameGroups() {
  const { planned } = state.score;
  for (const [id, words] of Object.entries(GROUP_WORDS)) {
    $(id).textContent = planned ? inGroups(words) : words.replace("eight", "bar");
  }
}

/** Put the fixed texts of the plan into the page. */
function write() {
  document.title = `${data.routine} – ${data.title}`;
  $("routine").textContent = data.routine;
  $("verdict").textContent = data.verdict;
  $("licenses").textContent = data.licenses;
  const list = (id, tag, words) => $(id).append(...words.map((text) => {
    const item = document.createElement(tag);
    item.textContent = text;
    return item;
  }));
  list("remarks", "li", data.remarks);
  for (const [, name, words] of KEYS) {
    list("key-list", "dt", [name]);
    list("key-list", "dd", [inGroups(words)]);
  }
  for (let i = 0; i < data.group; i++) $("places").append(document.createElement("i"));
  $("seek").max = Math.max(data.duration_s, data.score.times.at(-1));
  for (const id of ["half", "double"]) {
    $(id).disabled = !data[id];
    if (!data[id]) $(id).title = "the program does not count this song so";
  }
  if (!data.save) $("save-note").textContent =
    'made without the song file: make the page with "phrasefit page SONG ROUTINE" to save corrections';
}

write();
wire();
if (takeUp()) announce(`taken up from before: ${changeWords(state.change)}`);
else apply(UNTOUCHED);
sound.anchor.position = state.score.times[Math.max(0, state.score.start - data.group)];
if (data.live) follow(data.live);
else openEmbedded();
frame();
