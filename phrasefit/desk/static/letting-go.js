// ------------------------------------------------- what is pressed stays until it is let go
//
// A click counts only where it was begun and ended on the same thing: what is drawn anew between
// pressing and letting go takes the click with it.  Pressing a button also ends typing in a field,
// so that the answer to what was typed comes just then.

const ENDS = ["pointerup", "pointercancel", "pointermove", "keyup", "blur"];

/** Make a `draw` that does `work`, which draws in `element`, while nothing there is pressed. */
export function onceLetGo(element, work) {
  let pressed = null;
  let owed = false;
  const draw = () => {
    owed = Boolean(pressed);
    if (!owed) drawAnew(element, work);
  };
  const press = (event) => {
    if (pressed || (event.key ?? " ") !== " " || event.button) return;
    pressed = new AbortController();
    const isOver = ({ type, buttons }) => (event.key ? !type.startsWith("pointer") : !buttons);
    const letGo = (end) => {
      if (!isOver(end)) return;
      pressed.abort();
      setTimeout(() => { // after the click
        pressed = null;
        if (owed && element.isConnected) draw();
      });
    };
    // An open list of choices keeps the letting go for itself; that nothing is held shows later.
    for (const kind of ENDS) window.addEventListener(kind, letGo, { signal: pressed.signal });
  };
  element.addEventListener("pointerdown", press);
  element.addEventListener("keydown", press);
  return draw;
}

const nameOf = (one) =>
  one.dataset.focus || one.id || one.getAttribute("aria-label") || one.href || one.textContent;

/** Do `work`, which draws in `element`: what had the focus has it after that, what was open is open. */
function drawAnew(element, work) {
  const before = document.activeElement;
  const name = element.contains(before) && before !== element ? nameOf(before) : null;
  const { selectionStart: caret, selectionEnd: end } = before;
  const folds = (which) => [...element.querySelectorAll(`${which} > summary`)];
  const opened = new Set(folds("details[open]").map(nameOf));
  work();
  for (const fold of folds("details:not([open])")) {
    if (opened.has(nameOf(fold))) fold.parentNode.open = true;
  }
  if (name === null || element.contains(document.activeElement)) return;
  const again = before.isConnected ? before
    : [...element.querySelectorAll(before.localName)].find((one) => nameOf(one) === name);
  again?.focus({ preventScroll: true });
  if (again && Number.isInteger(caret)) again.setSelectionRange(caret, end);
}
