"""Two figures of a group: its track across the disc, and the area of its spots from day to day."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from archive.language import day_and_month, format_date_range, gettext, ngettext
from archive.model.constants import SECONDS_PER_DAY
from archive.website.followed import Seen
from archive.website.formatting import format_latitude, format_meridian_distance, number

__all__ = ["GroupLife", "GroupTrack", "group_life", "group_track"]

_RADIUS = 100.0
_LIFE_WIDTH, _LIFE_HEIGHT = 300.0, 110.0
_ROUND_AREAS = (1.0, 1.2, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0)


@dataclass(frozen=True)
class TrackDot:
    """Where the group stood, in units of a disc of radius 100 with its centre at the origin, y down."""

    x: float
    y: float
    radius: float


@dataclass(frozen=True)
class TrackName:
    """The day of the first or the last place on the track, written away from it."""

    words: str
    x: float
    y: float
    anchor: str


@dataclass(frozen=True)
class GroupTrack:
    """The places, joined by a line in order of time; a dot's area goes with the area of the spots."""

    description: str
    line: str
    dots: tuple[TrackDot, ...]
    names: tuple[TrackName, ...]


@dataclass(frozen=True)
class GroupLife:
    """A vertical line for each picture, as high as the area of the spots, over time; `top` is that of full height."""

    description: str
    stems: str
    heads: str
    top: str
    first: str
    last: str
    width: float
    height: float


def group_track(days: Sequence[Seen]) -> GroupTrack | None:
    """Draw the track from one picture a day, in order of time; None where no picture lies north up."""
    shown = [seen for seen in days if seen.observation.orientation.is_known]
    if not shown:
        return None
    dots = tuple(_dot(seen) for seen in shown)
    ends = (0, -1) if len(shown) > 1 else (0,)
    return GroupTrack(
        description=_track_words(shown),
        line="M" + "L".join(f"{dot.x:g},{dot.y:g}" for dot in dots),
        dots=dots,
        names=tuple(_name(shown[end], dots[end]) for end in ends),
    )


def group_life(seen: Sequence[Seen]) -> GroupLife | None:
    """Draw the area in every picture that has one, in order of time, over whole days; None where none has."""
    sightings = [one for one in seen if one.group.area_msh is not None]
    if not sightings:
        return None
    first, last = (sightings[end].observation.day for end in (0, -1))
    span = (last - first).days + 1
    largest = max(sightings, key=lambda one: one.group.size_msh)
    top = _round_above(largest.group.size_msh)
    places = [(_along(one, sightings[0], span), one.group.size_msh / top) for one in sightings]
    return GroupLife(
        description=ngettext(
            "Area in {n} picture, {span}: the largest {area} millionths on {day}.",
            "Area in {n} pictures, {span}: the largest {area} millionths on {day}.",
            len(sightings),
            span=format_date_range(first, last),
            area=number(largest.group.area_msh),
            day=day_and_month(largest.observation.day),
        ),
        stems="".join(f"M{x:g},{_LIFE_HEIGHT:g}V{_height(share):g}" for x, share in places),
        heads="".join(f"M{x:g},{_height(share):g}h0" for x, share in places),
        top=number(top),
        first=day_and_month(first),
        last=day_and_month(last) if last != first else "",
        width=_LIFE_WIDTH,
        height=_LIFE_HEIGHT,
    )


def _dot(seen: Seen) -> TrackDot:
    """Project as seen from afar: what the Sun's finite distance changes is less than the width of the line."""
    latitude, meridian, tilt = (
        math.radians(angle) for angle in (seen.latitude_deg, seen.meridian_deg, seen.observation.sun.b0_deg)
    )
    right = math.cos(latitude) * math.sin(meridian)
    up = math.sin(latitude) * math.cos(tilt) - math.cos(latitude) * math.cos(meridian) * math.sin(tilt)
    return TrackDot(
        round(_RADIUS * right, 1), round(-_RADIUS * up, 1), round(1.2 + math.sqrt(seen.group.size_msh) / 8.0, 1)
    )


def _name(seen: Seen, dot: TrackDot) -> TrackName:
    """Write the day towards the middle of the disc's height, where there is room."""
    below = dot.y < 0
    away = dot.radius + (11.0 if below else 5.0)
    anchor = "middle" if abs(dot.x) < _RADIUS / 2 else "start" if dot.x < 0 else "end"
    return TrackName(day_and_month(seen.observation.day), dot.x, round(dot.y + (away if below else -away), 1), anchor)


def _track_words(shown: Sequence[Seen]) -> str:
    first, last = shown[0], shown[-1]
    begin, day = _place(first), day_and_month(first.observation.day)
    if first is last:
        # Translators: {place} is like "N12 W34".
        return gettext("Seen at {place} on {day}.", place=begin, day=day)
    return gettext(
        "From {first_place} on {first_day} to {last_place} on {last_day}.",
        first_place=begin,
        first_day=day,
        last_place=_place(last),
        last_day=day_and_month(last.observation.day),
    )


def _place(seen: Seen) -> str:
    return f"{format_latitude(seen.latitude_deg, 0)} {format_meridian_distance(seen.meridian_deg, 0)}"


def _along(seen: Seen, first: Seen, span_days: int) -> float:
    start = first.observation.time_utc.replace(hour=0, minute=0, second=0, microsecond=0)
    days = (seen.observation.time_utc - start).total_seconds() / SECONDS_PER_DAY
    return round(_LIFE_WIDTH * days / span_days, 1)


def _height(share: float) -> float:
    return round(_LIFE_HEIGHT * (1.0 - share), 1)


def _round_above(area_msh: float) -> float:
    """Return the next round area at or above an area."""
    decade = 10.0 ** math.floor(math.log10(max(area_msh, 1.0)))
    return next(step * decade for step in _ROUND_AREAS if step * decade >= area_msh)
