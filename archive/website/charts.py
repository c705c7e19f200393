"""The charts: what was counted through time, where spots stood, and how fast they turned."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from statistics import fmean

from markupsafe import Markup

from archive.language import gettext
from archive.model.constants import CARRINGTON_ROTATION_DAYS
from archive.model.rotation_law import RotationLaw
from archive.website.chart_axes import (
    NARROW,
    WIDE,
    Axis,
    Panel,
    Size,
    Stroke,
    month_number,
    panels_svg,
    time_axis,
    value_axis,
)
from archive.website.chart_svg import Colour
from archive.website.formatting import format_latitude

__all__ = [
    "Counted",
    "Curve",
    "Drawn",
    "Life",
    "Seen",
    "Span",
    "Turned",
    "activity_chart",
    "butterfly_chart",
    "is_long",
    "latitude_chart",
    "rotation_row",
    "turning_chart",
]

Point = tuple[float, float]
# First and last time of a chart, days since 1970.
Span = tuple[float, float]

# Days that are neighbours are joined by a line, and so are months; over a longer gap nothing is drawn.
_NEIGHBOURS_DAYS = 1.6
_MONTH_DAYS = 60.0
_LONG_DAYS = 500.0
_MANY_GROUPS = 100
_LEAST_LATITUDE_DEG = 40.0
# Area in millionths of the hemisphere from which a group's stroke has this width in points.
_STROKES = ((0.0, 2.2), (100.0, 3.2), (500.0, 4.6))
# Most steps between the figures along an axis; and what a rate has above and below it, degrees a day.
_SERIES_STEPS, _RATE_STEPS = 5, 7
_CHANGE_DASHES = "3,3"
# Days that were not counted stand below zero, from and to these shares of the panel's height.
_UNCOUNTED = (-0.05, -0.025)
_SMOOTHED_DASHES = "1.5,2.5"
# Cells of the butterfly diagram: their height in degrees, and from which mean area of spots (millionths of the
# hemisphere) on a stroke fills so much of it.
_CELL_DEG = 2.0
_FILLED = ((0.0, 0.3), (10.0, 0.6), (50.0, 1.0))
_RATE_MARGIN_SHARE, _LEAST_RATE_MARGIN = 0.05, 0.5


@dataclass(frozen=True)
class Counted:
    """A day's figures at a time in days since 1970; area is None where it was not measured."""

    time_days: float
    relative_number: float
    area_msh: float | None


@dataclass(frozen=True)
class Life:
    """A group from its first to its last sighting, days since 1970, at its mean latitude."""

    first_days: float
    last_days: float
    latitude_deg: float
    area_msh: float


@dataclass(frozen=True)
class Seen:
    """A group in one picture: days since 1970, latitude, and area in millionths of the hemisphere."""

    time_days: float
    latitude_deg: float
    area_msh: float


@dataclass(frozen=True)
class Turned:
    """A group's sidereal rotation rate with its standard error, degrees a day."""

    latitude_deg: float
    rate_deg_per_day: float
    sigma: float


@dataclass(frozen=True)
class Curve:
    """A law of rotation as a line; `dashes` as SVG writes them, empty for an unbroken one."""

    law: RotationLaw
    colour: Colour
    dashes: str


@dataclass(frozen=True)
class Drawn:
    """A chart in two sizes, of which a page shows the one that fits."""

    wide: Markup
    narrow: Markup


def activity_chart(
    days: Sequence[Counted],
    span: Span,
    description: str,
    *,
    changes: Sequence[float] = (),
    uncounted: Sequence[float] = (),
    smoothed: Sequence[Point] = (),
) -> Drawn:
    """Draw the relative number, and below it the area of the spots, against time; at least one day.

    Parameters
    ----------
    days : sequence of Counted
    span : Span
    description : str
    changes : sequence of float
        Times in days since 1970 at which another instrument takes over, each a dashed upright.
    uncounted : sequence of float
        Times of days with a picture whose spots were not counted, each a short mark below the zero line of R.
    smoothed : sequence of (float, float)
        The published smoothed number, which is drawn over a long span.
    """
    published = [point for point in smoothed if span[0] <= point[0] <= span[1]] if is_long(span) else []
    numbers = [(day.time_days, day.relative_number) for day in days]
    areas = [(day.time_days, day.area_msh) for day in days if day.area_msh is not None]

    def panels(size: Size) -> list[Panel]:
        return [
            _series(
                "R", numbers, span, least=20.0, size=size, changes=changes, uncounted=uncounted, published=published
            ),
            _series(
                gettext("Area, millionths of the hemisphere"), areas, span, least=100.0, size=size, changes=changes
            ),
        ]

    return _drawn("activity", gettext("R and area of spots against time"), description, panels)


