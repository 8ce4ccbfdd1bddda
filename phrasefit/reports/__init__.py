"""One module a medium."""
