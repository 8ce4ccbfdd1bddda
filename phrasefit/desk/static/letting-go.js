// ------------------------------------------------- what is pressed stays until it is let go
//
// A click counts only where it was begun and ended on the same thing: what is drawn anew between
// pressing and letting go takes the click with it.  Pressing a button also ends typing in a field,
// so that the answer to what was typed comes just then.

/** Make a `draw` that waits while something in `element` is pressed; `end` when all is over. */
export function onceLetGo(element, work) {
  let pressed = false;
  let owed = false;
  const draw = () => {
    owed = pressed;
    if (!owed) work();
  };
  const press = () => { pressed = true; };
  const letGo = () => setTimeout(() => { // after the click
    pressed = false;
    if (owed) draw();
  });
  element.addEventListener("pointerdown", press);
  for (const kind of ["pointerup", "pointercancel"]) window.addEventListener(kind, letGo);
  return {
    draw,
    end() {
      for (const kind of ["pointerup", "pointercancel"]) window.removeEventListener(kind, letGo);
    },
  };
}
