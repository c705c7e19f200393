"""What pages tell of an eclipse: its course, its circumstances, the pictures taken during it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta

from markupsafe import Markup

from archive.language import day_and_month, format_time, gettext, gettext_noop, ngettext
from archive.model.eclipse import Eclipse, EclipseAt, EclipseMoment
from archive.website.charts import Drawn
from archive.website.eclipse_figures import coverage_chart, phase_svg
from archive.website.formatting import (
    UNKNOWN,
    degrees,
    format_position,
    number,
)
from archive.website.observing_days import ShownDay
from archive.website.pages import Fact

__all__ = ["ContactRow", "EclipseView", "Phase", "PictureRow", "eclipse_name", "eclipse_view"]


_NAMES = {
    "partial": gettext_noop("Partial eclipse of the Sun"),
    "annular": gettext_noop("Annular eclipse of the Sun"),
    "total": gettext_noop("Total eclipse of the Sun"),
}
_CENTRAL = {"annular": gettext_noop("Annular"), "total": gettext_noop("Total")}
_CENTRAL_AT = {
    "annular": gettext_noop("Annular at {site} for {span}, greatest at {time} UTC."),
    "total": gettext_noop("Total at {site} for {span}, greatest at {time} UTC."),
}
_MOMENTS = {
    "first contact": gettext_noop("First contact"),
    "second contact": gettext_noop("Second contact"),
    "greatest phase": gettext_noop("Greatest phase"),
    "third contact": gettext_noop("Third contact"),
    "fourth contact": gettext_noop("Fourth contact"),
}


@dataclass(frozen=True)
class Phase:
    """The disc at one moment of the course; `remark` where the Sun is not up."""

    time: str
    covered: str
    figure: Markup
    remark: str


@dataclass(frozen=True)
class ContactRow:
    """A contact, or greatest phase; `remark` where the Sun is not up."""

    name: str
    time: str
    altitude: str
    position_angle: str
    zenith_angle: str
    remark: str


@dataclass(frozen=True)
class PictureRow:
    """A picture taken during the eclipse: its covered share as predicted and as measured."""

    time: str
    href: str
    predicted: str
    measured: str


@dataclass(frozen=True)
class EclipseView:
    """An eclipse as a page shows it; `pictures` is empty where none is taken yet, `remarks` are sentences."""

    title: str
    summary: str
    facts: tuple[Fact, ...]
    phases: tuple[Phase, ...]
    every: str
    contacts: tuple[ContactRow, ...]
    chart: Drawn
    chart_words: str
    pictures: tuple[PictureRow, ...]
    remarks: tuple[str, ...]


@dataclass(frozen=True)
class _Taken:
    time_utc: datetime
    anchor: str
    covered: float | None


def eclipse_view(at: EclipseAt, shown: ShownDay | None = None) -> EclipseView:
    """Return what a page tells of an eclipse; `shown` are the pictures of its day, None before there are any."""
    taken = [] if shown is None else _taken(at.eclipse, shown)
    measured = [(one.time_utc, one.covered) for one in taken if one.covered is not None]
    return EclipseView(
        title=eclipse_name(at.eclipse),
        summary=_summary(at),
        facts=_facts(at.eclipse),
        phases=tuple(
            Phase(
                _clock(step.time_utc, at.day, seconds=False),
                gettext("{percent} covered", percent=_percent(step.obscuration)),
                phase_svg(step, lettered=n == 0),
                "" if step.is_up else gettext("Sun not up"),
            )
            for n, step in enumerate(at.course)
        ),
        every=_every(at),
        contacts=tuple(_row(name, moment, at.day) for name, moment in at.eclipse.contacts),
        chart=coverage_chart(at, [one.time_utc for one in taken], measured, _description(at, len(taken))),
        chart_words=_chart_words(at, len(taken), len(measured)),
        pictures=tuple(_picture(one, at) for one in taken),
        remarks=tuple(_remarks(at)),
    )


def eclipse_name(eclipse: Eclipse) -> str:
    """Return ``Partial eclipse of the Sun``."""
    return gettext(_NAMES[eclipse.kind])


def _summary(at: EclipseAt) -> str:
    """Say in a sentence what is seen from the site."""
    eclipse, best = at.eclipse, at.eclipse.best
    when = _clock(best.time_utc, at.day, seconds=False)
    central = eclipse.central_duration
    if central is not None and best == eclipse.greatest:
        return gettext(_CENTRAL_AT[eclipse.kind], site=at.site.name, span=_span(central), time=when)
    covered = _percent(best.obscuration)
    if best == eclipse.greatest:
        return gettext(
            "At {site} {percent} of the disc is covered at {time} UTC.", site=at.site.name, percent=covered, time=when
        )
    return gettext(
        "At {site} {percent} of the disc is covered at {time} UTC, with the Sun on the horizon.",
        site=at.site.name,
        percent=covered,
        time=when,
    )


def _facts(eclipse: Eclipse) -> tuple[Fact, ...]:
    greatest, central = eclipse.greatest, eclipse.central_duration
    facts = [
        Fact(gettext("Magnitude"), number(greatest.magnitude, 3), gettext("share of the diameter")),
        Fact(gettext("Covered"), _percent(greatest.obscuration), gettext("share of the disc")),
        Fact(gettext("Duration"), _span(eclipse.duration), gettext("first to fourth contact")),
    ]
    if central is not None:
        facts[0] = Fact(gettext("Magnitude"), number(greatest.magnitude, 3), gettext("Moon’s diameter by the Sun’s"))
        facts.append(Fact(gettext(_CENTRAL[eclipse.kind]), _span(central), gettext("second to third contact")))
    return tuple(facts)


def _row(name: str, moment: EclipseMoment, day: date) -> ContactRow:
    return ContactRow(
        gettext(_MOMENTS[name]),
        _clock(moment.time_utc, day, seconds=True),
        degrees(moment.altitude_deg, 1),
        degrees(moment.position_angle_deg, 0),
        degrees(moment.zenith_angle_deg, 0),
        "" if moment.is_up else gettext("Sun not up"),
    )


def _taken(eclipse: Eclipse, shown: ShownDay) -> list[_Taken]:
    """Return the day's pictures between first and fourth contact, in order of time."""
    found = [_Taken(one.observation.time_utc, _anchor(one.observation.id), one.covered) for one in shown.entries]
    found += [_Taken(one.time_utc, _anchor(one.id), None) for one in shown.unmeasured]
    during = [one for one in found if eclipse.first.time_utc <= one.time_utc <= eclipse.fourth.time_utc]
    return sorted(during, key=lambda one: (one.time_utc, one.anchor))


