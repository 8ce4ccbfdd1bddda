"""The cache of earlier analyses, and what a person corrected or wants to keep.

May import: errors, files, standard library (platformdirs inside functions).
"""

from phrasefit.store.cache import Store, default_path
from phrasefit.store.schema import Summary

__all__ = ["Store", "Summary", "default_path"]
