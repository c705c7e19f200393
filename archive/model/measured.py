"""What is measured from an original's bytes alone."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

from archive.model.observation import Disc

__all__ = ["Axes", "Crescent", "LimbArc", "Measured", "Spots"]


@dataclass(frozen=True)
class Axes:
    """World coordinates of a FITS header, as `archive.orientation.header` takes them."""

    system: Literal["helioprojective", "celestial"]
    matrix_deg: tuple[tuple[float, float], tuple[float, float]]


@dataclass(frozen=True)
class LimbArc:
    """A circle fitted to the part of a limb that shows, the Sun's or the Moon's, in pixels of the picture.

    `radius_sigma_px` is the standard error of the radius, `centre_sigma_px` that of the centre for a known radius; for
    a radius larger by 1 px the centre lies `centre_per_radius` (right, down) farther. `limb_fraction` is the part of
    the circle that shows.
    """

    x_px: float
    y_px: float
    radius_px: float
    radius_sigma_px: float
    centre_sigma_px: float
    centre_per_radius: tuple[float, float]
    limb_fraction: float

    @property
    def sigma_px(self) -> float:
        """Standard error of the centre."""
        return math.hypot(self.centre_sigma_px, math.hypot(*self.centre_per_radius) * self.radius_sigma_px)

    def less_sure(self, error_px: float) -> LimbArc:
        """Return the circle with one more error of its centre."""
        return replace(self, centre_sigma_px=math.hypot(self.centre_sigma_px, error_px))

    def with_radius(self, radius_px: float, sigma_px: float) -> LimbArc:
        """Return the circle as it is with a radius known from elsewhere as well, by the weights of both."""
        share = self.radius_sigma_px**2 / (self.radius_sigma_px**2 + sigma_px**2)
        change_px = share * (radius_px - self.radius_px)
        right, down = self.centre_per_radius
        return replace(
            self,
            x_px=self.x_px + right * change_px,
            y_px=self.y_px + down * change_px,
            radius_px=self.radius_px + change_px,
            radius_sigma_px=math.sqrt(share) * sigma_px,
        )


@dataclass(frozen=True)
class Crescent:
    """The limbs of the Sun and of the Moon before it.

    `edge_sigma_px` is the standard error of where a limb lies within its blurred edge: what makes the Sun look
    larger makes the Moon look smaller. `seen_share` is the part of the disc that the Moon leaves,
    `overexposed` whether much of that is white, `misfit` the rms of the fit in heights of the edge.
    """

    sun: LimbArc
    moon: LimbArc
    blur_px: float
    edge_sigma_px: float
    misfit: float
    seen_share: float
    overexposed: bool

    def with_radii(self, sun_px: float, moon_px: float, sigma_px: float) -> Crescent:
        """Return the crescent with the true radii known from elsewhere, to `sigma_px`.

        Parameters
        ----------
        sun_px, moon_px : float
        sigma_px : float
            Standard error of both.
        """
        doubt = self.sun.radius_sigma_px**2 + sigma_px**2
        share = self.edge_sigma_px**2 / (self.edge_sigma_px**2 + doubt)
        edge_px = share * (self.sun.radius_px - sun_px)
        left_px = math.sqrt(share * doubt + sigma_px**2)
        sun = self.sun.with_radius(sun_px + edge_px, left_px)
        # The Moon's edge is the darker photosphere's here and the brighter's there: its place errs by itself as well.
        moon = self.moon.with_radius(moon_px - edge_px, math.hypot(left_px, self.edge_sigma_px))
        return replace(
            self,
            sun=replace(sun, radius_px=sun_px, radius_sigma_px=sigma_px, centre_sigma_px=sun.sigma_px),
            moon=replace(moon, radius_px=moon_px, radius_sigma_px=sigma_px, centre_sigma_px=moon.sigma_px),
        ).settled()

    def settled(self) -> Crescent:
        """Return it with centres that no longer depend on the radii."""
        return replace(
            self,
            sun=replace(self.sun, centre_per_radius=(0.0, 0.0)),
            moon=replace(self.moon, centre_per_radius=(0.0, 0.0)),
        )


@dataclass(frozen=True)
class Spots:
    """Spots as the picture came: distance from the disc's centre to the right and up, in radii; areas in MSH."""

    right: tuple[float, ...] = ()
    up: tuple[float, ...] = ()
    area_msh: tuple[float, ...] = ()


@dataclass(frozen=True)
class Measured:
    """Size, depth, limb, header axes and spots of an original; `other_disc_px` is x, y and radius of a second disc.

    `crescent` is both limbs in an eclipse; `is_thin` where the disc is taken from it.
    """

    width_px: int
    height_px: int
    bit_depth: int
    disc: Disc
    axes: Axes | None = None
    spots: Spots = Spots()
    other_disc_px: tuple[float, float, float] | None = None
    crescent: Crescent | None = None
    is_thin: bool = False
