// ------------------------------------------------------------------------ drawing

/** Make an SVG element inside `parent`. */
function mark(parent, name, attributes, text) {
  const element = document.createElementNS("http://www.w3.org/2000/svg", name);
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
  if (text !== undefined) element.textContent = text;
  return parent.appendChild(element);
}

const WIDE = 16; // pixels of the picture for one count
const isChange = (event) => event.kind === "tag" || event.kind === "restart";
const reducedMotion = matchMedia("(prefers-reduced-motion: reduce)");

/** Draw the whole song once: times, sections, phrase starts, walls, tags, restarts. */
function drawStrip() {
  const { times, rows, parts, events, end, sections, phrases } = state.score;
  const strip = $("strip");
  strip.replaceChildren();
  strip.setAttribute("width", rows.length * WIDE);
  for (let i = 0; i < rows.length; i += 4 * data.group) {
    mark(strip, "text", { x: i * WIDE, y: 11 }, minutes(times[i]).slice(0, -2));
  }
  sections.forEach((section, k) => {
    const counts = (sections[k + 1]?.at ?? rows.length) - section.at;
    mark(strip, "rect", { class: "box", x: section.at * WIDE, y: 15, width: counts * WIDE, height: 17 });
    mark(strip, "text", { x: section.at * WIDE + 5, y: 28 }, `${section.letter} ${counts}`);
  });
  const ticks = phrases.map((p) => `M${p.at * WIDE} 32v${2 + 8 * p.strength}`).join("");
  mark(strip, "path", { class: "line", d: ticks, "stroke-width": 3 });
  for (const part of parts) {
    const [x, width] = [part.first * WIDE, (part.end - part.first) * WIDE];
    const filled = part.kind === "tag";
    const look = { intro: "shade", after: "shade", wall: "box", tag: "" }[part.kind];
    mark(strip, "rect", { class: look, x, y: 44, width, height: 36 });
    if (part.kind === "wall") {
      mark(strip, "use", { href: "#mark-facing", x: 5, y: -12, width: 24, height: 24,
        transform: `translate(${x} 62) rotate(${part.facing} 17 0)` });
    }
    const words = { intro: `intro ${part.end - part.first}`, after: "after the dance",
      wall: `${part.wall}   ${clock(part.facing)}`, tag: `${part.end - part.first}` }[part.kind];
    mark(strip, "text", { class: filled ? "bold inverse" : "bold", x: x + (part.kind === "wall" ? 34 : 8),
      y: 68 }, words);
  }
  const beats = rows.map((row, i) => `M${i * WIDE} 80v${row.spoken === 1 ? -8 : -3}`).join("");
  mark(strip, "path", { class: "line", d: beats });
  for (const event of events.filter((e) => e.kind === "restart")) {
    const x = event.at * WIDE;
    mark(strip, "path", { d: `M${x - 3} 38h5v50h-5zM${x - 3} 38l-14 8l14 8z` });
  }
  nameChanges(strip, events.filter(isChange));
  mark(strip, "path", { d: `M${end.at * WIDE} 38h6v50h-6z` });
  if (state.loop) {
    const { first, after } = state.loop;
    mark(strip, "rect", { class: "loop", x: first * WIDE, y: 40, width: (after - first) * WIDE, height: 44 });
  }
}

const CAPITAL = 12; // pixels of a letter in bold capitals, rather too many

/** Name tags from their start and restarts up to their flag, none over the one before. */
function nameChanges(strip, changes) {
  let free = 0;
  for (const { at, kind, label } of changes) {
    const [x, width] = [at * WIDE, label.length * CAPITAL];
    const before = kind === "restart" && x - width >= free;
    const place = before ? { x: x - 4, "text-anchor": "end" } : { x: Math.max(x, free) };
    mark(strip, "text", { class: "bold", y: 100, ...place }, label);
    free = before ? x : place.x + width;
  }
}

