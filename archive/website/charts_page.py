"""The charts, each with the figures behind it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from archive.language import decimal, format_date_range, format_day, gettext, gettext_noop, kept_words, ngettext
from archive.model.days import counted_picture_of_day
from archive.model.observation import Counts, Observation
from archive.model.times import days_since_1970
from archive.website import addresses
from archive.website.addresses import Here, day_page, group_page
from archive.website.chart_svg import Colour
from archive.website.charts import (
    Counted,
    Curve,
    Drawn,
    Life,
    Seen,
    Span,
    Turned,
    activity_chart,
    butterfly_chart,
    is_long,
    latitude_chart,
    rotation_row,
    turning_chart,
)
from archive.website.content import Content
from archive.website.counted_days import mixes_series, number_of_day
from archive.website.followed import Followed
from archive.website.formatting import format_latitude, measured, number
from archive.website.group_rows import BY_HAND
from archive.website.observing_days import ObservingDay
from archive.website.pages import Frame, Link, SiteFace, frame
from archive.website.rotation_laws import format_rate, law_formula

__all__ = ["Chart", "ChartRow", "ChartsPage", "LawRow", "charts_page"]

# A rate that is less well known than this tells nothing of a law, whose curves are 2 degrees a day high.
_LARGEST_SIGMA = 0.5
# More is no change but two instruments side by side.
_MOST_CHANGES = 12
_DASHES = ("6,2", "1.5,1.5", "6,2,1.5,2")


@dataclass(frozen=True)
class ChartRow:
    """A line of the table behind a chart."""

    head: Link
    cells: tuple[str, ...]
    remark: str = ""


_SEVERAL_SERIES = gettext_noop(
    " Where several series counted on a day, R is their mean, each reduced by its k; groups, spots and area are those "
    "of the day's picture."
)


@dataclass(frozen=True)
class LawRow:
    """A law beside the sample of its line."""

    name: str
    own: bool
    dashes: str
    formula: str
    source: str


@dataclass(frozen=True)
class Chart:
    """A chart; without anything to draw, `drawn` is None and `empty` says why."""

    anchor: str
    title: str
    drawn: Drawn | None
    empty: str
    caption: str
    columns: tuple[str, ...]
    rows: tuple[ChartRow, ...]
    laws: tuple[LawRow, ...] = ()


@dataclass(frozen=True)
class ChartsPage:
    """All charts."""

    frame: Frame
    charts: tuple[Chart, ...]


def charts_page(
    content: Content,
    days: Sequence[ObservingDay],
    groups: Sequence[Followed],
    face: SiteFace,
) -> ChartsPage:
    """Gather the page of charts; days and groups in order of time."""
    here = Here(addresses.CHARTS)
    span = _span(days)
    description = gettext("What {observer} counted and measured, drawn", observer=face.observer)
    return ChartsPage(
        frame=frame(face, here, title=gettext("Charts"), description=description),
        charts=(
            _activity(days, here, span=span, smoothed=content.smoothed_number),
            _latitude(groups, days, here, span=span),
            _turning(content, groups, here),
        ),
    )


def _span(days: Sequence[ObservingDay]) -> Span:
    """Return the times of the first and the last picture, for all charts alike."""
    times = [days_since_1970(entry.observation.time_utc) for day in (*days[:1], *days[-1:]) for entry in day.entries]
    return (min(times), max(times)) if times else (0.0, 0.0)


def _activity(
    days: Sequence[ObservingDay], here: Here, *, span: Span, smoothed: Sequence[tuple[float, float]]
) -> Chart:
    counted = [one for day in days if (one := _counted(day)) is not None]
    changes = _instrument_changes([one for one, _ in counted])
    uncounted = [
        days_since_1970(day.main.observation.time_utc)
        for day in days
        if day.main.observation.band == "white" and _counted(day) is None
    ]
    return Chart(
        anchor="activity",
        title=gettext("Relative number and area against time"),
        drawn=_activity_drawn(counted, span, changes, uncounted, smoothed) if counted else None,
        empty=gettext("No picture has been counted yet."),
        caption=_activity_caption(span, changes, uncounted=len(uncounted), smoothed=bool(smoothed))
        + (gettext(_SEVERAL_SERIES) if mixes_series(days) else ""),
        columns=(gettext("Day"), gettext("Groups"), gettext("Spots"), "R", gettext("Area")),
        rows=tuple(_activity_row(one, counts, here) for one, counts in counted),
    )


def _instrument_changes(counted: Sequence[Observation]) -> list[tuple[float, str]]:
    """Return when another instrument takes over, halfway between two days, and words; none where two share the days."""
    changes = [
        ((days_since_1970(before.time_utc) + days_since_1970(after.time_utc)) / 2.0, _taken_over(after))
        for before, after in pairwise(counted)
        if before.instrument != after.instrument
    ]
    return changes if len(changes) <= _MOST_CHANGES else []


def _taken_over(one: Observation) -> str:
    # Translators: which instrument took over, and when.
    return gettext("{instrument} from {day}", instrument=one.instrument, day=format_day(one.day))


def _activity_caption(
    span: Span, changes: Sequence[tuple[float, str]], *, uncounted: int = 0, smoothed: bool = False
) -> str:
    if is_long(span):
        told = [gettext("A dot is a day; the line joins the means of calendar months. R = k(10g + s).")]
    else:
        told = [gettext("A dot is a day; days next to each other are joined. R = k(10g + s).")]
    if smoothed and is_long(span):
        told.append(gettext("The dotted line is the published smoothed number."))
    if uncounted:
        told.append(gettext("A short mark below zero is a day whose spots were not counted ({n}).", n=uncounted))
    if changes:
        others = ", ".join(words for _, words in changes)
        told.append(gettext("A dashed line marks a change of instrument: {changes}.", changes=others))
    return " ".join(told)


def _activity_row(one: Observation, counts: Counts, here: Here) -> ChartRow:
    day = one.day
    figures = map(number, (counts.groups, counts.spots, counts.relative_number))
    least = counts.least_spot_msh
    hidden = "" if least is None else gettext("without spots under {area}", area=number(least))
    return ChartRow(
        Link(format_day(day), here.to(day_page(day))),
        (*figures, measured(one.spot_area_msh, one.spot_area_sigma_msh)),
        gettext(BY_HAND) if counts.stated else hidden,
    )


def _counted(day: ObservingDay) -> tuple[Observation, Counts] | None:
    """Return the picture whose count is the day's, and that count; its R is the mean of the series that counted."""
    one, found = counted_picture_of_day(day.observations), number_of_day(day.observations)
    if one is None or one.counts is None or found is None:
        return None
    return one, replace(one.counts, relative_number=found)


