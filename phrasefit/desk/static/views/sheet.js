// ------------------------------------------------------------------------- the view "Sheet"

import { make } from "../elements.js";

export const title = "Sheet";

/** Fill `main`. */
export async function show(main) {
  main.append(make("h1", {}, title));
}
