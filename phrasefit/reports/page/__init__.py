"""The rehearsal page and the index page of a class folder, each one HTML file."""

from phrasefit.reports.page.document import Level, Origin, fingerprint
from phrasefit.reports.page.index import Entry, index_page
from phrasefit.reports.page.page import MEDIA_TYPES, Live, Recording, live_policy, page

__all__ = [
    "MEDIA_TYPES",
    "Entry",
    "Level",
    "Live",
    "Origin",
    "Recording",
    "fingerprint",
    "index_page",
    "live_policy",
    "page",
]
