// ------------------------------------------------------------------------ drawing

const reducedMotion = matchMedia("(prefers-reduced-motion: reduce)");

const fingers = matchMedia("(pointer: coarse)");

/** Draw the whole song in lines; a click on a box goes there, a finger to the eight it hits. */
function drawSheet() {
  const sheet = sheetOf(state.score);
  sheet.id = "sheet";
  sheet.addEventListener("click", (event) => {
    const box = event.target.closest("i[data-at]");
    if (!box) return;
    const at = Number(box.dataset.at);
    seek(state.score.times[fingers.matches ? groupAround(state.score, at).first : at]);
  });
  $("sheet").replaceWith(sheet);
}

/** Move the mark to count `i`, and the sheet only where the line after it would be out of sight. */
function walk(i) {
  const line = walkTo($("sheet"), i)?.closest("li");
  if (!line) return;
  const room = $("lines");
  const top = line.getBoundingClientRect().top - room.getBoundingClientRect().top;
  const next = line.nextElementSibling ?? line;
  const below = top + line.offsetHeight + next.offsetHeight;
  if (top >= 0 && below <= room.clientHeight) return;
  const behavior = reducedMotion.matches ? "instant" : "smooth";
  room.scrollTo({ top: room.scrollTop + top, behavior });
}

/** Write what the table says of one event. */
function tableLine(event) {
  const { sections, end } = state.score;
  const isWall = event.kind === "wall";
  const unfinished = isWall && event.wall === end.wall && event.counts < event.whole;
  return { ...event,
    wall: isWall ? [event.wall, event.name].filter(Boolean).join(" ") : "",
    music: event.counts ? sections.findLast((s) => s.at <= event.at)?.name ?? "" : "",
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
    arrowOf(cells[2], line.facing);
    cells[2].append(clock(line.facing));
    shapeOf(cells[5], line.kind);
    cells[5].className = line.kind === "wall" ? "" : "event";
    cells[5].append(line.words);
    return row;
  }));
}

let turned = 0; // the arrow's turn without folding, so that it never spins the long way

/** Point the arrow and thicken the wall that is faced; with null nobody knows it. */
function drawFacing(facing) {
  $("room").hidden = facing === null;
  if (facing === null) return;
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

/** Say which wall, tag or other stretch of the song count `i` is in. */
function wallWords(row) {
  const { capitals } = data;
  if (!row) return "";
  return { intro: "INTRO", wall: `${capitals.wall} ${row.wall}`, tag: capitals.tag,
    after: capitals.end, counts: "COUNTS" }[row.kind];
}

/** Say how far the wall or tag is danced. */
function placeWords(row, i) {
  if (i < 0) return `first beat at ${minutes(state.score.times[0])}`;
  if (!row) return "the song is over";
  if (row.kind === "intro") return `${-row.count} to go`;
  if (row.kind === "counts") return "bar by bar: the program lays the walls anew";
  const part = state.score.parts.find((p) => p.end > i);
  return [row.name, `count ${row.count} of ${part.end - part.first}`].filter(Boolean).join(", ");
}

/** Tell which way everyone faces on count `i`; null if that is not known. */
function facingAt(row, i) {
  if (!state.score.planned) return null;
  if (row && row.kind !== "after") return row.facing;
  return i < 0 ? data.facing : state.score.end.facing;
}

/** Write everything that changes from count to count. */
function drawCount(i) {
  const row = state.score.rows[i];
  $("count").textContent = row ? row.spoken : "–";
  [...$("places").children].forEach((box, k) => box.classList.toggle("on", row?.spoken === k + 1));
  $("wall").textContent = wallWords(row);
  $("place").textContent = placeWords(row, i);
  drawFacing(facingAt(row, i));
  drawNotice(i);
  drawSteps(i);
  walk(i);
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
  const { again } = state;
  if (sound.playing && sound.source === "song" && again && song.currentTime >= again.end) {
    song.currentTime = again.start;
  }
  const at = position();
  if (sound.playing && at >= lastMoment() + 0.3) pause();
  draw(at);
}

const say = (words) => { $("sound").textContent = words; };
const announce = (words) => { $("announce").textContent = words; };
const showPlaying = () => { $("play").textContent = sound.playing ? "Pause" : "Play"; };
