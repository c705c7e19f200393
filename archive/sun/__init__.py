"""Where the Sun is and how it rotates."""

from archive.sun.view import field_rotation_deg_per_hour, sun_view, sun_views

__all__ = ["field_rotation_deg_per_hour", "sun_view", "sun_views"]
