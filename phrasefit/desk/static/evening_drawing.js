// ------------------------------------ an evening drawn: how fast it is when, what comes again
//
// A bar for each dance at the height of its tempo, as long as it plays; dashed what was
// wished for; lessons hatched; bows below join the dances of one routine. The words stand
// beside the drawing, and are its name for those who do not see it. Needs sheet.js (`mark`).

const HEIGHT = 260;
const LEFT = 44;
const TOP = 26;
const FLOOR = 170; // where the bows hang
const BAR = 12;

/** Draw the course of an evening into `parent`, as wide as that is. */
export function courseOf(parent, course) {
  parent.replaceChildren();
  parent.hidden = !course.dances.length;
  if (parent.hidden) return;
  const width = Math.max(280, parent.clientWidth || 600);
  const drawing = mark(parent, "svg", { viewBox: `0 0 ${width} ${HEIGHT}`, width, height: HEIGHT,
    role: "img", "aria-label": course.words.join(" ") });
  const at = scale(course, width);
  frame(drawing, course, at, width);
  drawWished(drawing, course, at);
  for (const dance of course.dances) drawDance(drawing, dance, at);
  drawRepeats(drawing, course, at);
}

/** Say where a time and a tempo lie in the drawing. */
function scale(course, width) {
  const tempos = course.dances.flatMap((d) => (d.wished === null ? [d.tempo] : [d.tempo, d.wished]));
  const low = Math.min(...tempos) - 4;
  const high = Math.max(...tempos) + 4;
  return {
    low, high,
    x: (time) => LEFT + (time / course.length_s) * (width - LEFT - 6),
    y: (tempo) => TOP + ((high - tempo) / (high - low)) * (FLOOR - 30 - TOP),
  };
}

function words(drawing, x, y, text, anchor = "middle") {
  mark(drawing, "text", { x, y, "text-anchor": anchor }).textContent = text;
}

function frame(drawing, course, at, width) {
  mark(drawing, "line", { x1: LEFT, y1: FLOOR, x2: width, y2: FLOOR });
  for (const tempo of [at.low + 4, at.high - 4]) {
    words(drawing, LEFT - 6, at.y(tempo) + 5, Math.round(tempo), "end");
  }
  for (const [time, anchor] of [[0, "start"], [course.length_s, "end"]]) {
    words(drawing, at.x(time), HEIGHT - 4, wholeMinutes(time), anchor);
  }
}

function drawDance(drawing, dance, at) {
  const x = at.x(dance.start_s);
  const wide = Math.max(2, at.x(dance.start_s + dance.length_s) - x);
  if (dance.lesson_s) drawLesson(drawing, at.x(dance.start_s - dance.lesson_s), x);
  mark(drawing, "rect", { x, y: at.y(dance.tempo) - BAR / 2, width: wide, height: BAR, class: "bar" });
  words(drawing, x + wide / 2, at.y(dance.tempo) - BAR, dance.place);
}

function drawLesson(drawing, from, to) {
  mark(drawing, "rect", { x: from, y: TOP, width: Math.max(2, to - from - 2), height: FLOOR - TOP, class: "lesson" });
  for (let x = from + 8; x < to - 2; x += 8) {
    mark(drawing, "line", { x1: x, y1: FLOOR, x2: x, y2: TOP, class: "hatch" });
  }
  if (to - from > 44) words(drawing, (from + to) / 2, FLOOR - 6, "teach");
}

function drawWished(drawing, course, at) {
  const points = course.dances.filter((dance) => dance.wished !== null)
    .map((dance) => `${at.x(dance.start_s + dance.length_s / 2)},${at.y(dance.wished)}`);
  if (points.length) mark(drawing, "polyline", { points: points.join(" "), class: "wished" });
}

function drawRepeats(drawing, course, at) {
  const last = new Map();
  for (const dance of course.dances) {
    const middle = at.x(dance.start_s + dance.length_s / 2);
    const before = last.get(dance.routine);
    if (before !== undefined) {
      const deep = FLOOR + Math.min(110, (middle - before) / 2);
      mark(drawing, "path", { d: `M${before} ${FLOOR}Q${(before + middle) / 2} ${deep} ${middle} ${FLOOR}`, class: "bow" });
    }
    last.set(dance.routine, middle);
  }
}
