// ------------------------------------------ corrections that are not saved to a file yet

// The name holds song, map and earlier corrections: a page made anew does not take them up.
const KEPT = `phrasefit-page-${data.key}`;

/** Keep the corrections in the browser, so that a reload does not lose them. */
function keep() {
  const { change, history, saved } = state;
  try {
    if (isUntouched(change) && !history.length) localStorage.removeItem(KEPT);
    else localStorage.setItem(KEPT, JSON.stringify({ change, history, saved }));
  } catch { /* the browser keeps nothing: leaving the page still asks */ }
}

const isChange = (kept) =>
  kept && Object.keys(UNTOUCHED).every((name) => name in kept);

/** Take up what was kept before a reload; tells whether there was anything. */
function takeUp() {
  let kept = null;
  try {
    kept = JSON.parse(localStorage.getItem(KEPT));
  } catch { /* nothing that could be read */ }
  if (!isChange(kept?.change) || !kept.history?.every?.(isChange)) return false;
  Object.assign(state, { history: kept.history, saved: Boolean(kept.saved) });
  apply(kept.change);
  return !isUntouched(kept.change);
}

/** Tell whether something would be lost if the page were closed now. */
const isUnsaved = () => !state.saved && !isUntouched(state.change);

addEventListener("beforeunload", (event) => {
  if (!isUnsaved()) return;
  event.preventDefault();
  event.returnValue = ""; // older browsers ask only then
});
