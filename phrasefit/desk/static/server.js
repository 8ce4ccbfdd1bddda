// ------------------------------------------------- what the views ask of the server
//
// `get` and `post` speak JSON and throw `Refused` with a sentence for people; `news` tells
// what has changed anywhere, in another window too.

/** An answer that says why not; `status` is that of HTTP, `state` the newer state of a 409. */
export class Refused extends Error {
  constructor(status, said) {
    super(said.error ?? "the desk did not answer; is it still running?");
    Object.assign(this, { status, state: said.state, reason: said.reason });
  }
}

// A desk that is started again knows nobody; the window that it opens lets the whole browser in.
const STRANGE = "the desk was started again meanwhile: open it from its icon, then this window works too";

async function answered(address, how) {
  let answer;
  try {
    answer = await fetch(address, { ...how, credentials: "same-origin" });
  } catch (error) {
    if (error.name === "AbortError") throw error;
    throw new Refused(0, { error: "the desk has been closed; start it again from its icon, nothing is lost" });
  }
  if (answer.status === 403) throw new Refused(403, { error: STRANGE });
  if (!answer.ok) throw new Refused(answer.status, await saidIn(answer));
  return answer;
}

const asked = async (address, how) => saidIn(await answered(address, how));

async function saidIn(answer) {
  const isJson = answer.headers.get("content-type")?.startsWith("application/json");
  return isJson ? answer.json() : {};
}

/** Take a module of the desk; where it does not come, the desk is asked what the matter is. */
export async function moduleAt(address) {
  try {
    return await import(address);
  } catch {
    await asked(address);
    return import(address);
  }
}

/** Ask for something; `signal` of an AbortController gives it up. */
export const get = (address, signal) => asked(address, { signal });

/** Ask for a file: `{ name, content }`, the name as the desk gives it (RFC 6266). */
export async function file(address) {
  const answer = await answered(address);
  const [, coded, plain] = answer.headers.get("content-disposition").match(/filename\*=utf-8''([^;]+)|filename="([^"]+)"/i);
  return { name: coded ? decodeURIComponent(coded) : plain, content: await answer.blob() };
}

/** Change something. */
export const post = (address, value = {}) => asked(address, {
  method: "POST", body: JSON.stringify(value), headers: { "content-type": "application/json" },
});

/** Send a file as it is; the answer is JSON. */
export const send = (address, file, signal) => asked(address, {
  method: "POST", body: file, headers: { "content-type": "application/octet-stream" }, signal,
});

// One window of the browser holds the line to the desk, and the others hear of it from there: a
// browser has six lines to one address, and with a line for each window the seventh stood still.
const AGAIN_MS = 2000;
const AWAY_AFTER_MS = 4000; // the line is taken up again sooner, if anything answers
const hearers = new Set(); // [kind, hear]
const kinds = new Set(["open"]); // what the line is asked for
const windows = new BroadcastChannel("news");
let line = null; // in the window that holds it
let isMissed = false;

function want(kind) {
  if (kinds.has(kind)) return;
  kinds.add(kind);
  line?.addEventListener(kind, hearOn);
}

function take({ kind, data }) {
  if (kind === "missed") {
    isMissed = true;
    for (const [wanted] of hearers) windows.postMessage({ wanted }); // another may hold the line now
  }
  for (const [wanted, hear] of [...hearers]) if (wanted === kind) hear(data);
}

function pass(kind, data = "") {
  windows.postMessage({ kind, data });
  take({ kind, data });
}

const hearOn = ({ type, data }) => { if (data) pass(type, data); }; // "open" is the browser's own, too

function listen() {
  line = new EventSource("/news");
  for (const kind of kinds) line.addEventListener(kind, hearOn);
  line.addEventListener("error", () => { // a stranger is not let in, nor asked to try again
    pass("missed");
    if (line.readyState === EventSource.CLOSED) setTimeout(listen, AGAIN_MS);
  });
  return new Promise(() => {}); // until the window is closed
}

windows.addEventListener("message", ({ data }) => (data.wanted ? want(data.wanted) : take(data)));
navigator.locks.request("news", { ifAvailable: true }, (free) => free && listen())
  .then(() => navigator.locks.request("news", () => { // whoever held it is gone
    pass("missed");
    return listen();
  }));

/** Call `lost` when the desk does not answer for a while, and `found` once it does again. */
export function awayOf({ lost, found }) {
  let soon = null;
  hearers.add(["missed", () => { soon ??= setTimeout(lost, AWAY_AFTER_MS); }]);
  hearers.add(["open", () => {
    clearTimeout(soon);
    soon = null;
    found();
  }]);
}

/**
 * Call `work` with each piece of news of this kind, and `again` once some may have been missed;
 * gives a function that ends it.
 */
export function news(kind, work, again = null) {
  const mine = [[kind, (data) => work(JSON.parse(data))]];
  if (again) mine.push(["open", () => { if (isMissed) again(); }]);
  want(kind);
  windows.postMessage({ wanted: kind });
  for (const one of mine) hearers.add(one);
  return () => mine.forEach((one) => hearers.delete(one));
}
