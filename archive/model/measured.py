"""What is measured from an original's bytes alone."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from archive.model.observation import Disc

__all__ = ["Axes", "Measured", "Spots"]


@dataclass(frozen=True)
class Axes:
    """World coordinates of a FITS header, as `archive.orientation.header` takes them."""

    system: Literal["helioprojective", "celestial"]
    matrix_deg: tuple[tuple[float, float], tuple[float, float]]


@dataclass(frozen=True)
class Spots:
    """Spots as the picture came: distance from the disc's centre to the right and up, in radii; areas in MSH."""

    right: tuple[float, ...] = ()
    up: tuple[float, ...] = ()
    area_msh: tuple[float, ...] = ()


@dataclass(frozen=True)
class Measured:
    """Size, depth, limb, header axes and spots of an original; `other_disc_px` is x, y and radius of a second disc."""

    width_px: int
    height_px: int
    bit_depth: int
    disc: Disc
    axes: Axes | None = None
    spots: Spots = Spots()
    other_disc_px: tuple[float, float, float] | None = None
