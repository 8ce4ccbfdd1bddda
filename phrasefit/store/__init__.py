"""The cache of earlier analyses."""
