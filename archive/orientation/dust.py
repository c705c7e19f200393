"""Removal of dust: specks with a fixed position in the camera's frame while the Sun rotates."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from archive.measuring.fixed_pattern import SpotPositions, fixed_pattern_specks
from archive.orientation.spot_match import SpottedPicture

__all__ = ["without_dust"]

# One coincidence is enough: it loses about one spot in a hundred, while one speck kept can falsify a whole week.
_MIN_DAYS, _TOLERANCE_RADII = 1, 0.012
_MAX_SPOT_MSH = 4000.0


def without_dust(pictures: Sequence[SpottedPicture]) -> list[SpottedPicture]:
    """Return the pictures without spots that recur at the same position of the frame, or of the disc, on another day.

    Parameters
    ----------
    pictures : sequence of SpottedPicture
    """
    specks = fixed_pattern_specks(
        [_spot_positions(picture) for picture in pictures], min_days=_MIN_DAYS, tolerance_radii=_TOLERANCE_RADII
    )
    cleaned = []
    for picture, is_speck in zip(pictures, specks, strict=True):
        good = ~is_speck & (picture.area_msh < _MAX_SPOT_MSH)
        cleaned.append(
            replace(picture, right=picture.right[good], up=picture.up[good], area_msh=picture.area_msh[good])
        )
    return cleaned


def _spot_positions(picture: SpottedPicture) -> SpotPositions:
    on_disc = np.column_stack([picture.right, picture.up])
    centre = np.array([picture.centre_px[0], -picture.centre_px[1]]) / picture.radius_px
    return SpotPositions(picture.time_days, on_disc, on_disc + centre)
