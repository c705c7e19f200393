"""Specks that stay in the camera's frame while the Sun turns: dust on the sensor, not spots."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from archive.orientation.spot_match import SpottedPicture

__all__ = ["without_dust"]

Floats = NDArray[np.floating[Any]]

_LEAST_DAYS = 0.7  # in which a spot near the centre moves by 0.16 radii
_SAME_PLACE_RADII = 0.012
_LARGEST_SPOT_MSH = 4000.0


def without_dust(pictures: Sequence[SpottedPicture]) -> list[SpottedPicture]:
    """Leave out what stands in the same place of the frame, or of the disc, on another day.

    A spot comes back to the same place by chance about once in a hundred spots; a speck always.

    Parameters
    ----------
    pictures : sequence of SpottedPicture
    """
    places = [_places(picture) for picture in pictures]
    kept = []
    for number, picture in enumerate(pictures):
        stays = np.zeros(len(picture.right), dtype=bool)
        for other, another in enumerate(pictures):
            if other != number and abs(picture.time_days - another.time_days) >= _LEAST_DAYS:
                for mine, theirs in zip(places[number], places[other], strict=True):
                    stays |= _meets(mine, theirs)
        good = ~stays & (picture.area_msh < _LARGEST_SPOT_MSH)
        kept.append(replace(picture, right=picture.right[good], up=picture.up[good], area_msh=picture.area_msh[good]))
    return kept


def _places(picture: SpottedPicture) -> tuple[Floats, Floats]:
    """Spots (N, 2) on the disc, and in the frame, both in radii."""
    on_disc = np.column_stack([picture.right, picture.up])
    centre = np.array([picture.centre_px[0], -picture.centre_px[1]]) / picture.radius_px
    return on_disc, on_disc + centre


def _meets(mine: Floats, theirs: Floats) -> NDArray[np.bool_]:
    if not len(mine) or not len(theirs):
        return np.zeros(len(mine), dtype=bool)
    apart = np.linalg.norm(mine[:, None, :] - theirs[None, :, :], axis=2)
    found: NDArray[np.bool_] = apart.min(axis=1) < _SAME_PLACE_RADII
    return found
