"""The frames that charts are drawn in: two sizes, the almanac's fine rules, and an axis of time."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING

from archive.website.chart_svg import Colour
from archive.website.formatting import MONTHS

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["NARROW", "WIDE", "Size", "days_of", "month_number", "panels", "plain_style", "time_axis", "time_ticks"]

_SECONDS_PER_DAY = 86400.0
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_LEAST_DAYS = 7.0
_MARGIN_SHARE = 0.02
_DAY_STEPS = (1, 2, 4, 7, 14)
_MONTH_STEPS = (1, 2, 3, 6)


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


@contextmanager
def plain_style(size: Size) -> Iterator[None]:
    """Draw with these settings and no others, whatever the user keeps of his own."""
    import matplotlib

    with matplotlib.rc_context():
        matplotlib.rcdefaults()
        matplotlib.rcParams.update(
            {
                "axes.axisbelow": True,
                "axes.edgecolor": Colour.RULE.value,
                "axes.facecolor": "none",
                "axes.grid": True,
                "axes.titlecolor": Colour.INK.value,
                "axes.titlelocation": "left",
                "axes.titlesize": size.font_size,
                "figure.facecolor": "none",
                "font.size": size.font_size,
                "grid.color": Colour.RULE.value,
                "grid.linewidth": 0.6,
                "lines.scale_dashes": False,
                "path.simplify": False,
                "svg.fonttype": "none",
                "svg.hashsalt": "charts",
                "text.color": Colour.INK.value,
                "xtick.bottom": False,
                "xtick.labelcolor": Colour.QUIET.value,
                "ytick.left": False,
                "ytick.labelcolor": Colour.QUIET.value,
            }
        )
        yield


def panels(size: Size, titles: Sequence[str]) -> tuple[Figure, list[Axes]]:
    """Make a figure with panels of one width above each other, each with its title at the upper left."""
    from matplotlib.figure import Figure

    above, below, left, right = 1.9 * size.font_size, 2.2 * size.font_size, 3.4 * size.font_size, 1.5 * size.font_size
    row = above + size.panel_height + below
    height = row * len(titles)
    figure = Figure(figsize=(size.width / 72.0, height / 72.0))
    axes = []
    for number, title in enumerate(titles):
        bottom = height - row * number - above - size.panel_height
        inner = (left / size.width, bottom / height, 1 - (left + right) / size.width, size.panel_height / height)
        one = figure.add_axes(inner)
        one.set_title(title)
        for spine in one.spines.values():
            spine.set_visible(False)
        axes.append(one)
    return figure, axes


def days_of(time_utc: datetime) -> float:
    """Return a time in days since 1970 January 1, 0 h UTC."""
    return (time_utc - _EPOCH).total_seconds() / _SECONDS_PER_DAY


def month_number(time_days: float) -> int:
    """Return the calendar month of a time in days since 1970, counted on through the years."""
    return _month_number(date(1970, 1, 1) + timedelta(days=time_days))


def time_axis(axes: Axes, first: float, last: float, *, size: Size) -> None:
    """Let an axis run over a span of time in days, at least a week of it, with its dates written below."""
    spare = max(_MARGIN_SHARE * (last - first), (_LEAST_DAYS - (last - first)) / 2.0)
    axes.set_xlim(first - spare, last + spare)
    ticks = time_ticks(first - spare, last + spare, most=size.ticks)
    axes.set_xticks([days for days, _ in ticks], [words for _, words in ticks])


def time_ticks(first: float, last: float, *, most: int) -> list[tuple[float, str]]:
    """Choose days, months or years to be written under an axis of time.

    Returns
    -------
    list of (float, str)
        Days since 1970, and their words. Years are told at least once.
    """
    begin, end = (date(1970, 1, 1) + timedelta(days=days) for days in (first, last))
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
        _tick(day, f"{day.day} {MONTHS[day.month - 1][:3]}{_year(day, before)}")
        for day, before in zip(days, [None, *days], strict=False)
    ]


def _months(months: Sequence[int]) -> list[tuple[float, str]]:
    days = [date(month // 12, month % 12 + 1, 1) for month in months]
    return [
        _tick(day, f"{MONTHS[day.month - 1][:3]}{_year(day, before)}")
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
    return float((day - date(1970, 1, 1)).days), words
