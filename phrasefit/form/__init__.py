"""Sections and phrases."""
