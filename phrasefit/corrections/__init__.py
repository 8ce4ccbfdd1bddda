"""What a person corrects in a bar map, without listening again.

`beats` (with `ones` and `level`), `sections` and `names` apply a `phrasefit.model.Correction`,
`combine` adds one to another, `document` reads and writes it as JSON.  A correction says what
is true of the map it leads to: its times are those of that map, and what a later one makes
void is no longer in it.
"""

from __future__ import annotations

from phrasefit.model import Correction

UNTOUCHED = Correction()
