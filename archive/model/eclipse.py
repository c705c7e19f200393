"""A solar eclipse as a site sees it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from math import acos, pi, sqrt
from typing import Literal

from archive.model.observatory import Site

__all__ = ["RISEN_DEG", "CourseStep", "Eclipse", "EclipseAt", "EclipseMoment", "covered_share"]

# Refraction of 34' and a semidiameter of 16' at the horizon: the almanacs' convention of sunrise.
RISEN_DEG = -50.0 / 60.0


@dataclass(frozen=True)
class EclipseMoment:
    """A moment of an eclipse, to the second, and where the Sun is then, without refraction.

    `position_angle_deg` is where on the Sun's limb the two limbs touch, at greatest phase where the Moon's centre lies,
    from celestial north through east. `zenith_angle_deg` is the same counted from the limb's highest point.
    """

    time_utc: datetime
    position_angle_deg: float
    zenith_angle_deg: float
    altitude_deg: float
    azimuth_deg: float
    magnitude: float
    obscuration: float

    @property
    def is_up(self) -> bool:
        """Whether part of the Sun stands above a level horizon, as the air shows it."""
        return self.altitude_deg > RISEN_DEG


@dataclass(frozen=True)
class CourseStep:
    """Where the Moon is at one moment: its centre from the Sun's, towards the Sun's west and north, and its radius, all
    in radii of the Sun; and the covered share of the disc."""

    time_utc: datetime
    west_radii: float
    north_radii: float
    moon_radii: float
    obscuration: float
    is_up: bool


@dataclass(frozen=True)
class Eclipse:
    """The circumstances of a solar eclipse at a site.

    `second` and `third` contact are None where the eclipse is partial there. `best` is the greatest phase while the Sun
    is up: that of `greatest`, or sunrise or sunset. `delta_t_s` is TT - UT1, which is a guess where `is_earth_guessed`.
    """

    kind: Literal["partial", "annular", "total"]
    first: EclipseMoment
    second: EclipseMoment | None
    greatest: EclipseMoment
    third: EclipseMoment | None
    fourth: EclipseMoment
    best: EclipseMoment
    delta_t_s: float
    is_earth_guessed: bool

    @property
    def duration(self) -> timedelta:
        """From first to last contact."""
        return self.fourth.time_utc - self.first.time_utc

    @property
    def central_duration(self) -> timedelta | None:
        """From second to third contact: how long it is total or annular."""
        if self.second is None or self.third is None:
            return None
        return self.third.time_utc - self.second.time_utc

    @property
    def contacts(self) -> tuple[tuple[str, EclipseMoment], ...]:
        """Its moments by name, in order of time; without those that there are not."""
        named = (
            ("first contact", self.first),
            ("second contact", self.second),
            ("greatest phase", self.greatest),
            ("third contact", self.third),
            ("fourth contact", self.fourth),
        )
        return tuple((name, moment) for name, moment in named if moment is not None)


def covered_share(apart_radii: float, moon_radii: float) -> float:
    """Return the share of the Sun's disc that the Moon covers, with the distance of the centres and the Moon's radius
    in radii of the Sun: the common area of two circles."""
    if apart_radii >= 1.0 + moon_radii:
        return 0.0
    if apart_radii <= abs(1.0 - moon_radii):
        return min(moon_radii, 1.0) ** 2
    # The common chord's distance from the Sun's centre, and from the Moon's.
    from_sun = (apart_radii**2 + 1.0 - moon_radii**2) / (2.0 * apart_radii)
    from_moon = apart_radii - from_sun
    half_chord = sqrt(max(0.0, 1.0 - from_sun**2))
    sectors = acos(from_sun) + moon_radii**2 * acos(max(-1.0, min(1.0, from_moon / moon_radii)))
    return (sectors - apart_radii * half_chord) / pi


@dataclass(frozen=True)
class EclipseAt:
    """An eclipse at a site, on the page's `day` on which its greatest phase falls there.

    `course` are some steps of equal length with greatest phase among them, `curve` many from first to fourth contact.
    """

    day: date
    site: Site
    eclipse: Eclipse
    course: tuple[CourseStep, ...]
    curve: tuple[CourseStep, ...]
