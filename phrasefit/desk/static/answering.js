// ---------------------------------------------- every doubt is a question for the ear
//
// `drawQuestion` shows the first question; hearing plays its places, one tap answers it.

import { make, once } from "./elements.js";

const LETTERS = "ABCDEF";
const NEXT = { focus: "question" }; // who answers with the keyboard goes on with the next one

/**
 * Make the card of the first of `questions`, or nothing where there is none.
 *
 * `hear(hearing)` plays a stretch; `correct(change, question)` and `settle(key, advice)` answer.
 */
export function questionCard(questions, { hear, correct, settle }) {
  if (!questions.length) return null;
  const [question] = questions;
  const left = questions.length - 1;
  const several = question.answers.filter((answer) => answer.hearing).length > 1;
  const rows = question.answers.map((answer, k) => make("li", {},
    answer.hearing && make("button", {
      class: "hear", data: NEXT, onclick: () => hear(answer.hearing),
      "aria-label": several ? `hear ${LETTERS[k]}` : "hear it",
    }, several ? `▶ ${LETTERS[k]}` : "▶ hear it"),
    make("button", {
      class: "answer", data: NEXT,
      onclick: once(() => (answer.change ? correct(answer.change) : settle(question.key))),
    }, several ? `${LETTERS[k]} is right: ${answer.words}` : answer.words)));
  if (question.neither) {
    rows.push(make("li", {}, make("button", {
      class: "answer", data: NEXT,
      onclick: once(() => settle(question.key, question.advice)),
    }, question.neither)));
  }
  return make("section", { class: "card question", "aria-labelledby": "question" },
    make("h2", { id: "question" }, question.words),
    make("ul", { class: "answers" }, rows),
    make("details", {}, make("summary", {}, "What is in doubt"), make("p", {}, `${question.why}.`)),
    left ? make("p", { class: "quiet" }, left === 1 ? "one more question after this" : `${left} more questions after this`) : null);
}
