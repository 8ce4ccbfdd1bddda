"""The cache of earlier analyses, and what a person corrected or wants to keep."""

from phrasefit.store.cache import Store, default_path

__all__ = ["Store", "default_path"]
