"""Angles that wrap: wrapping and differences."""

from __future__ import annotations

__all__ = ["difference_deg", "wrapped_deg"]


def wrapped_deg(angle_deg: float) -> float:
    """Return the angle wrapped to (-180, 180]."""
    wrapped = angle_deg % 360.0
    return wrapped - 360.0 if wrapped > 180.0 else wrapped


def difference_deg(first_deg: float, second_deg: float) -> float:
    """Return `first_deg` minus `second_deg`, wrapped to (-180, 180]."""
    return wrapped_deg(first_deg - second_deg)
