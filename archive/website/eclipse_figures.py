"""Figures of an eclipse, drawn at build time as SVG: the disc at a moment, and the covered share against time."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta

from markupsafe import Markup

from archive.language import gettext
from archive.model.constants import SECONDS_PER_DAY
from archive.model.eclipse import CourseStep, EclipseAt
from archive.model.times import days_since_1970
from archive.website.chart_axes import NARROW, WIDE, Axis, Panel, Size, Stroke, panels_svg
from archive.website.chart_svg import Colour
from archive.website.charts import Drawn

__all__ = ["coverage_chart", "phase_svg"]

_HALF_SIDE = 1.3  # of a disc's square, in radii of the Sun
_LETTERS = f'<text x="0" y="{0.22 - _HALF_SIDE:.2f}">N</text><text x="{0.14 - _HALF_SIDE:.2f}" y="0.08">E</text>'
_PERCENT = Axis(-6.0, 108.0, [(share, f"{share} %") for share in (0, 25, 50, 75, 100)])
_TICK_MINUTES = (10, 15, 20, 30, 60, 120)
_PICTURE_MARK = (-5.0, -1.5)  # a picture's mark on the time line, from and to these percents


def phase_svg(step: CourseStep, *, lettered: bool) -> Markup:
    """Return the disc with the Moon before it, solar north up; `lettered` says where north and east are."""
    half = _HALF_SIDE
    moon = f'cx="{step.west_radii:.3f}" cy="{-step.north_radii:.3f}" r="{step.moon_radii:.3f}"'
    return Markup(
        f'<svg viewBox="{-half:g} {-half:g} {2 * half:g} {2 * half:g}" aria-hidden="true">'
        f'<circle class="sun" r="1"/><circle class="moon" {moon}/>{_LETTERS if lettered else ""}</svg>'
    )


def coverage_chart(
    at: EclipseAt, taken_utc: Sequence[datetime], measured: Sequence[tuple[datetime, float]], description: str
) -> Drawn:
    """Draw the covered share of the disc against time, with a mark for each picture and a dot for each measured share.

    Parameters
    ----------
    at : EclipseAt
    taken_utc : sequence of datetime
        When pictures were taken.
    measured : sequence of (datetime, float)
        The covered shares that pictures show.
    description : str
        For who cannot see it.
    """
    up = [[(_hours(one.time_utc), 100.0 * one.obscuration) for one in run] for run in _runs_up(at.curve)]
    whole = [[(_hours(one.time_utc), 100.0 * one.obscuration) for one in at.curve]]
    marks = [[(_hours(moment), percent) for percent in _PICTURE_MARK] for moment in taken_utc]
    points = [(_hours(moment), 100.0 * share) for moment, share in measured]

    def drawn(size: Size) -> Markup:
        strokes = [
            Stroke(whole, Colour.QUIET, 0.8, "2,3"),
            Stroke(up, Colour.ACCENT, 1.6),
            Stroke(marks, Colour.INK, 1.0, cap="butt"),
            Stroke([(point, point) for point in points], Colour.INK, size.font_size * 0.45),
        ]
        title = gettext("Share of the disc covered")
        panel = Panel(title, _time_axis(at.curve, most=size.ticks), _PERCENT, strokes)
        return panels_svg([panel], f"covered-{size.name}", size=size, title=title, description=description)

    return Drawn(drawn(WIDE), drawn(NARROW))


def _runs_up(curve: Sequence[CourseStep]) -> list[list[CourseStep]]:
    """Return the parts of the curve during which the Sun is up."""
    runs: list[list[CourseStep]] = [[]]
    for one in curve:
        if one.is_up:
            runs[-1].append(one)
        elif runs[-1]:
            runs.append([])
    return [run for run in runs if run]


def _time_axis(curve: Sequence[CourseStep], *, most: int) -> Axis:
    """Return the axis of time, hours since 1970, from first to fourth contact and some minutes about them."""
    first, last = curve[0].time_utc, curve[-1].time_utc
    spare = timedelta(minutes=5)
    start = first.replace(minute=0, second=0, microsecond=0)
    ticks: list[datetime] = []
    for minutes in _TICK_MINUTES:
        step = timedelta(minutes=minutes)
        every = (start + n * step for n in range((last - start) // step + 1))
        ticks = [moment for moment in every if moment >= first - spare]
        if len(ticks) <= most:
            break
    return Axis(_hours(first - spare), _hours(last + spare), [(_hours(one), f"{one:%H:%M}") for one in ticks])


def _hours(moment: datetime) -> float:
    return days_since_1970(moment) * SECONDS_PER_DAY / 3600.0
