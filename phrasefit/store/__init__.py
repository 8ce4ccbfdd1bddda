"""The cache of earlier analyses, and what a person corrected or wants to keep."""

from phrasefit.store.cache import Store, default_path
from phrasefit.store.schema import Summary

__all__ = ["Store", "Summary", "default_path"]
