"""The charts: what was counted through time, where spots stood, and how fast they turned."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import groupby
from statistics import fmean
from typing import TYPE_CHECKING, Literal

from markupsafe import Markup

from archive.website.chart_axes import NARROW, WIDE, Size, month_number, panels, plain_style, time_axis
from archive.website.chart_svg import Colour, chart_svg
from archive.website.content import PublishedRotationLaw
from archive.website.formatting import format_latitude
from archive.website.rotation_laws import law_rate

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = [
    "Counted",
    "Curve",
    "Drawn",
    "Life",
    "Span",
    "Turned",
    "activity_chart",
    "is_long",
    "latitude_chart",
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
class Turned:
    """A group's sidereal rotation rate with its standard error, degrees a day."""

    latitude_deg: float
    rate_deg_per_day: float
    sigma: float


@dataclass(frozen=True)
class Curve:
    """A law of rotation as a line; `dashes` as SVG writes them, empty for an unbroken one."""

    law: PublishedRotationLaw
    colour: Colour
    dashes: str


@dataclass(frozen=True)
class Drawn:
    """A chart in two sizes, of which a page shows the one that fits."""

    wide: Markup
    narrow: Markup


# Kept, for sites are often built again from the same observations in one run of Python.
@lru_cache(maxsize=8)
def activity_chart(days: tuple[Counted, ...], span: Span, description: str) -> Drawn:
    """Draw the relative number, and below it the area of the spots, against time; at least one day."""

    def draw(size: Size) -> Figure:
        figure, (above, below) = panels(size, ["R", "Area, millionths of the hemisphere"])
        _series(above, [(day.time_days, day.relative_number) for day in days], span, least=20.0, size=size)
        areas = [(day.time_days, day.area_msh) for day in days if day.area_msh is not None]
        _series(below, areas, span, least=100.0, size=size)
        for axes in (above, below):
            time_axis(axes, *span, size=size)
        return figure

    return _drawn("activity", "R and area of spots against time", description, draw)


@lru_cache(maxsize=8)
def latitude_chart(lives: tuple[Life, ...], span: Span, description: str) -> Drawn:
    """Draw each group as a stroke through its days at its latitude, the wider the larger; at least one group."""

    def draw(size: Size) -> Figure:
        figure, (axes,) = panels(size, ["Heliographic latitude"])
        _latitudes(axes, "y", [life.latitude_deg for life in lives])
        axes.axhline(0.0, color=Colour.QUIET.value, linewidth=0.8)
        for (least, width), (below, _) in zip(_STROKES, (*_STROKES[1:], (math.inf, 0.0)), strict=True):
            strokes = [life for life in lives if least <= life.area_msh < below]
            lines = [((life.first_days, life.latitude_deg), (life.last_days, life.latitude_deg)) for life in strokes]
            _lines(axes, lines, colour=Colour.ACCENT, width=width * (0.6 if len(lives) > _MANY_GROUPS else 1.0))
        time_axis(axes, *span, size=size)
        return figure

    return _drawn("latitude", "Latitude of groups against time", description, draw)


@lru_cache(maxsize=8)
def turning_chart(groups: tuple[Turned, ...], curves: tuple[Curve, ...], description: str) -> Drawn:
    """Draw rates against latitude, each with its standard error, and the laws; at least one of either."""

    def draw(size: Size) -> Figure:
        figure, (axes,) = panels(size, ["Sidereal rotation, degrees a day"])
        reach = _latitudes(axes, "x", [group.latitude_deg for group in groups])
        many = len(groups) > _MANY_GROUPS
        ends = [[(one.latitude_deg, one.rate_deg_per_day + sign * one.sigma) for sign in (-1, 1)] for one in groups]
        _lines(axes, ends, colour=Colour.RULE if many else Colour.QUIET, width=0.6)
        dots = [[(one.latitude_deg, one.rate_deg_per_day)] * 2 for one in groups]
        _lines(axes, dots, colour=Colour.QUIET if many else Colour.INK, width=size.font_size * (0.14 if many else 0.4))
        for curve in curves:
            latitudes = [reach * step / 60.0 for step in range(-60, 61)]
            line = [(latitude, law_rate(curve.law, latitude)) for latitude in latitudes]
            _lines(axes, [line], colour=curve.colour, width=1.4, dashes=curve.dashes)
        return figure

    return _drawn("turning", "Rotation rate of groups against latitude", description, draw)


def _drawn(mark: str, title: str, description: str, draw: Callable[[Size], Figure]) -> Drawn:
    drawings = []
    for size in (WIDE, NARROW):
        with plain_style(size):
            drawings.append(chart_svg(draw(size), f"{mark}-{size.name}", title=title, description=description))
    return Drawn(*drawings)


def _series(axes: Axes, points: Sequence[Point], span: Span, *, least: float, size: Size) -> None:
    """Draw dots from zero up, with the line of neighbours, or of monthly means where the dots are many."""
    many = is_long(span)
    runs = _runs(_monthly_means(points), _MONTH_DAYS) if many else _runs(points, _NEIGHBOURS_DAYS)
    dots = [[point, point] for point in points]
    dot = size.font_size * (0.14 if many else 0.4)
    if many:
        _lines(axes, dots, colour=Colour.ACCENT, width=dot)
        _lines(axes, runs, colour=Colour.INK, width=1.2)
    else:
        _lines(axes, runs, colour=Colour.QUIET, width=0.6)
        _lines(axes, dots, colour=Colour.ACCENT, width=dot)
    axes.set_ylim(0.0, 1.08 * max([least, *(value for _, value in points)]))
    axes.locator_params(axis="y", nbins=5, integer=True)


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


def _latitudes(axes: Axes, which: Literal["x", "y"], latitudes_deg: Sequence[float]) -> float:
    """Let an axis run over latitudes of both hemispheres alike, written as the trade does; return how far."""
    reach = max([_LEAST_LATITUDE_DEG, *(abs(latitude) + 2.0 for latitude in latitudes_deg)])
    ticks = [tick for tick in range(-90, 91, 15) if abs(tick) <= reach]
    axes.set(
        **{
            f"{which}lim": (-reach, reach),
            f"{which}ticks": ticks,
            f"{which}ticklabels": [f"{format_latitude(tick, 0)}°" if tick else "0°" for tick in ticks],
        }
    )
    return reach


def _lines(axes: Axes, lines: Sequence[Sequence[Point]], *, colour: Colour, width: float, dashes: str = "") -> None:
    """Draw all lines as one path; a line from a point to itself is a dot."""
    gap = (math.nan, math.nan)
    points = [point for line in lines for point in (*line, gap)]
    axes.plot(
        [x for x, _ in points],
        [y for _, y in points],
        color=colour.value,
        linewidth=width,
        linestyle=(0, [float(part) for part in dashes.split(",")]) if dashes else "-",
        solid_capstyle="round",
        clip_on=False,
    )
