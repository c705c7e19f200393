"""The limb of the Sun, and in an eclipse that of the Moon: one picture's whole geometry."""

from __future__ import annotations

import math
from dataclasses import dataclass

from archive.disc.brightness import Plane
from archive.disc.crescent import disc_of, fit_crescent
from archive.disc.edges import Circle
from archive.disc.limb import fit_limb
from archive.errors import PictureError
from archive.model.measured import Crescent
from archive.model.observation import Disc

__all__ = ["Limbs", "fit_limbs"]

_WHOLE = 0.97  # of the limb: nothing is before it
_DISAGREEMENT_SIGMAS = 4.0
_DISAGREEMENT_PX = 0.5
_CLEAN_MISFIT = 0.03


@dataclass(frozen=True)
class Limbs:
    """The disc, and both limbs where the Moon is before it; `is_thin` where the disc is taken from those."""

    disc: Disc
    crescent: Crescent | None = None
    is_thin: bool = False


def fit_limbs(brightness: Plane) -> Limbs:
    """Fit the Sun's limb, alone or with the Moon's.

    Parameters
    ----------
    brightness : ndarray of shape (H, W), linear

    Raises
    ------
    PictureError
        Why the Sun alone could not be fitted, where it is no crescent either.
    """
    try:
        disc = fit_limb(brightness)
    except PictureError:
        crescent = _crescent(brightness, None)
        if crescent is None:
            raise
        return Limbs(disc_of(crescent), crescent, is_thin=True)
    if disc.limb_fraction > _WHOLE:
        return Limbs(disc)
    crescent = _crescent(brightness, Circle(disc.x_px, disc.y_px, disc.radius_px, disc.limb_fraction))
    if crescent is None:
        return Limbs(disc)
    apart_px = math.hypot(disc.x_px - crescent.sun.x_px, disc.y_px - crescent.sun.y_px)
    sigma_px = math.hypot(disc.centre_sigma_px, crescent.sun.sigma_px)
    if apart_px < _DISAGREEMENT_SIGMAS * sigma_px + _DISAGREEMENT_PX:
        return Limbs(disc, crescent)
    # The Moon's limb has bent the Sun's, or is none: a tree's, a cloud's.
    return Limbs(disc_of(crescent), crescent, is_thin=True) if crescent.misfit < _CLEAN_MISFIT else Limbs(disc)


def _crescent(brightness: Plane, sun: Circle | None) -> Crescent | None:
    try:
        return fit_crescent(brightness, sun=sun)
    except PictureError:
        return None