def latitude_chart(lives: Sequence[Life], span: Span, description: str) -> Drawn:
    """Draw each group as a stroke through its days at its latitude, the wider the larger; at least one group."""
    up = _latitude_axis([life.latitude_deg for life in lives])
    thinner = 0.6 if len(lives) > _MANY_GROUPS else 1.0
    strokes = []
    for (least, width), (below, _) in zip(_STROKES, (*_STROKES[1:], (math.inf, 0.0)), strict=True):
        alike = [life for life in lives if least <= life.area_msh < below]
        lines = [((life.first_days, life.latitude_deg), (life.last_days, life.latitude_deg)) for life in alike]
        strokes.append(Stroke(lines, Colour.ACCENT, width * thinner))

    def panels(size: Size) -> list[Panel]:
        across = time_axis(*span, most=size.ticks)
        equator = Stroke([((across.first, 0.0), (across.last, 0.0))], Colour.QUIET, 0.8)
        return [Panel(gettext("Heliographic latitude"), across, up, [equator, *strokes])]

    return _drawn("latitude", gettext("Latitude of groups against time"), description, panels)


def butterfly_chart(seen: Sequence[Seen], days_of: Mapping[int, int], span: Span, description: str) -> Drawn:
    """Draw where spots stood through the years: a cell a synodic rotation and 2 degrees of latitude.

    The more of a cell is filled, the larger the mean area of spots in it.

    Parameters
    ----------
    seen : sequence of Seen
        Every group of every counted day; at least one.
    days_of : mapping
        How many days were counted in each row of `rotation_row`.
    span : Span
    description : str
    """
    up = _latitude_axis([one.latitude_deg for one in seen])
    areas: dict[tuple[int, int], float] = defaultdict(float)
    for one in seen:
        areas[rotation_row(one.time_days), math.floor(one.latitude_deg / _CELL_DEG)] += one.area_msh
    means = {cell: area / days_of[cell[0]] for cell, area in areas.items()}

    def panels(size: Size) -> list[Panel]:
        across = time_axis(*span, most=size.ticks)
        height = size.panel_height * _CELL_DEG / (up.last - up.first)
        strokes = [Stroke([((across.first, 0.0), (across.last, 0.0))], Colour.QUIET, 0.8)]
        for (least, share), (below, _) in zip(_FILLED, (*_FILLED[1:], (math.inf, 0.0)), strict=True):
            cells = [cell for cell, mean in means.items() if least <= mean < below]
            strokes.append(Stroke([_cell(*cell) for cell in cells], Colour.ACCENT, share * height, cap="butt"))
        return [Panel(gettext("Heliographic latitude"), across, up, strokes)]

    return _drawn("latitude", gettext("Where spots stood through the years"), description, panels)


def rotation_row(time_days: float) -> int:
    """Return in which synodic rotation, counted from 1970, a time lies."""
    return math.floor(time_days / CARRINGTON_ROTATION_DAYS)


def _cell(row: int, band: int) -> tuple[Point, Point]:
    latitude_deg = (band + 0.5) * _CELL_DEG
    return (row * CARRINGTON_ROTATION_DAYS, latitude_deg), ((row + 1) * CARRINGTON_ROTATION_DAYS, latitude_deg)


