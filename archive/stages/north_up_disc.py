"""The north-up disc of an original, and its FITS."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from archive.disc.aligned import STANDARD_FRAME, align_disc
from archive.model.observation import Disc
from archive.reading import Content
from archive.records.disc_files import fits_bytes
from archive.stages.held_brightness import brightness_of

__all__ = ["Turned", "aligned_disc", "north_up_disc"]

Card = tuple[str, str | int | float, str]


@dataclass(frozen=True)
class Turned:
    """A disc and how it lies in its picture; `north_angle_deg` is None where north is unknown.

    `cards` are those of the FITS header: keyword, value, comment.
    """

    disc: Disc
    north_angle_deg: float | None
    mirrored: bool | None
    cards: tuple[Card, ...] = ()


def north_up_disc(original: Content, name: str, turned: Turned) -> bytes:
    """Return the disc of an original as FITS.

    Raises
    ------
    PictureError
        The original is no whole picture.
    """
    return fits_bytes(aligned_disc(original, name, turned), turned.cards)


def aligned_disc(original: Content, name: str, turned: Turned) -> NDArray[np.float32]:
    """Return an original's disc in the standard frame: north up, or as it came where north is unknown.

    The Sun's light is not negative: where the resampling swings below the original's least, as beside a caption or in a
    small umbra, it is cut off there; a sky that was subtracted keeps its noise about 0.

    Raises
    ------
    PictureError
        The original is no whole picture.
    """
    brightness = brightness_of(original, name)
    aligned = align_disc(
        brightness,
        turned.disc,
        # Else as it came: neither turned nor mirrored, but of the same size as all others.
        north_angle_deg=turned.north_angle_deg or 0.0,
        mirrored=bool(turned.mirrored),
    )
    sky = min(0.0, float(brightness.min())) if brightness.dtype.kind == "f" else 0.0
    cut: NDArray[np.float32] = np.maximum(aligned, np.where(_on_disc(), np.float32(0.0), np.float32(sky)), out=aligned)
    return cut


@lru_cache(maxsize=1)
def _on_disc() -> NDArray[np.bool_]:
    offset_px = np.arange(STANDARD_FRAME.size_px) - STANDARD_FRAME.centre_px
    on_disc: NDArray[np.bool_] = np.hypot(offset_px[None, :], offset_px[:, None]) < STANDARD_FRAME.radius_px
    return on_disc
