// ------------------------------------------------------------------- files, saved by the browser
//
// The desk is asked for the file first: left to the browser, a link whose file cannot be made
// says nothing on the page.

import { make, tried } from "./elements.js";
import { file } from "./server.js";

const STILL_SAVING_MS = 60_000; // so long a browser may need what it saves

/** Save what lies at an address, under the name that the desk gives it. */
export async function save(address) {
  const { name, content } = await file(address);
  const link = make("a", { href: URL.createObjectURL(content), download: name });
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), STILL_SAVING_MS);
}

/** Save what a link leads to; until it is there, the link says that it is being made. */
export async function saveLink(link) {
  if (link.ariaBusy === "true") return;
  link.ariaBusy = "true";
  await tried(() => save(link.href));
  link.ariaBusy = null;
}
