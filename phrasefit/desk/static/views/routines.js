// ------------------------------------------------------------------------- the view "Routines"

import { make } from "../elements.js";

export const title = "Routines";

/** Fill `main`. */
export async function show(main) {
  main.append(make("h1", {}, title));
}
