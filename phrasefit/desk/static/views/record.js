// ------------------------------------------------------------------------- the view "Record"

import { make } from "../elements.js";

export const title = "Record";

/** Fill `main`. */
export async function show(main) {
  main.append(make("h1", {}, title));
}
