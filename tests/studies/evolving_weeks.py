"""Drawn weeks of freely turned pictures whose spots grow, decay, split and emerge, as lists of spots.

No picture is drawn, so that hundreds of weeks take seconds: places and areas carry the errors that are measured on
drawn pictures of 300 to 900 px radius (`test_spot_study`): 0.05 deg rms and a quarter of the area. Neighbours that a
camera would not separate are one spot. Every week is made from its number alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta

import numpy as np
from scenes.discs import Scene, place_on_picture
from scenes.sun_days import carrington_drift_deg_per_day
from studies.weeks import LATITUDE_SHARE, MOTION_DEG_PER_DAY, SITE, ZERO, Week, wrapped_deg

from archive.model.observation import SunView
from archive.orientation.spots import SpottedPicture
from archive.sun.view import sun_view, sun_views

__all__ = ["evolving_week", "evolving_year"]

PLACE_RMS_DEG, CENTRE_RMS_RADII, AREA_RMS = 0.05, 0.0005, 0.23
LEAST_MSH, LEAST_MU, SEPARATED_DEG = 8.0, 0.2, 0.2
SMALL_B0_DEG = 2.0
GOLDEN_SHARE = 0.618034  # multiples of it fill (0, 1) evenly
# A group counts as seen from this area on, so far from the meridian.
SEEN_MSH, SEEN_DEG = 15.0, 75.0
MSH_OF_A_DEGREE = 1e6 * (1.0 - np.cos(np.radians(1.0)))  # of a round spot of one degree's radius
# Position angle of a group against its parallel, the leader nearer the equator: mean and scatter, deg (Howard 1991:
# about 4 deg, each group 20 and more).
# Spots of one group move among each other twice as fast as groups do.
OWN_MOTION_DEG_PER_DAY = 2.0 * MOTION_DEG_PER_DAY
TILT_DEG, TILT_RMS_DEG = 4.0, 15.0


@dataclass(frozen=True)
class Piece:
    """A spot, or a fragment of one; `offset_deg` (west, north) is that from its group's middle at the start.

    It moves by `spread_deg` more, most of it within some `spread_days`, as a young group lengthens; and evenly. Its
    area is that of a life until `end`, also where it breaks up on `last_day`.
    """

    group: int
    start: float
    end: float
    rise_days: float
    peak_msh: float
    offset_deg: tuple[float, float]
    motion_deg_per_day: tuple[float, float] = (0.0, 0.0)
    spread_deg: float = 0.0
    spread_days: float = 1.0
    last_day: float = np.inf

    def area_msh(self, day: float) -> float:
        """Return the area: it grows for some days, then shrinks for the rest of its life."""
        if not self.start < day < min(self.end, self.last_day):
            return 0.0
        decay_days = max(self.end - self.start - self.rise_days, 0.1)
        return self.peak_msh * min((day - self.start) / self.rise_days, (self.end - day) / decay_days, 1.0)

    def offset_at(self, day: float) -> tuple[float, float]:
        """Return the offset (west, north) on a day of its life."""
        age = day - self.start
        west, north = self.offset_deg
        lengthened = self.spread_deg * (1.0 - np.exp(-age / self.spread_days))
        return west + lengthened + self.motion_deg_per_day[0] * age, north + self.motion_deg_per_day[1] * age


@dataclass(frozen=True)
class Group:
    """Where a group's middle is on day 0, Carrington longitude from that of the central meridian then."""

    latitude_deg: float
    longitude_deg: float
    motion_deg_per_day: tuple[float, float]
    pieces: tuple[Piece, ...]


def evolving_week(number: int) -> Week:
    """Return 4 to 7 pictures within 5 to 10 days, no mount known, of 2 to 4 groups; one at most shows a single group.

    Days are spread evenly over the year, so that any number of weeks has its share of days without tilt.
    """
    rng = np.random.default_rng([955, number])
    start = datetime(2026, 1, 10, tzinfo=UTC) + timedelta(days=int(340 * (number * GOLDEN_SHARE % 1.0)))
    return _drawn_week(rng, start, None)


