// --------------------------------------------- feet and facing of a step, black on white
//
// A sole filled = that foot takes weight, outlined with a dot = nobody does (touch, hold);
// two filled = both. The arrow is that of the sheet: up = the wall where the part began.

const NS = "http://www.w3.org/2000/svg";
const SOLE = "M0-13C6-13 8-7 6-1C5 3 5 5 6 8C7 13 3 15 0 15C-3 15-5 12-5 8C-5 4-6 2-7-2C-8-8-5-13 0-13Z";
const WORDS = { R: "right foot", L: "left foot", B: "both feet", ".": "no weight" };

function shape(parent, tag, attributes) {
  const element = document.createElementNS(NS, tag);
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
  return parent.appendChild(element);
}

function sole(svg, x, side, filled) {
  shape(svg, "path", { d: SOLE, class: filled ? "on" : "off",
    transform: `translate(${x} 17) scale(${side === "L" ? 0.62 : -0.62} 1)` });
}

/** Draw who takes weight at each moment. */
export function feetOf(signs) {
  const width = 24;
  const svg = document.createElementNS(NS, "svg");
  svg.setAttribute("viewBox", `0 0 ${signs.length * width} 50`);
  svg.setAttribute("class", "feet");
  svg.setAttribute("role", "img");
  svg.setAttribute("aria-label", signs.map((sign) => WORDS[sign] ?? "").join(", "));
  svg.style.width = `${signs.length * 1.35}em`;
  signs.forEach((sign, i) => {
    const middle = i * width + width / 2;
    if (sign === "B") {
      sole(svg, middle - 5, "L", true);
      sole(svg, middle + 5, "R", true);
    } else if (sign === ".") shape(svg, "circle", { cx: middle, cy: 18, r: 4, class: "off" });
    else sole(svg, middle + (sign === "L" ? -5 : 5), sign, true);
    shape(svg, "text", { x: middle + ({ L: -5, R: 5 }[sign] ?? 0), y: 47, "text-anchor": "middle" }).textContent = sign === "." ? "–" : sign;
  });
  return svg;
}

/** Draw which way everyone looks once the step is done. */
export function facingOf(degrees, words) {
  const way = document.createElement("span");
  way.className = "way";
  arrowOf(way, degrees); // the sheet's arrow
  way.append(words);
  return way;
}