/** Move the picture under the line that says now; with less motion, eight by eight. */
function moveStrip(at, i) {
  const { times, rows } = state.score;
  const k = clamp(i, 0, rows.length - 1);
  const exact = k + clamp((at - times[k]) / (times[k + 1] - times[k]), -8, 8);
  const still = reducedMotion.matches;
  const left = still ? k - mod(k, 2 * data.group) : exact;
  $("strip").style.transform = `translateX(${(160 - left * WIDE).toFixed(1)}px)`;
  $("now-line").style.left = `${160 + (still ? (k - left) * WIDE : 0)}px`;
}

/** Lay an event out as a line of the table. */
function tableLine(event) {
  const { sections, end } = state.score;
  const isWall = event.kind === "wall";
  const unfinished = isWall && event.wall === end.wall && event.counts < data.blocks[event.block].counts;
  return { ...event,
    wall: isWall ? `${event.name} ${event.wall}` : "",
    music: event.counts ? sections.findLast((s) => s.at <= event.at)?.letter ?? "" : "",
    counts: event.counts || "",
    words: unfinished ? `music ends after ${event.counts}` : event.row };
}

/** Fill the table of events; each time is a button that goes there. */
function drawTable() {
  const { times, events } = state.score;
  $("rows").replaceChildren(...events.map(tableLine).map((line) => {
    const row = document.createElement("tr");
    row.dataset.at = line.at;
    const cells = ["", line.wall, "", line.music, line.counts, ""].map((text) => {
      const cell = row.appendChild(document.createElement("td"));
      cell.textContent = text;
      return cell;
    });
    const go = cells[0].appendChild(document.createElement("button"));
    go.textContent = minutes(times[line.at]);
    go.onclick = () => seek(times[line.at]);
    const arrow = mark(cells[2], "svg", { "aria-hidden": "true", viewBox: "-50 -50 100 100" });
    mark(arrow, "use", { href: "#mark-facing", x: -50, y: -50, width: 100, height: 100,
      transform: `rotate(${line.facing})` });
    cells[2].append(clock(line.facing));
    if (line.kind !== "wall") {
      mark(mark(cells[5], "svg", { "aria-hidden": "true" }), "use", { href: `#mark-${line.kind}` });
    }
    cells[5].className = line.kind === "wall" ? "" : "event";
    cells[5].append(line.words);
    return row;
  }));
}

let turned = 0; // the arrow's turn without folding, so that it never spins the long way

/** Point the arrow and thicken the wall that is faced. */
function drawFacing(facing) {
  turned += mod(facing - turned + 180, 360) - 180;
  $("arrow").style.transform = `rotate(${turned}deg)`;
  $("facing").textContent = clock(facing);
  for (const side of document.querySelectorAll(".side")) {
    side.classList.toggle("faced", Number(side.dataset.facing) === facing);
  }
}

/** Say what happens, where in the dance and facing where. */
const eventWords = ({ label, place, facing }) =>
  `${[label, place].filter(Boolean).join(" ")}, facing ${clock(facing)}`;

/** Announce what comes: quietly a wall, loudly a tag, a restart or the end, one group before. */
function drawNotice(i) {
  const { events, rows } = state.score;
  const next = events.find((event) => event.at > i);
  const latest = events.findLast((event) => event.at <= i);
  const current = events.find((event) => event.at === latest?.at); // a restart, not its wall
  const since = current ? i - current.at : 0;
  const big = current && current.kind !== "wall"
    && (current.kind === "tag" ? rows[i]?.kind === "tag" : current.kind === "end" || since < 4);
  const near = next && next.kind !== "wall" && next.at - i <= data.group;
  const shown = near && !(big && since < 2) ? next : big ? current : next;
  const warn = shown === next;
  $("notice").className = !shown || (warn && !near) ? "" : warn ? "warn" : "now";
  $("notice-words").textContent = shown ? eventWords(shown) : "";
  $("notice-more").textContent = shown?.remark ?? "";
  $("notice-in").textContent = warn && shown ? `in ${shown.at - i}` : "";
  $("notice").querySelector("use").setAttribute("href", shown ? `#mark-${shown.kind}` : "");
  if (!sound.playing) return;
  const told = (event) => [eventWords(event), event.remark].filter(Boolean).join(", ");
  if (current?.at === i) announce(told(current));
  else if (near && (next.at - i === data.group || state.index < i - 1)) {
    announce(`in ${next.at - i} counts: ${told(next)}`);
  }
}

