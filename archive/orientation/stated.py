"""Evidence `stated`: the observer says which way north lies."""

from __future__ import annotations

from archive.model.angles import wrapped_deg
from archive.model.observation import Evidence

__all__ = ["stated_evidence"]

_SIGMA_DEG = 0.5  # an angle read off a picture by eye and protractor; common practice, no source


def stated_evidence(north_angle_deg: float, *, mirrored: bool, sigma_deg: float | None = None) -> Evidence:
    """The angle as stated; without a stated error, half a degree."""
    return Evidence("stated", wrapped_deg(north_angle_deg), sigma_deg or _SIGMA_DEG, mirrored, "stated by the observer")
