"""Beats, bars and the bar map."""