def _activity_drawn(
    counted: Sequence[tuple[Observation, Counts]],
    span: Span,
    changes: Sequence[tuple[float, str]],
    uncounted: Sequence[float],
    smoothed: Sequence[tuple[float, float]],
) -> Drawn:
    numbers = [counts.relative_number for _, counts in counted]
    days = format_date_range(counted[0][0].day, counted[-1][0].day)
    return activity_chart(
        tuple(
            Counted(days_since_1970(one.time_utc), counts.relative_number, one.spot_area_msh) for one, counts in counted
        ),
        span,
        ngettext(
            "R on {n} day, {span}: from {least} to {most}.",
            "R on {n} days, {span}: from {least} to {most}.",
            len(counted),
            span=days,
            least=number(min(numbers)),
            most=number(max(numbers)),
        ),
        changes=[at for at, _ in changes],
        uncounted=uncounted,
        smoothed=smoothed,
    )


def _latitude(groups: Sequence[Followed], days: Sequence[ObservingDay], here: Here, *, span: Span) -> Chart:
    drawn = _latitude_drawn(groups, span) if groups and not is_long(span) else None
    return Chart(
        anchor="latitude",
        title=gettext("Butterfly diagram") if is_long(span) else gettext("Latitude against time"),
        drawn=_butterfly(groups, days, span) if groups and is_long(span) else drawn,
        empty=gettext("No sunspot group has been followed yet."),
        caption=gettext(
            "A cell is a rotation of the Sun, 27 days, and two degrees of latitude; the more of it is filled, the "
            "larger the mean area of the spots there: up to 10, to 50, and more millionths of the hemisphere."
        )
        if is_long(span)
        else gettext("A stroke is a group, from the first day it was seen to the last; the wider, the larger."),
        columns=(
            gettext("Group"),
            gettext("First seen"),
            gettext("Last seen"),
            gettext("Latitude"),
            gettext("Largest area"),
        ),
        rows=tuple(
            ChartRow(
                _group_link(group, here),
                (
                    format_day(group.days[0]),
                    format_day(group.days[-1]),
                    f"{format_latitude(group.latitude_deg)}°",
                    measured(group.largest.group.area_msh, group.largest.group.area_sigma_msh),
                ),
            )
            for group in groups
        ),
    )


