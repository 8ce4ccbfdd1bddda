"""Decoding songs and computing every feature."""
