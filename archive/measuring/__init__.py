"""Measurements on pictures: spots, groups, their tracks from day to day, rotation and maps; no files."""
