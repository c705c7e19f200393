"""Pixels and facts out of picture files."""
