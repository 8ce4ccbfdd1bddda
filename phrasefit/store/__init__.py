"""The cache of earlier analyses and a person's corrections.

May import: errors, standard library (platformdirs inside functions).
"""

from phrasefit.store.cache import Store, default_path

__all__ = ["Store", "default_path"]