def turning_chart(groups: Sequence[Turned], curves: Sequence[Curve], description: str) -> Drawn:
    """Draw rates against latitude, each with its standard error, and the laws; at least one of either."""
    across = _latitude_axis([group.latitude_deg for group in groups])
    many = len(groups) > _MANY_GROUPS
    bars = [[(one.latitude_deg, one.rate_deg_per_day + sign * one.sigma) for sign in (-1, 1)] for one in groups]
    places = [(one.latitude_deg, one.rate_deg_per_day) for one in groups]
    latitudes = [across.last * step / 60.0 for step in range(-60, 61)]
    laws = [[(latitude, curve.law.rate_deg_per_day(latitude)) for latitude in latitudes] for curve in curves]
    rates = [rate for line in (*bars, *laws) for _, rate in line]
    spare = _RATE_MARGIN_SHARE * (max(rates) - min(rates)) or _LEAST_RATE_MARGIN
    up = value_axis(min(rates) - spare, max(rates) + spare, most=_RATE_STEPS)

    def panels(size: Size) -> list[Panel]:
        strokes = [
            Stroke(bars, Colour.RULE if many else Colour.QUIET, 0.6),
            _dots(places, Colour.QUIET if many else Colour.INK, fine=many, size=size),
            *(Stroke([law], curve.colour, 1.4, curve.dashes) for law, curve in zip(laws, curves, strict=True)),
        ]
        return [Panel(gettext("Sidereal rotation, degrees a day"), across, up, strokes)]

    return _drawn("turning", gettext("Rotation rate of groups against latitude"), description, panels)


def _drawn(mark: str, title: str, description: str, panels: Callable[[Size], Sequence[Panel]]) -> Drawn:
    wide, narrow = (
        panels_svg(panels(size), f"{mark}-{size.name}", size=size, title=title, description=description)
        for size in (WIDE, NARROW)
    )
    return Drawn(wide, narrow)


def _series(
    title: str,
    points: Sequence[Point],
    span: Span,
    *,
    least: float,
    size: Size,
    changes: Sequence[float],
    uncounted: Sequence[float] = (),
    published: Sequence[Point] = (),
) -> Panel:
    """Draw dots from zero up, with the line of neighbours, or of monthly means where the dots are many."""
    dots = _dots(points, Colour.ACCENT, fine=is_long(span), size=size)
    if is_long(span):
        strokes = [dots, Stroke(_runs(_monthly_means(points), _MONTH_DAYS), Colour.INK, 1.2)]
    else:
        strokes = [Stroke(_runs(points, _NEIGHBOURS_DAYS), Colour.QUIET, 0.6), dots]
    if published:
        strokes.append(Stroke(_runs(published, _MONTH_DAYS), Colour.INK, 1.6, _SMOOTHED_DASHES))
    highest = 1.08 * max([least, *(value for _, value in (*points, *published))])
    lowest = 0.0
    if uncounted:
        begin, end = (share * highest for share in _UNCOUNTED)
        lowest = 1.5 * begin
        fine = 0.3 if is_long(span) else 1.0
        strokes.append(Stroke([((at, begin), (at, end)) for at in uncounted], Colour.QUIET, fine, cap="butt"))
    if changes:
        strokes = [Stroke([((at, 0.0), (at, highest)) for at in changes], Colour.QUIET, 0.8, _CHANGE_DASHES), *strokes]
    return Panel(title, time_axis(*span, most=size.ticks), value_axis(lowest, highest, most=_SERIES_STEPS), strokes)


def _dots(points: Sequence[Point], colour: Colour, *, fine: bool, size: Size) -> Stroke:
    return Stroke([(point, point) for point in points], colour, size.font_size * (0.14 if fine else 0.4))


def is_long(span: Span) -> bool:
    """Tell whether a chart is over so long a time that its days are drawn fine and its months are averaged."""
    return span[1] - span[0] > _LONG_DAYS


def _monthly_means(points: Sequence[Point]) -> list[Point]:
    """Return the mean of each calendar month, at the mean of its times."""
    months = [list(month) for _, month in groupby(points, key=lambda point: month_number(point[0]))]
    return [(fmean(days for days, _ in month), fmean(value for _, value in month)) for month in months]


def _runs(points: Sequence[Point], gap_days: float) -> list[list[Point]]:
    """Cut a series wherever two points are farther apart than that."""
    runs: list[list[Point]] = []
    for point in points:
        if runs and point[0] - runs[-1][-1][0] <= gap_days:
            runs[-1].append(point)
        else:
            runs.append([point])
    return runs


def _latitude_axis(latitudes_deg: Sequence[float]) -> Axis:
    """Return an axis over latitudes of both hemispheres alike, written as the trade does."""
    reach = max([_LEAST_LATITUDE_DEG, *(abs(latitude) + 2.0 for latitude in latitudes_deg)])
    ticks = [tick for tick in range(-90, 91, 15) if abs(tick) <= reach]
    return Axis(-reach, reach, [(tick, f"{format_latitude(tick, 0)}°" if tick else "0°") for tick in ticks])
