"""What `sun --eclipses` prints: the caution, and each eclipse with its contacts."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta
from typing import TYPE_CHECKING, Any

import click

from archive.commands.printing import json_fields
from archive.commands.streams import terminal_width
from archive.safety import CAUTION, ECLIPSE_CAUTION

if TYPE_CHECKING:
    from archive.model.eclipse import Eclipse, EclipseMoment
    from archive.reports.eclipses import SeenEclipses

__all__ = ["eclipse_json", "eclipse_lines"]

_ASSUMED = (
    "For the Moon's mean limb: its valleys and mountains move second and third contact by up to 3 s. The Earth's "
    "rotation after 2025 is not known and taken to stay as it is: times are wrong by as much as TT - UT1 will have "
    "changed, which was 0.5 s a year on average since 1950, and 0.1 s since 2016."
)


def eclipse_json(found: SeenEclipses) -> dict[str, Any]:
    """Return what a program reads."""
    return {
        "caution": f"{ECLIPSE_CAUTION} {CAUTION}",
        "site": found.site,
        "first_year": found.first_year,
        "last_year": found.last_year,
        "eclipses": [_json(one) for one in found.eclipses],
    }


def _json(one: Eclipse) -> dict[str, Any]:
    central = one.central_duration
    return json_fields(one) | {
        "duration_s": one.duration.total_seconds(),
        "central_duration_s": None if central is None else central.total_seconds(),
    }


def eclipse_lines(found: SeenEclipses) -> Iterator[str]:
    """Return what people read, the caution first."""
    width = terminal_width()
    yield click.wrap_text(ECLIPSE_CAUTION, width=width)
    yield ""
    years = str(found.first_year)
    if found.last_year != found.first_year:
        years = f"{found.first_year} to {found.last_year}"
    yield f"Solar eclipses seen from {found.site}, {years}; times UTC, altitudes without refraction"
    for one in found.eclipses:
        yield from _lines(one)
    if not found.eclipses:
        yield "  none"
    yield ""
    yield click.wrap_text(_ASSUMED, width=width)
    yield ""
    yield click.wrap_text(CAUTION, width=width)


def _lines(one: Eclipse) -> Iterator[str]:
    greatest, best = one.greatest, one.best
    yield ""
    yield (
        f"{greatest.time_utc:%Y-%m-%d}  {one.kind}, magnitude {greatest.magnitude:.3f}, "
        f"{100.0 * greatest.obscuration:.1f} % of the disc covered"
    )
    for name, moment in one.contacts:
        day = "" if moment.time_utc.date() == greatest.time_utc.date() else f" on {moment.time_utc:%Y-%m-%d}"
        yield f"  {name:<16}{moment.time_utc:%H:%M:%S}{day}  {_place(moment)}"
    yield f"  {'duration':<16}{_span(one.duration)}{_central(one)}"
    if best != greatest:
        yield (
            f"  {'most seen':<16}{best.time_utc:%H:%M}, with the Sun on the horizon: magnitude {best.magnitude:.3f}, "
            f"{100.0 * best.obscuration:.1f} % covered"
        )


def _place(moment: EclipseMoment) -> str:
    where = "below the horizon"
    if moment.is_up:
        where = f"altitude {moment.altitude_deg:+.1f} deg, azimuth {moment.azimuth_deg:.0f} deg"
    return f"{where}, position angle {moment.position_angle_deg:.0f} deg, {moment.zenith_angle_deg:.0f} from the zenith"


def _central(one: Eclipse) -> str:
    central = one.central_duration
    return "" if central is None else f", {one.kind} for {_span(central)}"


def _span(span: timedelta) -> str:
    minutes, seconds = divmod(round(span.total_seconds()), 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours} h {minutes} min {seconds} s" if hours else f"{minutes} min {seconds} s"
