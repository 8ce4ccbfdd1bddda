// ------------------------------------------------------------------------- the view "Evening"

import { make } from "../elements.js";

export const title = "Evening";

/** Fill `main`. */
export async function show(main) {
  main.append(make("h1", {}, title));
}