const LONG_NAME = 32; // a name longer than this is called by its cue words

/** Name the step danced now, and call the next one. */
function drawSteps(i) {
  const { rows } = state.score;
  const here = rows[i]?.step ?? null;
  const ahead = rows.findIndex((row, k) => k > i && row.step !== null && row.step !== here);
  const now = data.steps[here];
  const next = ahead >= 0 ? data.steps[rows[ahead].step] : null;
  const words = (step) => (step ? [step.counts, step.name, step.turn].filter(Boolean).join("  ") : "–");
  $("step-now").textContent = words(now);
  const short = next && next.name.length > LONG_NAME ? { ...next, name: next.cue } : next;
  $("step-next").textContent = words(short);
}

/** Write everything that changes from count to count. */
function drawCount(i) {
  const row = state.score.rows[i];
  const part = row && state.score.parts.find((p) => p.end > i);
  $("count").textContent = row ? row.spoken : "–";
  [...$("places").children].forEach((box, k) => box.classList.toggle("on", row?.spoken === k + 1));
  const counts = part ? part.end - part.first : 0;
  const { capitals } = data;
  $("wall").textContent = !row ? "" : { intro: "INTRO", wall: `${capitals.wall} ${row.wall}`,
    tag: `${capitals.tag} ${row.name}`, after: capitals.end }[row.kind];
  $("place").textContent = i < 0 ? `first beat at ${minutes(state.score.times[0])}`
    : !row ? "the song is over"
    : row.kind === "intro" ? `${-row.count} to go`
    : `${row.kind === "wall" && row.name ? `part ${row.name},` : "count"} ${row.count} of ${counts}`;
  const ended = !row || row.kind === "after";
  drawFacing(!ended ? row.facing : i < 0 ? data.facing : state.score.end.facing);
  drawNotice(i);
  drawSteps(i);
  if (!sound.playing || row?.event) { // a reader must not hear each count
    $("seek").setAttribute("aria-valuetext", `${$("wall").textContent} ${$("place").textContent}`);
  }
  const here = [...$("rows").children].findLast((line) => Number(line.dataset.at) <= i);
  for (const line of $("rows").children) line.classList.toggle("here", line === here);
  state.index = i;
}

/** Draw one moment of the song; all that is drawn belongs to the one time `media`. */
function draw(media) {
  const at = media - (Number($("late").value) / 1000) * sound.rate;
  const i = Math.min(lastAt(state.score.times, at), state.score.rows.length);
  if (i !== state.index) drawCount(i);
  moveStrip(at, i);
  $("time").textContent = minutes(media);
  if (!state.dragging) $("seek").value = media;
  Object.assign(document.body.dataset, { time: media, index: i, count: $("count").textContent });
}

/** Show the count-in in place of the count. */
function drawLead(lead, time) {
  const k = lead.calls.findLastIndex((call) => call.at <= time);
  if (k < 0 || k === lead.said) return;
  lead.said = k;
  const { number } = lead.calls[k];
  $("count").textContent = number;
  $("wall").textContent = "COUNT-IN";
  document.body.dataset.count = `in ${number}`;
  state.index = -2;
  if (lead.spoken) {
    const word = new SpeechSynthesisUtterance(String(number));
    word.rate = 1.5;
    speechSynthesis.speak(word);
  }
}

function frame() {
  requestAnimationFrame(frame);
  if (sound.playing && sound.lead) {
    const time = heardAt();
    if (time < sound.lead.end) return drawLead(sound.lead, time);
    sound.lead = null;
    if (sound.source === "song") startSong();
  }
  if (sound.playing && sound.source === "song" && state.loop && song.currentTime >= state.loop.end) {
    song.currentTime = state.loop.start;
  }
  const at = position();
  if (sound.playing && at >= lastMoment() + 0.3) pause();
  draw(at);
}

const say = (words) => { $("sound").textContent = words; };
const announce = (words) => { $("announce").textContent = words; };
const showPlaying = () => { $("play").textContent = sound.playing ? "Pause" : "Play"; };
