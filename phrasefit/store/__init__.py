"""The cache of earlier analyses, and what a person corrected or wants to keep."""

from phrasefit.store.cache import Store
from phrasefit.store.database import default_path
from phrasefit.store.user_data import SetAside

__all__ = ["SetAside", "Store", "default_path"]
