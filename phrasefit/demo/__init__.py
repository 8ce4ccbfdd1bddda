"""Our own demo songs."""
