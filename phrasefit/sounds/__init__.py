"""Sounds made from nothing: what the practice groove plays, and the generators build on."""

N_TIMBRE = 6  # numbers (0-1) that fix the particular drum or string of a song
