"""Laying a routine over a song."""
