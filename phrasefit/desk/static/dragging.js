// ----------------------- dragging on the sheet: where a section begins, where the dance does
//
// The menu of a count does the same; dragging is only quicker.

/**
 * Let parts of a sheet be dragged to another count. `kinds` are pairs of a selector and what
 * is done: `work(from, to)` with the counts; the element holds its own in `data-first`.
 */
export function dragOn(sheet, kinds) {
  let held = null;
  const boxAt = ({ clientX, clientY }) => {
    const cells = document.elementFromPoint(clientX, clientY)?.closest?.(".sheet .cells");
    const boxes = cells ? [...cells.querySelectorAll("i[data-at]")] : [];
    return boxes.findLast((box) => box.getBoundingClientRect().left <= clientX) ?? boxes[0] ?? null;
  };
  const target = (box) => {
    sheet.querySelector(".target")?.classList.remove("target");
    box?.classList.add("target");
  };
  sheet.addEventListener("pointerdown", (event) => {
    const kind = event.button === 0 && kinds.find(([selector]) => event.target.closest(selector));
    if (!kind) return;
    held = { from: Number(event.target.closest(kind[0]).dataset.first), work: kind[1], box: null };
    sheet.setPointerCapture(event.pointerId);
    event.preventDefault();
  });
  sheet.addEventListener("pointermove", (event) => {
    if (held) target(held.box = boxAt(event));
  });
  sheet.addEventListener("pointerup", () => {
    const { from, work, box } = held ?? {};
    held = null;
    target(null);
    const to = box && Number(box.dataset.at);
    if (box && to !== from) work(from, to);
  });
  sheet.addEventListener("pointercancel", () => { held = null; target(null); });
}
