"""Specks that stay in the camera's frame while the Sun turns: dust on the sensor, not spots."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from archive.measuring.fixed_pattern import SpotPositions, fixed_pattern_specks
from archive.orientation.spot_match import SpottedPicture

__all__ = ["without_dust"]

# One coincidence is enough: about one spot in a hundred is lost by it, a speck kept could turn the whole week.
_LEAST_DAYS, _SAME_PLACE_RADII = 1, 0.012
_LARGEST_SPOT_MSH = 4000.0


def without_dust(pictures: Sequence[SpottedPicture]) -> list[SpottedPicture]:
    """Leave out what stands in the same place of the frame, or of the disc, on another day.

    Parameters
    ----------
    pictures : sequence of SpottedPicture
    """
    specks = fixed_pattern_specks(
        [_placed(picture) for picture in pictures], min_days=_LEAST_DAYS, tolerance_radii=_SAME_PLACE_RADII
    )
    kept = []
    for picture, stands in zip(pictures, specks, strict=True):
        good = ~stands & (picture.area_msh < _LARGEST_SPOT_MSH)
        kept.append(replace(picture, right=picture.right[good], up=picture.up[good], area_msh=picture.area_msh[good]))
    return kept


def _placed(picture: SpottedPicture) -> SpotPositions:
    on_disc = np.column_stack([picture.right, picture.up])
    centre = np.array([picture.centre_px[0], -picture.centre_px[1]]) / picture.radius_px
    return SpotPositions(picture.time_days, on_disc, on_disc + centre)
