"""Many songs against a routine: scored together, the best ones planned exactly."""
