// --------------------------------------------- the sheet: the song in lines of 32 counts
//
// `linesOf` says what stands where, `sheetOf` makes elements of it, `walkTo` moves the mark.
// They need counting.js and the shapes #mark-… of the page, and know nothing else of it.
// A score holds `times`, `ones` and `rows` by count, `parts` (stretches of one kind),
// `events`, `intro` in words, `sections` and `phrases` with their count `at`, and `group`, the
// counts called together: four groups make a line, or as many as `groups` says. Where it holds
// `loudness` (0-1), each box tells its own to the style as --loud.

const GROUPS_A_LINE = 4;
const ROOM_FOR_WORDS = 8; // counts; a wall is named on its first piece as long as that

/** Group rows into stretches: intro, each wall, each tag, what comes after. */
function stretches(rows) {
  const found = [];
  rows.forEach((row, i) => {
    if (i === 0 || row.event || row.kind !== rows[i - 1].kind) found.push({ first: i, ...row });
    found[found.length - 1].end = i + 1;
  });
  return found;
}

/** Find the group of counts (an eight, in threes a six) around count `i` of a score. */
function groupAround({ parts, rows }, i) {
  const part = parts.find((p) => p.end > i);
  let first = i;
  while (first > part.first && rows[first].spoken !== 1) first--;
  let after = i + 1;
  while (after < part.end && rows[after].spoken !== 1) after++;
  return { first, after, kind: "group" };
}

/** Cut stretches `{first, end}` at the ends of a line; what lies outside is left out. */
const cutTo = (line, stretches) => stretches
  .filter((s) => s.first < line.end && s.end > line.first)
  .map((s) => ({ ...s, from: Math.max(s.first, line.first) - line.first,
    to: Math.min(s.end, line.end) - line.first, begins: s.first >= line.first }));

/** Give the line that names a wall or tag: its first piece with room for words, or its longest. */
function namedOn({ first, end }, size) {
  const begin = Math.floor(first / size);
  const lengths = Array.from({ length: Math.ceil(end / size) - begin }, (_, k) =>
    Math.min(end, (begin + k + 1) * size) - Math.max(first, (begin + k) * size));
  const roomy = lengths.findIndex((length) => length >= ROOM_FOR_WORDS);
  return begin + (roomy >= 0 ? roomy : lengths.indexOf(Math.max(...lengths)));
}

/** Say on which line an event is noted and beside which count; one that cuts stands at the cut. */
function notedIn(line, event) {
  const cuts = event.kind === "restart" || event.kind === "end";
  const inside = cuts ? event.at > line.first && event.at <= line.end
    : event.at >= line.first && event.at < line.end;
  return inside ? { ...event, beside: event.at - line.first, cuts } : null;
}

/** List the lines of a score, each with its sections, boxes, pieces of the dance and notes. */
function linesOf(score) {
  const size = (score.groups ?? GROUPS_A_LINE) * score.group;
  const n = score.rows.length;
  const sections = score.sections.map((s, k) =>
    ({ ...s, first: s.at, end: score.sections[k + 1]?.at ?? n }));
  const walls = new Map(score.events.filter((e) => e.kind === "wall").map((e) => [e.at, e.label]));
  const strength = new Map(score.phrases.map((p) => [p.at, p.strength]));
  return Array.from({ length: Math.ceil(n / size) }, (_, k) => {
    const line = { first: k * size, end: Math.min((k + 1) * size, n), size };
    const boxes = score.rows.slice(line.first, line.end).map((row, i) => ({
      at: line.first + i, spoken: row.spoken, one: score.ones[line.first + i],
      phrase: strength.get(line.first + i) ?? 0, loud: score.loudness?.[line.first + i],
    }));
    const dance = cutTo(line, score.parts.filter((part) => part.kind !== "counts"))
      .map((piece) => ({
        ...piece, label: piece.kind === "intro" ? score.intro : walls.get(piece.first), named: namedOn(piece, size) === k,
      }));
    const notes = score.events.map((event) => notedIn(line, event)).filter((e) => e?.row);
    return { ...line, start_s: score.times[line.first], boxes, dance, notes,
      sections: cutTo(line, sections) };
  });
}

/** Make an element with a class and a text inside `parent`. */
function put(parent, tag, name = "", text = "") {
  const element = document.createElement(tag);
  if (name) element.className = name;
  element.textContent = text;
  return parent.appendChild(element);
}

