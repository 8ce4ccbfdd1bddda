// ------------------------------------------------ the fields above the steps: name, size, tempo …

import { make, trouble } from "../elements.js";
import { placesOf } from "./places.js";

const RESTART_WORDS = {
  all: "Restarts: tap the count after which one may come",
  any: "after any whole bar", none: "none", these: "only after these counts",
  count: (count) => `Restart after count ${count}`,
};
const TAG_WORDS = {
  all: "Tags: tap how many counts one may have",
  any: "of the usual lengths", none: "none", these: "only of these lengths",
  count: (count) => `A tag of ${count} ${count === 1 ? "count" : "counts"}`,
};

/** Make a labeled field of `block.fields[name]`. */
function field(block, b, name, words, form, how = {}) {
  const id = `h-${b}-${name}`;
  const attributes = { id, "aria-describedby": `f-${b}-${name}`, autocomplete: "off",
    oninput: (event) => { block.fields[name] = event.target.value; form.typed(id); } };
  const value = block.fields[name] ?? "";
  const input = how.choices ? choice(attributes, value, how.choices)
    : how.lines ? make("textarea", { ...attributes, rows: how.lines })
      : make("input", { type: "text", ...attributes, list: how.list, placeholder: how.hint,
        inputmode: how.number ? "numeric" : null });
  input.value = value;
  return make("div", { class: `field ${how.wide ? "wide-field" : ""}` }, make("label", { for: id }, words), input,
    make("div", { class: "findings", id: `f-${b}-${name}` }));
}

function choice(attributes, value, choices) {
  const known = choices.some(([key]) => key === value) ? choices : [...choices, [value, value]];
  return make("select", attributes, known.map(([key, words]) => make("option", { value: key }, words)));
}

/** Make the head of a routine. */
export function headOf(block, { phrased }, form) {
  const add = (name, words, how) => field(block, 0, name, words, form, how);
  return make("section", { class: "head" },
    make("div", { class: "fields" },
      add("name", "Name", { wide: true }), add("by", "By", { wide: true }), add("level", "Level", { list: "levels" }),
      phrased ? add("sequence", "Order of the parts", { hint: "A A B" }) : add("counts", "Counts", { number: true }),
      add("walls", "Walls", { number: true }),
      add("rhythm", "Rhythm", { choices: [["", "in fours"], ["4/4", "in fours (4/4)"], ["waltz", "waltz (3/4)"]] }),
      add("swing", "Swing", { choices: [["", "straight"], ["shuffle", "shuffle"]] }),
      add("tempo", "Counts a minute", { hint: "96 to 124" }),
      add("foot", "Begins with", { choices: [["", "as the steps say"], ["R", "right foot"], ["L", "left foot"]] }),
      add("intro", "Intro, counts", { number: true }),
      phrased || block.lines ? null : add("turn", "Turn of one wall", { hint: "1/4 L" }),
      add("notes", "Notes, one a line", { lines: 2, wide: true })),
    placesIn(block, 0, form));
}

/** Make the rows of counts of a block: as many as the check, or else the form, says it has. */
export function placesIn(block, b, form) {
  const { routine } = form.check;
  const has = (kind) => form.form.some((one) => one.kind === kind);
  if (block.kind === "part") {
    return [restarts(block, b, routine?.parts.find((one) => one.name === block.name), form)];
  }
  if (b) return [];
  const tags = () => placesOf(block, 0, "tags", { words: TAG_WORDS, counts: form.group * 2, group: form.group,
    usual: usualTags(block, routine) }, form);
  return [has("part") ? null : restarts(block, 0, routine?.parts[0], form), has("tag") ? null : tags()].filter(Boolean);
}

/** "any" tags are those that the check lists; in other ways they stand in the field itself. */
const usualTags = (block, routine) =>
  (/\d|none/i.test(block.fields.tags) ? [] : (routine?.tags ?? []).map((tag) => tag.counts));

function restarts(block, b, part, form) {
  const counts = part?.counts ?? (Number(block.fields.counts) || 32);
  return placesOf(block, b, "restarts", { words: RESTART_WORDS, counts: Math.max(1, counts - 1), group: form.group,
    usual: (part?.restarts ?? []).map((point) => point.after_count) }, form);
}

/** Make the head of a part. */
export function partHeadOf(block, b, form) {
  return make("div", {}, make("div", { class: "fields" },
    partName(block, b, form),
    field(block, b, "counts", "Counts", form, { number: true })), placesIn(block, b, form));
}

/** Make the field of a part's name; once it is left, the order of the parts follows. */
function partName(block, b, form) {
  const id = `h-${b}-part`;
  const rename = (event) => {
    const name = event.target.value.trim();
    const isTaken = form.form.some((one) => one !== block && one.kind === "part" && one.name === name);
    if (!name || isTaken) {
      event.target.value = block.name;
      trouble(isTaken ? `there is a part ${name} already` : "a part needs a name");
      return;
    }
    const order = form.check.routine?.sequence;
    if (order) {
      form.form[0].fields.sequence = order.map((one) => (one === block.name ? name : one)).join(" ");
      document.getElementById("h-0-sequence").value = form.form[0].fields.sequence;
    }
    Object.assign(block, { name, title: `Part ${name}` });
    const section = event.target.closest("section.steps"); // not drawn anew: the focus moves on
    section.querySelector("h2").textContent = block.title;
    section.querySelector(".rows")?.setAttribute("aria-label", block.title);
    form.typed(id);
  };
  const input = make("input", { type: "text", id, value: block.name, autocomplete: "off", maxlength: 40, onchange: rename });
  return make("div", { class: "field" }, make("label", { for: `h-${b}-part` }, "Name of the part"), input);
}

/** Make the head of a tag with steps. */
export function tagHeadOf(block, b, form) {
  return make("div", { class: "fields" }, field(block, b, "name", "Name of the tag", form),
    field(block, b, "counts", "Counts", form, { number: true }));
}
