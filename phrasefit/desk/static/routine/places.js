// ------------------------------- restarts and tags, chosen by tapping a count of the sheet

import { make } from "../elements.js";

const FLAG = "#mark-restart";
const BLOCK = "#mark-tag";
const NS = "http://www.w3.org/2000/svg";

function shapeTo(button, href) {
  const svg = document.createElementNS(NS, "svg");
  svg.setAttribute("aria-hidden", "true");
  svg.append(document.createElementNS(NS, "use"));
  svg.firstChild.setAttribute("href", href);
  button.append(svg);
}

/** Read `any`, `none` or `8, 16` as a way of choosing and a set of counts. */
function chosen(text) {
  const word = text.trim().toLowerCase();
  const listed = new Set((text.match(/\d+/g) ?? []).map(Number));
  return { way: listed.size ? "these" : word === "none" ? "none" : "any", listed };
}

/**
 * Make the row of counts of `block.fields[name]`.
 *
 * `words` names the whole, the three ways and a count; `counts` how many there are; `usual`
 * those that "any" stands for.
 */
export function placesOf(block, b, name, { words, counts, group, usual }, form) {
  const { way, listed } = chosen(block.fields[name] ?? "");
  const set = (text, focus) => { block.fields[name] = text; form.changed(focus); };
  const id = `p-${b}-${name}`;
  const radios = ["any", "none", "these"].map((kind) => make("label", { class: "check" },
    make("input", { type: "radio", name: id, id: `${id}-${kind}`, checked: kind === way,
      onchange: () => set(kind === "these" ? String(usual[0] ?? group) : kind, `${id}-${kind}`) }),
    words[kind]));
  const tap = (count) => {
    const next = new Set(way === "these" ? listed : []);
    if (!next.delete(count)) next.add(count);
    set([...next].sort((a, c) => a - c).join(", ") || "none", `${id}-${count}`);
  };
  const boxes = Array.from({ length: counts }, (_, k) => boxOf(k + 1));
  function boxOf(count) {
    const on = way === "these" ? listed.has(count) : way === "any" && usual.includes(count);
    const button = make("button", { type: "button", id: `${id}-${count}`, "aria-pressed": String(on && way === "these"),
      class: `count${begins(count, group) ? " one" : ""}${on ? " on" : ""}`,
      "aria-label": words.count(count), onclick: () => tap(count) }, String(count));
    if (on) shapeTo(button, name === "tags" ? BLOCK : FLAG);
    return button;
  }
  const lines = [];
  for (let k = 0; k < counts; k += group) lines.push(make("div", { class: "eight" }, boxes.slice(k, k + group)));
  return make("fieldset", { class: "places", id }, make("legend", {}, words.all),
    make("div", { class: "ways" }, radios), make("div", { class: "boxes" }, lines),
    make("p", { class: "points", id: `${id}-points` }),
    make("div", { class: "findings", id: `f-${b}-${name}` }));
}

const begins = (count, group) => (count - 1) % group === 0;