def _butterfly(groups: Sequence[Followed], days: Sequence[ObservingDay], span: Span) -> Drawn:
    counted = [found[0] for day in days if (found := _counted(day)) is not None]
    ids = {one.id for one in counted}
    seen = [
        Seen(days_since_1970(one.observation.time_utc), one.latitude_deg, one.group.size_msh)
        for group in groups
        for one in group.seen
        if one.observation.id in ids
    ]
    return butterfly_chart(
        seen, Counter(rotation_row(days_since_1970(one.time_utc)) for one in counted), span, _where(groups)
    )


def _where(groups: Sequence[Followed]) -> str:
    north = sum(group.latitude_deg >= 0 for group in groups)
    latitudes = [group.latitude_deg for group in groups]
    return ngettext(
        "{n} group north of the equator and {south} south of it, between {first} and {last}.",
        "{n} groups north of the equator and {south} south of it, between {first} and {last}.",
        north,
        south=len(groups) - north,
        first=format_latitude(min(latitudes), 0),
        last=format_latitude(max(latitudes), 0),
    )


def _latitude_drawn(groups: Sequence[Followed], span: Span) -> Drawn:
    return latitude_chart(
        tuple(
            Life(
                days_since_1970(group.seen[0].observation.time_utc),
                days_since_1970(group.seen[-1].observation.time_utc),
                round(group.latitude_deg, 2),
                group.largest.group.size_msh,
            )
            for group in groups
        ),
        span,
        _where(groups),
    )


def _turning(content: Content, groups: Sequence[Followed], here: Here) -> Chart:
    known = [(group, rotation) for group in groups if (rotation := group.group.rotation) is not None]
    curves = _curves(content)
    drawn = tuple(
        Turned(group.latitude_deg, rotation.rate_deg_per_day, rotation.sigma_deg_per_day)
        for group, rotation in known
        if rotation.sigma_deg_per_day <= _LARGEST_SIGMA
    )
    words = gettext(
        "{groups} and {laws}.",
        groups=ngettext("{n} group", "{n} groups", len(drawn)),
        laws=ngettext("{n} law of rotation", "{n} laws of rotation", len(curves)),
    )
    return Chart(
        anchor="turning",
        title=gettext("Rotation against latitude"),
        drawn=turning_chart(drawn, curves, words) if drawn or curves else None,
        empty=gettext("No rotation has been measured yet: a group must be seen on five days at least."),
        caption=gettext(
            "A dot is a group, its bar one standard error to each side. Groups whose rate is less well known than "
            "{error}° a day stand in the table only.",
            error=decimal(str(_LARGEST_SIGMA)),
        ),
        columns=(gettext("Group"), gettext("Latitude"), gettext("Degrees a day")),
        rows=tuple(
            ChartRow(
                _group_link(group, here),
                (
                    f"{format_latitude(group.latitude_deg)}°",
                    format_rate(rotation.rate_deg_per_day, rotation.sigma_deg_per_day),
                ),
            )
            for group, rotation in known
        ),
        laws=tuple(map(_law_row, curves)),
    )


def _curves(content: Content) -> tuple[Curve, ...]:
    published = [
        Curve(law, Colour.QUIET, _DASHES[number % len(_DASHES)]) for number, law in enumerate(content.published_laws)
    ]
    own = [] if content.own_law is None else [Curve(content.own_law, Colour.ACCENT, "")]
    return (*published, *own)


def _law_row(curve: Curve) -> LawRow:
    law = curve.law
    return LawRow(
        name=kept_words(law.name),
        own=curve.colour is Colour.ACCENT,
        dashes=curve.dashes,
        formula=law_formula(law),
        source=law.source
        if law.groups is None
        else ngettext("fitted to {n} group", "fitted to {n} groups", law.groups),
    )


def _group_link(group: Followed, here: Here) -> Link:
    return Link(group.name, here.to(group_page(group.name)))
