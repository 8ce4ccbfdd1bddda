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

async function asked(address, how) {
  let answer;
  try {
    answer = await fetch(address, { ...how, credentials: "same-origin" });
  } catch (error) {
    if (error.name === "AbortError") throw error;
    throw new Refused(0, { error: "the desk has been closed; start it again from its icon, nothing is lost" });
  }
  const isJson = answer.headers.get("content-type")?.startsWith("application/json");
  const said = isJson ? await answer.json() : {};
  if (!answer.ok) throw new Refused(answer.status, said);
  return said;
}

/** Ask for something; `signal` of an AbortController gives it up. */
export const get = (address, signal) => asked(address, { signal });

/** Change something. */
export const post = (address, value = {}) => asked(address, {
  method: "POST", body: JSON.stringify(value), headers: { "content-type": "application/json" },
});

/** Send a file as it is; the answer is JSON. */
export const send = (address, file, signal) => asked(address, {
  method: "POST", body: file, headers: { "content-type": "application/octet-stream" }, signal,
});

const source = new EventSource("/news");

/** Call `work` with each piece of news of this kind; gives a function that ends it. */
export function news(kind, work) {
  const hear = (event) => work(JSON.parse(event.data));
  source.addEventListener(kind, hear);
  return () => source.removeEventListener(kind, hear);
}
