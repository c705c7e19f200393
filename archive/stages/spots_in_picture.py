"""Places of spots in the picture as displayed, where the observer sees them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from archive.disc.aligned import STANDARD_FRAME, frame_to_picture
from archive.model.observation import Disc, Observation, Spot

__all__ = ["SpotInPicture", "places_px", "spots_in_picture"]


@dataclass(frozen=True)
class SpotInPicture:
    """A measured spot in the picture as displayed; `group` is the number of its group in the observation, from 0.

    `area_msh` is None where the picture does not tell it.
    """

    x_px: float
    y_px: float
    area_msh: float | None
    group: int


def spots_in_picture(one: Observation) -> tuple[SpotInPicture, ...]:
    """Return the measured spots of an observation, group by group; spots by hand have no place of their own."""
    measured = [
        (number, spot)
        for number, named in enumerate(one.groups or ())
        if not named.stated
        for spot in named.group.spots
    ]
    spots = [spot for _, spot in measured]
    way_up = one.orientation
    placed = places_px(
        one.disc, spots, north_angle_deg=way_up.north_angle_deg or 0.0, mirrored=bool(way_up.mirrored)
    ).tolist()
    return tuple(
        SpotInPicture(round(x_px, 1), round(y_px, 1), spot.area_msh if spot.area_known else None, number)
        for (number, spot), (x_px, y_px) in zip(measured, placed, strict=True)
    )


def places_px(
    disc: Disc, spots: Sequence[Spot], *, north_angle_deg: float = 0.0, mirrored: bool = False
) -> NDArray[np.float64]:
    """Return places (N, 2) of spots in the picture as displayed, x and y.

    Parameters
    ----------
    north_angle_deg, mirrored
        Of north-up spots; without them the spots are in the picture's own orientation.
    """
    matrix, offset = frame_to_picture(disc, STANDARD_FRAME, north_angle_deg=north_angle_deg, mirrored=mirrored)
    places = np.array([[spot.right, -spot.up] for spot in spots], dtype=np.float64).reshape(-1, 2)
    in_picture: NDArray[np.float64] = (STANDARD_FRAME.centre_px + STANDARD_FRAME.radius_px * places) @ matrix.T + offset
    return in_picture
