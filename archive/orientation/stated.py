"""Evidence `stated`: the north angle given by the observer."""

from __future__ import annotations

from archive.model.angles import wrapped_deg
from archive.model.observation import Evidence

__all__ = ["stated_evidence"]

_SIGMA_DEG = 0.5  # half a division of a protractor


def stated_evidence(north_angle_deg: float, *, mirrored: bool, sigma_deg: float | None = None) -> Evidence:
    """Return the stated angle; without a stated error, the error is half a degree."""
    return Evidence("stated", wrapped_deg(north_angle_deg), sigma_deg or _SIGMA_DEG, mirrored, "stated by the observer")