/** Make an SVG element inside `parent`. */
function mark(parent, name, attributes) {
  const element = document.createElementNS("http://www.w3.org/2000/svg", name);
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
  return parent.appendChild(element);
}

/** Draw the arrow of a facing, front at the top. */
function arrowOf(parent, facing) {
  const arrow = mark(parent, "svg", { "aria-hidden": "true", viewBox: "-50 -50 100 100" });
  mark(arrow, "use", { href: "#mark-facing", x: -50, y: -50, width: 100, height: 100,
    transform: `rotate(${facing})` });
}

/** Draw the shape of an event; a wall has none. */
function shapeOf(parent, kind) {
  if (kind === "wall") return;
  mark(mark(parent, "svg", { "aria-hidden": "true" }), "use", { href: `#mark-${kind}` });
}

/** Write into one piece of the dance which wall or tag it is. */
function drawPiece(cells, piece) {
  const box = put(cells, "div", `piece ${piece.kind}${piece.begins ? " begins" : ""}`);
  box.style.gridColumn = `${piece.from + 1} / ${piece.to + 1}`;
  if (piece.begins) box.dataset.first = piece.first;
  const room = piece.to - piece.from >= ROOM_FOR_WORDS;
  if (!piece.named) {
    if (room && piece.kind === "wall") put(box, "span", "", piece.label.toLowerCase());
    return;
  }
  if (piece.kind === "wall") {
    put(box, "b", "", piece.label);
    const way = put(box, "span", "way");
    arrowOf(way, piece.facing);
    put(way, "span", "clock", clock(piece.facing));
    if (piece.name) put(box, "span", "of", piece.name);
  } else {
    const words = { intro: piece.label, tag: `${piece.end - piece.first}`, after: "after the dance" };
    put(box, piece.kind === "tag" ? "b" : "span", "", words[piece.kind]);
  }
}

/** Write an event under its line: right of its count, or left where the line ends soon. */
function drawNote(cells, note, size) {
  const words = put(cells, "p", `note ${note.kind}`);
  shapeOf(words, note.kind);
  words.append(note.row);
  const late = note.beside > size / 2;
  words.classList.toggle("late", late);
  words.style.gridColumn = late ? `1 / ${note.beside + (note.cuts ? 1 : 2)}`
    : `${note.beside + 1} / ${size + 1}`;
}

/** Draw one line. */
function drawLine(line) {
  const item = document.createElement("li");
  put(item, "span", "when", wholeMinutes(line.start_s));
  const cells = put(item, "div", "cells");
  cells.style.gridTemplateColumns = `repeat(${line.size}, minmax(0, 1fr))`;
  for (const section of line.sections) {
    const name = put(cells, "span", "section", section.begins ? section.name : "");
    name.style.gridColumn = `${section.from + 1} / ${section.to + 1}`;
    if (section.begins) name.dataset.first = section.first;
  }
  line.boxes.forEach((box, i) => {
    const count = put(cells, "i", box.one ? "one" : "");
    Object.assign(count.dataset, { at: box.at, spoken: box.spoken });
    count.style.gridColumn = `${i + 1}`;
    if (box.loud !== undefined) count.style.setProperty("--loud", box.loud);
    if (box.phrase) put(count, "u").style.height = `${25 + 75 * box.phrase}%`;
  });
  for (const piece of line.dance) drawPiece(cells, piece);
  for (const note of line.notes) drawNote(cells, note, line.size);
  return item;
}

/** Make the sheet of a score: a list of lines; each box holds its count in `data-at`. */
function sheetOf(score) {
  const list = document.createElement("ol");
  list.className = "sheet";
  list.append(...linesOf(score).map(drawLine));
  return list;
}

/** Put the mark on count `i` (none if the song is not there); gives the box. */
function walkTo(sheet, i) {
  for (const old of sheet.querySelectorAll(".now")) old.classList.remove("now");
  const box = sheet.querySelector(`i[data-at="${i}"]`);
  box?.classList.add("now");
  box?.closest("li").classList.add("now");
  return box;
}

/** Underline the boxes of counts `first` up to `after`, which are repeated. */
function markRepeated(sheet, again) {
  for (const box of sheet.querySelectorAll("i[data-at]")) {
    const at = Number(box.dataset.at);
    box.classList.toggle("again", again !== null && at >= again.first && at < again.after);
  }
}
