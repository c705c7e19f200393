"""The frames that charts are drawn in: two sizes, the almanac's fine rules, and axes of time and of values."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import partial

from markupsafe import Markup

from archive.language import short_day, short_month_name
from archive.model.constants import UNIX_EPOCH_UTC
from archive.website.chart_svg import Cap, Colour, chart_svg, svg_lines, svg_text
from archive.website.formatting import number

__all__ = [
    "NARROW",
    "WIDE",
    "Axis",
    "Panel",
    "Size",
    "Stroke",
    "month_number",
    "panels_svg",
    "time_axis",
    "time_ticks",
    "value_axis",
]

_EPOCH = UNIX_EPOCH_UTC.date()
_LEAST_DAYS = 7.0
_MARGIN_SHARE = 0.02
_DAY_STEPS = (1, 2, 4, 7, 14)
_MONTH_STEPS = (1, 2, 3, 6)
_SLACK = 1e-9  # for what the last digits say of a figure at the very end of an axis
# Room around a panel, and the height of figures and capitals, in sizes of the font.
_ABOVE_EM, _BELOW_EM, _LEFT_EM, _RIGHT_EM = 1.9, 2.2, 3.4, 1.5
_CAPITAL_EM = 0.76
_GAP, _TITLE_GAP, _RULE_WIDTH = 7.0, 6.0, 0.6  # points


@dataclass(frozen=True)
class Size:
    """A chart's size in points; `ticks` is the most that time has room for."""

    name: str
    width: float
    panel_height: float
    font_size: float
    ticks: int


# On screens from 44 rem up the wide one is shown, at 1 to 1.5 times this size; below, the narrow one.
WIDE = Size("wide", 576.0, 150.0, 10.5, 7)
NARROW = Size("narrow", 330.0, 170.0, 12.0, 5)


@dataclass(frozen=True)
class Axis:
    """What an axis runs over, and where something is written along it."""

    first: float
    last: float
    ticks: Sequence[tuple[float, str]]


@dataclass(frozen=True)
class Stroke:
    """Lines of one look in the axes' values; one from a point to itself is a dot, where its ends are round."""

    lines: Sequence[Sequence[tuple[float, float]]]
    colour: Colour
    width: float
    dashes: str = ""
    cap: Cap = "round"


@dataclass(frozen=True)
class Panel:
    """A frame with its title at the upper left, and what is drawn in it, the last on top."""

    title: str
    across: Axis
    up: Axis
    strokes: Sequence[Stroke]


def panels_svg(panels: Sequence[Panel], mark: str, *, size: Size, title: str, description: str) -> Markup:
    """Return panels of one width above each other as a chart; for words see `chart_svg`."""
    row = (_ABOVE_EM + _BELOW_EM) * size.font_size + size.panel_height
    inside = "".join(
        _panel_svg(panel, number * row + _ABOVE_EM * size.font_size, size=size) for number, panel in enumerate(panels)
    )
    return chart_svg(size.width, row * len(panels), inside, mark, title=title, description=description)


def _panel_svg(panel: Panel, top: float, *, size: Size) -> str:
    left, right = _LEFT_EM * size.font_size, size.width - _RIGHT_EM * size.font_size
    bottom = top + size.panel_height

    def x(value: float) -> float:
        return left + (right - left) * (value - panel.across.first) / (panel.across.last - panel.across.first)

    def y(value: float) -> float:
        return bottom - size.panel_height * (value - panel.up.first) / (panel.up.last - panel.up.first)

    rule = partial(svg_lines, colour=Colour.RULE, width=_RULE_WIDTH, cap="square")
    words = partial(svg_text, colour=Colour.QUIET, font_size=size.font_size)
    parts = []
    for value, text in panel.across.ticks:
        parts.append(rule([[(x(value), bottom), (x(value), top)]]))
        parts.append(words(text, (x(value), bottom + _GAP + _CAPITAL_EM * size.font_size), anchor="middle"))
    for value, text in panel.up.ticks:
        parts.append(rule([[(left, y(value)), (right, y(value))]]))
        parts.append(words(text, (left - _GAP, y(value) + _CAPITAL_EM / 2 * size.font_size), anchor="end"))
    for stroke in panel.strokes:
        lines = [[(x(across), y(up)) for across, up in line] for line in stroke.lines]
        parts.append(svg_lines(lines, colour=stroke.colour, width=stroke.width, dashes=stroke.dashes, cap=stroke.cap))
    title = svg_text(panel.title, (left, top - _TITLE_GAP), colour=Colour.INK, anchor="start", font_size=size.font_size)
    return "".join((*parts, title))


