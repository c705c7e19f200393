"""The observatory page: sites, instruments, orientation, methods, and the safety notice."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from archive.language import format_date_range, format_day, format_time, gettext, gettext_noop, ngettext
from archive.model.choices import DayKind
from archive.model.observatory import CameraEpoch, Instrument, Observer, Site
from archive.safety import CAUTION
from archive.website import addresses
from archive.website.addresses import Here, about_picture_file, day_page
from archive.website.content import Content
from archive.website.formatting import degrees, format_position, number
from archive.website.notes import ShownPicture, notes_html
from archive.website.observation_view import format_band
from archive.website.observing_days import ObservingDay
from archive.website.pages import Fact, Frame, Link, SiteFace, frame

__all__ = ["Described", "LearnedRow", "ObservatoryPage", "observatory_page"]

_MOUNT_WORDS = {
    # Translators: kinds of mounts.
    "altaz": gettext_noop("alt-azimuth"),
    "equatorial": gettext_noop("equatorial"),
    "unknown": gettext_noop("not known"),
}
_MIRROR_WORDS = {
    "yes": gettext_noop("yes, un-mirrored here"),
    "no": gettext_noop("no"),
    "unknown": gettext_noop("not known"),
}


@dataclass(frozen=True)
class LearnedRow:
    """A camera angle that was learned: the days it holds for, from what, and the angle with its scatter."""

    days: str
    source: str
    angle: str
    scatter: str


@dataclass(frozen=True)
class Described:
    """A site or an instrument with its facts; `learned` in order of time, empty for a site."""

    name: str
    facts: tuple[Fact, ...]
    learned: tuple[LearnedRow, ...] = ()


@dataclass(frozen=True)
class ObservatoryPage:
    """Sites, instruments, and the caution; `about` is the observer's own text, empty where there is none.

    `citations` name what is cited and how, empty without a picture.
    """

    frame: Frame
    about: Markup
    observers: tuple[Described, ...]
    sites: tuple[Described, ...]
    instruments: tuple[Described, ...]
    caution: str
    citations: tuple[Fact, ...]
    data: Link
    days: DayKind


def observatory_page(content: Content, days: Sequence[ObservingDay], face: SiteFace) -> ObservatoryPage:
    """Gather the page on the observatory; `days` in order of time."""
    info = content.info
    here = Here(addresses.OBSERVATORY)
    return ObservatoryPage(
        frame=frame(
            face,
            here,
            title=gettext("Observatory"),
            description=gettext("Sites and instruments of {observer}, and how to read them", observer=face.observer),
        ),
        about=_about(content, here),
        observers=tuple(_observer(observer) for observer in info.observers),
        sites=tuple(_site(place) for place in info.sites),
        instruments=tuple(_instrument(instrument) for instrument in info.instruments),
        caution=gettext(CAUTION),
        citations=_citations(days, face),
        data=Link(gettext("data files"), here.to(addresses.DATA)),
        days=info.days,
    )


def _about(content: Content, here: Here) -> Markup:
    shown = {
        source: ShownPicture(here.to(about_picture_file(one.picture.sha256)), one.width_px, one.height_px)
        for source, one in content.about_pictures.items()
    }
    return Markup(notes_html(content.about, shown) if content.about.strip() else "")


def _citations(days: Sequence[ObservingDay], face: SiteFace) -> tuple[Fact, ...]:
    """Write how to cite the archive and, by the example of the latest, a picture."""
    if not days:
        return ()
    span = format_date_range(days[0].day, days[-1].day)
    latest = days[-1].main.observation
    archive = gettext("{title}: pictures and measurements of the Sun, {span}", title=face.title, span=span)
    picture = gettext(
        "The Sun on {day}, {time}. In: {title}",
        day=format_day(days[-1].day),
        time=format_time(latest.time_utc, day=latest.day),
        title=face.title,
    )
    by = latest.observer or face.observer
    return (
        Fact(gettext("The archive"), _cited(face, face.observer, archive, addresses.HOME)),
        Fact(gettext("A picture"), _cited(face, by, picture, day_page(days[-1].day))),
    )


def _cited(face: SiteFace, by: str, work: str, path: str) -> str:
    address = face.address_of(path)
    return f"{by}. {work}. {address}" if address else f"{by}. {work}."


def _observer(observer: Observer) -> Described:
    facts = [Fact("Code", observer.code)] if observer.code is not None else []
    if observer.relative_number_k is not None:
        facts.append(Fact("Factor k", f"{observer.relative_number_k:g}", "in R = k (10 g + s)"))
    return Described(observer.name, tuple(facts))


def _site(place: Site) -> Described:
    if not place.has_horizon:
        return Described(place.name, (Fact(gettext("Position"), gettext("in space")),))
    facts = [Fact(gettext("Position"), format_position(place.latitude_deg, place.longitude_deg))]
    if place.elevation_m is not None:
        facts.append(Fact(gettext("Height above sea level"), f"{number(place.elevation_m)} m"))
    return Described(place.name, tuple(facts))


def _instrument(instrument: Instrument) -> Described:
    facts = [
        Fact(gettext("Band"), format_band(instrument.band)),
        Fact(gettext("Filter"), instrument.filter or number(None)),
        Fact(gettext("Mount"), gettext(_MOUNT_WORDS[instrument.mount])),
        Fact(gettext("Mirrored pictures"), gettext(_MIRROR_WORDS[instrument.mirrored])),
        Fact(gettext("Stated camera angle"), degrees(instrument.camera_angle_deg, signed=True)),
    ]
    learned = sorted(instrument.learned, key=lambda one: one.since_days)
    return Described(instrument.name, tuple(facts), tuple(map(_learned, learned)))


def _learned(one: CameraEpoch) -> LearnedRow:
    since = format_day(one.since_utc.date())
    if one.until_utc is None:
        days = gettext("since {day}", day=since)
    else:
        days = gettext("{first} to {last}", first=since, last=format_day(one.until_utc.date()))
    if one.mirrored:
        source = ngettext("from the first picture, mirrored", "from the first {n} pictures, mirrored", one.pictures)
    else:
        source = ngettext(
            "from the first picture, not mirrored", "from the first {n} pictures, not mirrored", one.pictures
        )
    return LearnedRow(
        days=days,
        source=source,
        angle=degrees(one.angle_deg, 1, signed=True),
        scatter=degrees(one.scatter_deg if one.pictures > 1 else None, 1),
    )
