"""The rehearsal page and the index page of a class folder, each one HTML file."""

from phrasefit.reports.page.index import Entry, index_page
from phrasefit.reports.page.page import Level, Origin, Recording, fingerprint, page

__all__ = ["Entry", "Level", "Origin", "Recording", "fingerprint", "index_page", "page"]
