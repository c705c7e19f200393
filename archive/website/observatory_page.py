"""The observatory page: sites, instruments, orientation, methods, and the safety notice."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from archive.model.choices import DayKind
from archive.model.observatory import CameraEpoch, Instrument, Observer, Site
from archive.safety import CAUTION
from archive.website import addresses
from archive.website.addresses import Here, about_picture_file, day_page
from archive.website.content import Content
from archive.website.formatting import (
    degrees,
    format_date_range,
    format_day,
    format_position,
    format_time,
    number,
    plural,
)
from archive.website.notes import ShownPicture, notes_html
from archive.website.observation_view import format_band
from archive.website.observing_days import ObservingDay
from archive.website.pages import Fact, Frame, Link, SiteFace, frame

__all__ = ["Described", "LearnedRow", "ObservatoryPage", "observatory_page"]

_MOUNT_WORDS = {"altaz": "alt-azimuth", "equatorial": "equatorial", "unknown": "not known"}
_MIRROR_WORDS = {"yes": "yes, un-mirrored here", "no": "no", "unknown": "not known"}


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
            title="Observatory",
            description=f"Sites and instruments of {face.observer}, and how to read them",
        ),
        about=_about(content, here),
        observers=tuple(_observer(observer) for observer in info.observers),
        sites=tuple(_site(place) for place in info.sites),
        instruments=tuple(_instrument(instrument) for instrument in info.instruments),
        caution=CAUTION,
        citations=_citations(days, face),
        data=Link("data files", here.to(addresses.DATA)),
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
    picture = f"The Sun on {format_day(days[-1].day)}, {format_time(latest.time_utc, day=latest.day)}"
    whole = f"{face.title}: pictures and measurements of the Sun, {span}"
    by = latest.observer or face.observer
    return (
        Fact("The archive", _cited(face, face.observer, whole, addresses.HOME)),
        Fact("A picture", _cited(face, by, f"{picture}. In: {face.title}", day_page(days[-1].day))),
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
        return Described(place.name, (Fact("Position", "in space"),))
    facts = [Fact("Position", format_position(place.latitude_deg, place.longitude_deg))]
    if place.elevation_m is not None:
        facts.append(Fact("Height above sea level", f"{number(place.elevation_m)} m"))
    return Described(place.name, tuple(facts))


def _instrument(instrument: Instrument) -> Described:
    facts = [
        Fact("Band", format_band(instrument.band)),
        Fact("Filter", instrument.filter or number(None)),
        Fact("Mount", _MOUNT_WORDS[instrument.mount]),
        Fact("Mirrored pictures", _MIRROR_WORDS[instrument.mirrored]),
        Fact("Stated camera angle", degrees(instrument.camera_angle_deg, signed=True)),
    ]
    learned = sorted(instrument.learned, key=lambda one: one.since_days)
    return Described(instrument.name, tuple(facts), tuple(map(_learned, learned)))


def _learned(one: CameraEpoch) -> LearnedRow:
    since = format_day(one.since_utc.date())
    days = f"since {since}" if one.until_utc is None else f"{since} to {format_day(one.until_utc.date())}"
    mirrored = "mirrored" if one.mirrored else "not mirrored"
    taught_by = "the first picture" if one.pictures == 1 else f"the first {plural(one.pictures, 'picture')}"
    return LearnedRow(
        days=days,
        source=f"from {taught_by}, {mirrored}",
        angle=degrees(one.angle_deg, 1, signed=True),
        scatter=degrees(one.scatter_deg if one.pictures > 1 else None, 1),
    )
