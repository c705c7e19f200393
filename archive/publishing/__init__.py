"""Sending a finished site to where it is served."""
