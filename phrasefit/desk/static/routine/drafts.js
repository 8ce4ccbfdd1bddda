// --------------------------------------- what is being written and not kept yet, in this browser
//
// A reload, or the computer going off, must not lose what was typed; once kept it is dropped.

const NEW = "routine draft";

const nameOf = (key) => (key ? `${NEW} of ${key}` : NEW);

/** Remember what is being written; `key` is "" for a routine that is not kept yet. */
export function remember(key, draft) {
  try { localStorage.setItem(nameOf(key), JSON.stringify(draft)); } catch { /* keeps nothing */ }
}

/** Recall it; null if there is none. */
export function recall(key) {
  try { return JSON.parse(localStorage.getItem(nameOf(key))); } catch { return null; }
}

/** Drop it. */
export function forget(key) {
  try { localStorage.removeItem(nameOf(key)); } catch { /* keeps nothing */ }
}

/** Hand a text over to the form as a new routine: `{ text, name }`. */
export function handOver(made) {
  remember("", { made });
}
