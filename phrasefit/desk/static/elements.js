// ----------------------------------------------------------- making and finding elements

/**
 * Make an element: `make("button", { class: "main", onclick: work }, "Play")`.
 *
 * Texts are set as text, never read as HTML. `on…` are listeners, `data` a dataset,
 * true and false set or leave out an attribute; children may be arrays, null is passed over.
 */
export function make(tag, attributes = {}, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (name.startsWith("on")) element.addEventListener(name.slice(2), value);
    else if (name === "data") Object.assign(element.dataset, value);
    else if (name === "value" || name === "checked" || name === "disabled") element[name] = value;
    else if (value === true) element.setAttribute(name, "");
    else if (value !== false && value !== null && value !== undefined) element.setAttribute(name, value);
  }
  element.append(...children.flat(Infinity).filter((child) => child !== null && child !== undefined));
  return element;
}

/** Say something to people who listen to the screen; sighted ones see it happen. */
export function say(words) {
  document.getElementById("say").textContent = words;
}

/** Show what went wrong at the head of the page, or take it away. */
export function trouble(error) {
  const line = document.getElementById("trouble");
  line.hidden = !error;
  line.textContent = error ? sentence(error.message ?? String(error)) : "";
  if (error) line.scrollIntoView({ block: "nearest" });
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
