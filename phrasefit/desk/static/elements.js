// ----------------------------------------------------------- making and finding elements

/**
 * Make an element: `make("button", { class: "main", onclick: work }, "Play")`.
 *
 * Texts are set as text, never read as HTML. `on…` are listeners, `data` a dataset,
 * true and false set or leave out an attribute, `disabled` is that of `putOff`; children may be arrays, null is passed over.
 */
export function make(tag, attributes = {}, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (name.startsWith("on")) element.addEventListener(name.slice(2), value);
    else if (name === "data") Object.assign(element.dataset, value);
    else if (name === "value" || name === "checked") element[name] = value;
    else if (name === "disabled") putOff(element, value);
    else if (value === true) element.setAttribute(name, "");
    else if (value !== false && value !== null && value !== undefined) element.setAttribute(name, value);
  }
  return fill(element, ...children);
}

/** Let a button do nothing for now; unlike one that the browser disables it keeps the focus. */
export function putOff(button, isOff) {
  button.setAttribute("aria-disabled", String(isOff));
}

document.addEventListener("click", (event) => {
  if (event.target.closest("[aria-disabled='true']")) event.stopImmediatePropagation();
}, true);

/** Put children into an element in place of what is there; null is passed over, arrays are laid flat. */
export function fill(element, ...children) {
  element.replaceChildren(...children.flat(Infinity).filter((child) => child !== null && child !== undefined));
  return element;
}

/** Say something to people who listen to the screen; sighted ones see it happen. */
export function say(words) {
  document.getElementById("say").textContent = words;
}

const AWAY = "The desk is closed. Nothing is lost: start it from its icon, and this window goes on.";

let isUnasked = false; // the trouble that is shown is of something that nobody has pressed
let isOfClosed = false; // it is that the desk did not answer

/** Show what went wrong at the head of the window, or take it away. */
export function trouble(error, { unasked = false } = {}) {
  const line = document.getElementById("trouble");
  const words = error ? sentence(error.message ?? String(error)) : "";
  isUnasked = unasked;
  line.hidden = !error;
  isOfClosed = error?.status === 0;
  if (line.textContent !== words) line.textContent = words;
}

/** Say that the desk is closed, or that it is back. */
export function away(isAway) {
  const line = document.getElementById("away");
  if (line.hidden !== isAway) return;
  line.hidden = !isAway;
  line.textContent = isAway ? AWAY : "";
  say(isAway ? AWAY : "The desk is back.");
  if (!isAway && isOfClosed) trouble(null);
}

const sentence = (words) => `${words.slice(0, 1).toUpperCase()}${words.slice(1)}${/[.!?]$/.test(words) ? "" : "."}`;

/** Run `work` and show its trouble, if it has any. */
export async function tried(work) {
  try {
    trouble(null);
    return await work();
  } catch (error) {
    if (error.name !== "AbortError") trouble(error);
    return undefined;
  }
}

/** As `tried`, for what nobody has pressed: it takes away no trouble but its own. */
export async function triedUnasked(work) {
  try {
    const done = await work();
    if (isUnasked) trouble(null);
    return done;
  } catch (error) {
    if (error.name !== "AbortError") trouble(error, { unasked: true });
    return undefined;
  }
}

/** Make of `work` what a click does that was meant once: some click twice, as on an icon. */
export function once(work) {
  let isUnderWay = false;
  return async (event) => {
    if (isUnderWay || event.detail > 1) return;
    isUnderWay = true;
    try {
      await work(event);
    } finally {
      isUnderWay = false;
    }
  };
}
