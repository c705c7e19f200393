"""The map of a rotation, grown by discs: its sums, its picture and its FITS file."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from archive.disc.aligned import STANDARD_FRAME
from archive.measuring.carrington_map import (
    CarringtonMap,
    add_picture,
    empty_map,
    fits_cards,
    map_brightness,
    map_image,
    observed_share,
)
from archive.model.observation import SunView
from archive.records.map_files import map_fits_bytes, map_picture_bytes, rounded_sums, sums_bytes, sums_of
from archive.stages.flat_disc import flat_disc
from archive.store import StoredBlob

__all__ = ["MapFiles", "grown_map"]


@dataclass(frozen=True)
class MapFiles:
    """The files of a map, and the share of the surface that it shows."""

    picture: bytes
    fits: bytes
    sums: bytes
    observed_share: float


def grown_map(
    rotation: int, before: tuple[bytes, bytes] | None, discs: Iterable[tuple[StoredBlob, SunView, float]]
) -> MapFiles:
    """Add discs to a map.

    Parameters
    ----------
    rotation : int
        Carrington's number.
    before : tuple of bytes or None
        Sums and FITS of an earlier map; None begins with an empty one.
    discs : iterable of (StoredBlob, SunView, float)
        North-up discs (FITS), the Sun at their times, and how much each counts.
    """
    grown = empty_map(rotation) if before is None else CarringtonMap(rotation, *sums_of(*before))
    for disc, sun, sharpness in discs:
        grown = add_picture(grown, flat_disc(disc), STANDARD_FRAME, sun=sun, sharpness=sharpness)
        grown = CarringtonMap(rotation, *rounded_sums(grown.light, grown.weight))
    values = map_brightness(grown)
    return MapFiles(
        map_picture_bytes(map_image(values)),
        map_fits_bytes(values, fits_cards(grown)),
        sums_bytes(grown.weight),
        round(observed_share(grown), 4),
    )
