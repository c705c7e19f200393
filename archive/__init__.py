"""Northlimb: a north-up archive, rotation films and a static site from one's own pictures of the Sun."""

__all__ = ["__version__"]

__version__ = "0.1.0"