def _anchor(observation_id: str) -> str:
    return f"t{observation_id.partition('T')[2]}"


def _picture(one: _Taken, at: EclipseAt) -> PictureRow:
    return PictureRow(
        format_time(one.time_utc, day=at.day),
        f"#{one.anchor}",
        _percent(_predicted(at, one.time_utc)),
        UNKNOWN if one.covered is None else _percent(one.covered),
    )


def _predicted(at: EclipseAt, time_utc: datetime) -> float:
    """Return the covered share at a moment between first and fourth contact, between the curve's steps."""
    first = at.curve[0].time_utc
    step = (at.curve[-1].time_utc - first) / (len(at.curve) - 1)
    before = min(int((time_utc - first) / step), len(at.curve) - 2)
    share = (time_utc - first) / step - before
    return (1.0 - share) * at.curve[before].obscuration + share * at.curve[before + 1].obscuration


def _every(at: EclipseAt) -> str:
    if len(at.course) < 2:
        return gettext("At greatest phase; solar north up, east left.")
    minutes = (at.course[1].time_utc - at.course[0].time_utc) / timedelta(minutes=1)
    return ngettext(
        "Every {n} minute about greatest phase, UTC; solar north up, east left, as in all pictures here.",
        "Every {n} minutes about greatest phase, UTC; solar north up, east left, as in all pictures here.",
        round(minutes),
    )


def _description(at: EclipseAt, pictures: int) -> str:
    first, best, last = at.eclipse.first, at.eclipse.best, at.eclipse.fourth
    told = gettext(
        "From nothing at {first} UTC to {percent} at {best} and back to nothing at {last}.",
        first=f"{first.time_utc:%H:%M}",
        percent=_percent(best.obscuration),
        best=f"{best.time_utc:%H:%M}",
        last=f"{last.time_utc:%H:%M}",
    )
    if not pictures:
        return told
    return told + " " + ngettext("{n} picture taken meanwhile.", "{n} pictures taken meanwhile.", pictures)


def _chart_words(at: EclipseAt, taken: int, measured: int) -> str:
    is_up = all(one.is_up for one in at.curve)
    if is_up:
        words = gettext("The line is predicted.")
    else:
        words = gettext("The line is predicted; it is dotted while the Sun is not up.")
    if measured:
        return words + " " + gettext("Dots are measured in the pictures, whose times the marks below show.")
    return words + " " + gettext("The marks below are the times of the pictures.") if taken else words


def _remarks(at: EclipseAt) -> list[str]:
    site, eclipse = at.site, at.eclipse
    found = [
        gettext(
            "Predicted for {place}, the position published here; 5 km from it the times differ by up to 10 seconds.",
            place=format_position(site.latitude_deg, site.longitude_deg),
        ),
        gettext(
            "Where the limbs touch, and at greatest phase where the Moon lies: P counts along the Sun’s limb from "
            "celestial north through east, V from its highest point the same way round. Altitudes are without "
            "refraction."
        ),
    ]
    if eclipse.second is not None:
        found.append(gettext("The Moon’s mountains and valleys move second and third contact by up to 3 seconds."))
    if eclipse.is_earth_guessed:
        found.append(
            gettext(
                "The Earth’s rotation is known here up to 2025: times may be wrong by half a second for each year "
                "after."
            )
        )
    return found


def _clock(moment: datetime, day: date, *, seconds: bool) -> str:
    """Return a time of UTC, with its day where that is another than the page's."""
    rounded = moment if seconds else moment + timedelta(seconds=30)
    text = f"{rounded:%H:%M:%S}" if seconds else f"{rounded:%H:%M}"
    return text if rounded.date() == day else gettext("{time} on {day}", time=text, day=day_and_month(rounded.date()))


def _percent(share: float) -> str:
    """Return a share in whole percent; only what is wholly covered is written as 100."""
    percent = round(100.0 * share)
    return f"{min(percent, 99) if share < 1.0 else percent} %"


def _span(span: timedelta) -> str:
    minutes, seconds = divmod(round(span.total_seconds()), 60)
    hours, minutes = divmod(minutes, 60)
    # Symbols of units of the SI are the same in every language.
    return f"{hours} h {minutes:02d} min" if hours else f"{minutes} min {seconds:02d} s"
