"""Rotation films: time line, frames, overlays and encoder."""