def evolving_year(number: int, *, weeks: int = 26) -> list[Week]:
    """Return so many weeks of one instrument, spread over a year that begins on any day."""
    rng = np.random.default_rng([956, number])
    camera = bool(rng.integers(2)), float(rng.uniform(300.0, 900.0))
    first = datetime(2026, 1, 10, tzinfo=UTC) + timedelta(days=int(rng.integers(365)))
    return [_drawn_week(rng, first + timedelta(days=365 * week // weeks), camera) for week in range(weeks)]


def _drawn_week(rng: np.random.Generator, start: datetime, camera: tuple[bool, float] | None) -> Week:
    """Return a week; `camera` is whether it mirrors, and the radius of its discs, px: any where None."""
    count = int(rng.integers(4, 8))
    span = int(rng.integers(max(count, 5), 11))
    inner = rng.choice(np.arange(1, span - 1), size=count - 2, replace=False).tolist()
    days = [day + float(rng.uniform(0.3, 0.7)) for day in sorted({0, span - 1, *inner})]
    times = [start + timedelta(days=day) for day in days]
    views = sun_views(times, **SITE)
    l0_deg = sun_view(start, **SITE).l0_deg
    mirrored, radius_px = camera or (bool(rng.integers(2)), float(rng.uniform(300.0, 900.0)))
    frames = [_frame(rng, view, mirrored=mirrored, radius_px=radius_px) for view in views]
    while True:
        groups = [_group(rng, name, span=span) for name in range(int(rng.integers(2, 5)))]
        seen = [
            _sightings(groups, day, view, l0_deg, frame) for day, view, frame in zip(days, views, frames, strict=True)
        ]
        several = sum(_groups_seen(sightings) >= 2 for sightings in seen)
        if several >= count - 1 and all(_groups_seen(sightings) for sightings in seen):
            break
    pictures = [
        _picture(rng, sightings, time, view, frame)
        for sightings, time, view, frame in zip(seen, times, views, frames, strict=True)
    ]
    tilt = "below 2 deg" if abs(views[count // 2].b0_deg) < SMALL_B0_DEG else "from 2 deg"
    return Week(tuple(pictures), tuple(one.north_angle_deg for one in frames), mirrored, f"evolving, B0 {tilt}")


def _frame(rng: np.random.Generator, view: SunView, *, mirrored: bool, radius_px: float) -> Scene:
    """Return a picture's frame, turned by any angle, its disc a little off the middle."""
    x_px, y_px = (1.2 * radius_px + rng.normal(scale=0.03 * radius_px, size=2)).tolist()
    return Scene(
        x_px=x_px,
        y_px=y_px,
        radius_px=radius_px,
        b0_deg=view.b0_deg,
        north_angle_deg=float(rng.uniform(-180.0, 180.0)),
        mirrored=mirrored,
    )


def _group(rng: np.random.Generator, name: int, *, span: int) -> Group:
    """Return an old group, a decaying one or one that emerges during the week."""
    kind = rng.choice(["old", "decaying", "emerging"], p=[0.2, 0.4, 0.4])
    born = float(
        {"old": rng.uniform(-25, -4), "decaying": rng.uniform(-12, -4), "emerging": rng.uniform(-1, span - 2)}[kind]
    )
    ends = float(
        {"old": rng.uniform(span, span + 30), "decaying": rng.uniform(2, span), "emerging": born + rng.uniform(4, 20)}[
            kind
        ]
    )
    hemisphere = float(rng.choice([-1.0, 1.0]))
    motion = rng.normal(scale=MOTION_DEG_PER_DAY, size=2) * (1.0, LATITUDE_SHARE)
    return Group(
        latitude_deg=hemisphere * float(rng.uniform(5.0, 30.0)),
        longitude_deg=13.2 * (span / 2.0) * -1.0 + float(rng.uniform(-60.0, 60.0)),
        motion_deg_per_day=(float(motion[0]), float(motion[1])),
        pieces=tuple(_pieces(rng, name, born=born, ends=ends, hemisphere=hemisphere)),
    )


def _pieces(rng: np.random.Generator, name: int, *, born: float, ends: float, hemisphere: float) -> list[Piece]:
    """Return leader, follower and pores; the follower lives shorter, and most followers break up."""
    half_deg = float(rng.uniform(1.5, 5.5))
    north_deg = half_deg * np.tan(np.radians(rng.normal(TILT_DEG, TILT_RMS_DEG))) * hemisphere
    leader_msh = float(np.exp(rng.uniform(np.log(20.0), np.log(400.0))))
    follower_msh = leader_msh * float(rng.uniform(0.2, 0.9))
    spread_days, rise_days = float(rng.uniform(1.0, 2.5)), float(rng.uniform(1.5, 4.0))
    follower_ends = born + (ends - born) * float(rng.uniform(0.4, 0.9))
    found = []
    for sign, msh, end, breaks in ((1.0, leader_msh, ends, 0.5), (-1.0, follower_msh, follower_ends, 0.9)):
        whole = Piece(
            name, born, end, rise_days, msh, (sign * 0.2 * half_deg, -sign * north_deg), _own_motion(rng),
            spread_deg=sign * 0.8 * half_deg, spread_days=spread_days,
        )  # fmt: skip
        found += _broken_up(rng, whole) if rng.random() < breaks else [whole]
    for _ in range(int(rng.integers(0, 9))):
        start = born + float(rng.uniform(0.0, 0.8)) * (ends - born)
        life = float(rng.uniform(0.8, 4.0))
        place = (float(rng.uniform(-1.0, 1.0)) * half_deg, float(rng.normal(scale=0.25)) * half_deg)
        found.append(
            Piece(name, start, start + life, 0.4 * life, float(rng.uniform(10.0, 35.0)), place, _own_motion(rng))
        )
    return found


def _own_motion(rng: np.random.Generator) -> tuple[float, float]:
    west, north = rng.normal(scale=OWN_MOTION_DEG_PER_DAY, size=2)
    return float(west), float(LATITUDE_SHARE * north)


def _broken_up(rng: np.random.Generator, whole: Piece) -> list[Piece]:
    """Return the spot until a day of its life, and two to four fragments after it that drift apart."""
    day = whole.start + float(rng.uniform(0.3, 0.8)) * (whole.end - whole.start)
    shares = rng.dirichlet(np.full(int(rng.integers(2, 5)), 3.0))
    at_msh = whole.area_msh(day)
    slope = max(whole.end - day, 0.5)
    fragments = []
    for share in shares.tolist():
        angle, speed = float(rng.uniform(0.0, 2.0 * np.pi)), float(rng.uniform(0.2, 0.8))
        motion = (speed * np.cos(angle), 0.6 * speed * np.sin(angle))
        end = day + slope * float(rng.uniform(0.6, 1.3))
        fragments.append(Piece(whole.group, day, end, 0.01, share * at_msh, whole.offset_at(day), motion))
    return [replace(whole, last_day=day), *fragments]


@dataclass(frozen=True)
class _Sighting:
    """A spot as it is on a picture's day: `right` and `up` in radii, in the picture as delivered."""

    group: int
    meridian_deg: float
    area_msh: float
    right: float
    up: float
    mu: float


def _sightings(groups: Sequence[Group], day: float, view: SunView, l0_deg: float, frame: Scene) -> list[_Sighting]:
    found = []
    for group in groups:
        drift = carrington_drift_deg_per_day(group.latitude_deg) + group.motion_deg_per_day[0]
        for piece in group.pieces:
            west_deg, north_deg = piece.offset_at(day)
            latitude_deg = group.latitude_deg + group.motion_deg_per_day[1] * day + north_deg
            longitude_deg = l0_deg + group.longitude_deg + drift * day + west_deg / np.cos(np.radians(latitude_deg))
            meridian_deg = wrapped_deg(longitude_deg - view.l0_deg)
            x_px, y_px, mu = place_on_picture(frame, latitude_deg, meridian_deg)
            right, up = (x_px - frame.x_px) / frame.radius_px, (frame.y_px - y_px) / frame.radius_px
            found.append(_Sighting(piece.group, meridian_deg, piece.area_msh(day), right, up, mu))
    return [one for one in found if one.area_msh > LEAST_MSH and one.mu > LEAST_MU]


def _groups_seen(sightings: Sequence[_Sighting]) -> int:
    return len({one.group for one in sightings if one.area_msh > SEEN_MSH and abs(one.meridian_deg) < SEEN_DEG})


def _picture(
    rng: np.random.Generator, sightings: Sequence[_Sighting], time: datetime, view: SunView, frame: Scene
) -> SpottedPicture:
    """Return the spots as measured: those that touch merged, with errors of place, disc and area, largest first."""
    right, up, area_msh = np.array(_merged(sightings)).T
    centre_error = rng.normal(scale=CENTRE_RMS_RADII, size=2)
    place_error = rng.normal(scale=np.radians(PLACE_RMS_DEG), size=(2, len(right)))
    area_msh = area_msh * np.exp(rng.normal(scale=AREA_RMS, size=len(right)))
    order = np.argsort(-area_msh)
    return SpottedPicture(
        time_days=(time - ZERO) / timedelta(days=1),
        b0_deg=view.b0_deg,
        l0_deg=view.l0_deg,
        right=(right + centre_error[0] + place_error[0])[order],
        up=(up + centre_error[1] + place_error[1])[order],
        area_msh=area_msh[order],
        centre_px=(frame.x_px, frame.y_px),
        radius_px=frame.radius_px,
    )


def _merged(sightings: Sequence[_Sighting]) -> list[tuple[float, float, float]]:
    """Return right, up and area, spots that touch as one: their distance is that of their radii, and a little more."""
    left = [(one.right, one.up, one.area_msh) for one in sorted(sightings, key=lambda one: -one.area_msh)]
    merged: list[tuple[float, float, float]] = []
    for right, up, area_msh in left:
        for place, (other_right, other_up, other_msh) in enumerate(merged):
            radii_deg = np.sqrt(area_msh / MSH_OF_A_DEGREE) + np.sqrt(other_msh / MSH_OF_A_DEGREE)
            if np.hypot(right - other_right, up - other_up) < np.radians(radii_deg + SEPARATED_DEG):
                total = area_msh + other_msh
                share = area_msh / total
                merged[place] = (
                    other_right + share * (right - other_right), other_up + share * (up - other_up), total
                )  # fmt: skip
                break
        else:
            merged.append((right, up, area_msh))
    return merged
