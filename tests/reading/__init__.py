"""Checks of `archive.reading`."""
