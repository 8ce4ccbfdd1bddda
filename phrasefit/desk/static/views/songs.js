// ------------------------------------------------------------------------- the view "Songs"

import { make } from "../elements.js";

export const title = "Songs";

/** Fill `main`. */
export async function show(main) {
  main.append(make("h1", {}, title));
}