def value_axis(first: float, last: float, *, most: int) -> Axis:
    """Return an axis over values with figures written along it, at most so many steps of a round number apart."""
    least = (last - first) / most * (1.0 - _SLACK)
    power = math.floor(math.log10(least))
    steps = [(factor * 10.0**ten, ten, factor) for ten in (power, power + 1) for factor in (1.0, 2.0, 2.5, 5.0)]
    step, ten, factor = next(one for one in steps if one[0] >= least)
    decimals = max(0, (factor == 2.5) - ten)
    counts = range(math.ceil(first / step - _SLACK), math.floor(last / step + _SLACK) + 1)
    return Axis(first, last, [(count * step, number(count * step, decimals)) for count in counts])


def month_number(time_days: float) -> int:
    """Return the calendar month of a time in days since 1970, counted on through the years."""
    return _month_number(_EPOCH + timedelta(days=time_days))


def time_axis(first: float, last: float, *, most: int) -> Axis:
    """Return an axis over a span of time in days, at least a week of it, with at most so many dates written below."""
    spare = max(_MARGIN_SHARE * (last - first), (_LEAST_DAYS - (last - first)) / 2.0)
    return Axis(first - spare, last + spare, time_ticks(first - spare, last + spare, most=most))


def time_ticks(first: float, last: float, *, most: int) -> list[tuple[float, str]]:
    """Choose days, months or years to be written under an axis of time.

    Returns
    -------
    list of (float, str)
        Days since 1970, and their words. Years are told at least once.
    """
    begin, end = (_EPOCH + timedelta(days=days) for days in (first, last))
    begin += timedelta(days=1)  # the first midnight inside
    for step in _DAY_STEPS:
        if (end - begin).days // step < most:
            return _days(begin, end, step=step)
    months = _month_number(begin) + 1, _month_number(end)
    for step in _MONTH_STEPS:
        if (months[1] - months[0]) // step < most:
            return _months([month for month in range(months[0], months[1] + 1) if month % step == 0])
    return _years(begin.year + 1, end.year, most=most)


def _days(begin: date, end: date, *, step: int) -> list[tuple[float, str]]:
    days = [begin + timedelta(days=count) for count in range(0, (end - begin).days + 1, step)]
    return [
        _tick(day, f"{short_day(day)}{_year(day, before)}") for day, before in zip(days, [None, *days], strict=False)
    ]


def _months(months: Sequence[int]) -> list[tuple[float, str]]:
    days = [date(month // 12, month % 12 + 1, 1) for month in months]
    return [
        _tick(day, f"{short_month_name(day.month)}{_year(day, before)}")
        for day, before in zip(days, [None, *days], strict=False)
    ]


def _years(first: int, last: int, *, most: int) -> list[tuple[float, str]]:
    step = next(step for step in (1, 2, 5, 10, 20, 50, 100) if (last - first) // step < most)
    return [_tick(date(year, 1, 1), str(year)) for year in range(first, last + 1) if year % step == 0]


def _year(day: date, before: date | None) -> str:
    """Tell the year where it is the first or a new one."""
    return f" {day.year}" if before is None or before.year != day.year else ""


def _month_number(day: date) -> int:
    return 12 * day.year + day.month - 1


def _tick(day: date, words: str) -> tuple[float, str]:
    return float((day - _EPOCH).days), words
