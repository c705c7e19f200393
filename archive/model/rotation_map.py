"""The map of a Carrington rotation."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from archive.model.blob import Blob

__all__ = ["RotationMap"]


@dataclass(frozen=True)
class RotationMap:
    """A Carrington rotation and its map: plate carree, longitude 0 to 360 from left to right, north up.

    `picture` is a grey PNG with unobserved parts clear, `fits` the same with world coordinates; `observed_share` is the
    share of the surface that they show.
    """

    number: int
    first_utc: datetime
    last_utc: datetime
    picture: Blob
    fits: Blob
    observed_share: float
