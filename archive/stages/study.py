"""One pass over an original: it is decoded once, and gives its facts, its limb, its spots and its picture to show."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from archive.disc.brightness import brightness_plane
from archive.disc.limbs import Limbs, fit_limbs
from archive.disc.other_discs import other_disc_px
from archive.disc.spots import DarkSpots, spots_as_it_came
from archive.errors import PictureError
from archive.measuring.spots import measure_spots
from archive.model.measured import Axes, Measured, Spots
from archive.model.observation import Disc, FoundSpots
from archive.reading import Content, Facts, Pixels, facts_in_file, read_pixels
from archive.records.disc_files import whole_levels, whole_picture_bytes
from archive.stages.held_brightness import hold_brightness

__all__ = ["Study", "study", "unmeasured_study"]

_UNFORESEEN = "cannot be measured, by a fault of this program: keep it as it is by --unmeasured, and report the fault"


@dataclass(frozen=True)
class Study:
    """What a picture's own bytes tell.

    Attributes
    ----------
    suffix : str
        Ending of file names of its kind.
    facts : tuple of Facts
    limb : Measured or PictureError
        Why there is no disc to be measured.
    spots : FoundSpots or None
        Of the picture as it came, so that they hold however it is turned; None without a disc.
    as_it_came : bytes
        The whole picture without metadata, as AVIF (a large one as JPEG); empty without a disc.
    """

    suffix: str
    facts: tuple[Facts, ...]
    limb: Measured | PictureError
    spots: FoundSpots | None = None
    as_it_came: bytes = b""

    @property
    def measured(self) -> Measured:
        """Limb, size and axes.

        Raises
        ------
        PictureError
            No measurable disc.
        """
        if isinstance(self.limb, PictureError):
            raise self.limb
        return self.limb


def study(data: Content, name: str) -> Study:
    """Read and measure a picture; a disc that cannot be measured is told when it is asked for.

    Parameters
    ----------
    data : bytes or mapped file
    name : str
        For messages.

    Raises
    ------
    PictureError
        No whole picture.
    FactsError
        A FITS header with impossible facts.
    """
    pixels = read_pixels(data, name)
    facts = facts_in_file(data, pixels.kind, name)
    brightness = brightness_plane(pixels.values, full_scale=pixels.full_scale)
    try:
        limbs = fit_limbs(brightness)
    except PictureError as error:
        return Study(pixels.suffix, facts, type(error)(*(f"{name}: {cause}" for cause in error.causes)))
    disc = limbs.disc
    try:
        measured = replace(
            _measured(pixels, facts, disc),
            crescent=limbs.crescent,
            is_thin=limbs.is_thin,
        )
        spots = _thin_spots(limbs)
        if not limbs.is_thin:
            found = spots_as_it_came(brightness, disc)
            measured = replace(measured, spots=_evidence(found), other_disc_px=other_disc_px(brightness, disc))
            spots = _rounded(measure_spots(brightness, disc, north_angle_deg=0.0, mirrored=False))
    except (ArithmeticError, IndexError, ValueError) as error:
        # Of many pictures one that nobody foresaw must not keep the others from being filed.
        return Study(pixels.suffix, facts, PictureError(f"{name}: {_UNFORESEEN} ({type(error).__name__}: {error})"))
    hold_brightness(data, brightness)
    del brightness  # of a large picture much memory
    levels = whole_levels(pixels.values, full_scale=pixels.full_scale)
    suffix = pixels.suffix
    del pixels
    return Study(suffix, facts, measured, spots, whole_picture_bytes(levels, disc))


def unmeasured_study(data: Content, name: str) -> Study:
    """Read a picture that is not to be measured; see `study`."""
    pixels = read_pixels(data, name)
    facts = facts_in_file(data, pixels.kind, name)
    return Study(pixels.suffix, facts, PictureError(f"{name}: not measured, as its record says"))


def _measured(pixels: Pixels, facts: Sequence[Facts], disc: Disc) -> Measured:
    axes = next((found.axes for found in facts if found.axes is not None), None)
    height, width = pixels.values.shape[:2]
    kept_axes = Axes(axes.system, axes.matrix_deg) if axes else None
    return Measured(width, height, pixels.bit_depth, disc, kept_axes)


def _thin_spots(limbs: Limbs) -> FoundSpots:
    """Return that no spots were looked for, in as much of the disc as the Moon leaves."""
    return FoundSpots((), 1.0, 1.0 if limbs.crescent is None else round(limbs.crescent.seen_share, 3))


def _evidence(spots: DarkSpots) -> Spots:
    """Return the spots as evidence, rounded to a thousandth of a degree to store them small."""
    right, up, area_msh = (
        tuple(round(float(value), 5) for value in np.asarray(column))
        for column in (spots.right, spots.up, spots.area_msh)
    )
    return Spots(right, up, area_msh)


def _rounded(found: FoundSpots) -> FoundSpots:
    """Return the spots rounded far below the error of measurement, to store them small."""
    spots = tuple(
        replace(
            spot,
            right=round(spot.right, 6),
            up=round(spot.up, 6),
            area_msh=round(spot.area_msh, 2),
            umbra_msh=_hundredths(spot.umbra_msh),
            area_sigma_msh=_hundredths(spot.area_sigma_msh),
            umbra_sigma_msh=_hundredths(spot.umbra_sigma_msh),
        )
        for spot in found.spots
    )
    return FoundSpots(spots, round(found.least_depth, 4), round(found.seen_share, 3))


def _hundredths(value: float | None) -> float | None:
    return None if value is None else round(value, 2)
