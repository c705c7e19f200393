"""The observatory: where and with what the pictures are made, how they lie, and the caution."""

from __future__ import annotations

from dataclasses import dataclass

from archive.safety import CAUTION
from archive.website import addresses
from archive.website.addresses import Here
from archive.website.content import InstrumentInfo, SiteInfo, SitePlace
from archive.website.observation_view import band_words
from archive.website.pages import Fact, Frame, SiteFace, frame
from archive.website.wording import degrees, number, place_words

__all__ = ["Described", "ObservatoryPage", "observatory_page"]

_MOUNT_WORDS = {"altaz": "alt-azimuth", "equatorial": "equatorial", "unknown": "not known"}
_MIRROR_WORDS = {"yes": "yes, turned back here", "no": "no", "unknown": "not known"}


@dataclass(frozen=True)
class Described:
    """A site or an instrument with its facts."""

    name: str
    facts: tuple[Fact, ...]


@dataclass(frozen=True)
class ObservatoryPage:
    """Sites, instruments, and the caution."""

    frame: Frame
    sites: tuple[Described, ...]
    instruments: tuple[Described, ...]
    caution: str


def observatory_page(info: SiteInfo, face: SiteFace) -> ObservatoryPage:
    """Gather the page on the observatory."""
    here = Here(addresses.OBSERVATORY)
    return ObservatoryPage(
        frame=frame(
            face,
            here,
            title="Observatory",
            description=f"Sites and instruments of {face.observer}, and how to read them",
        ),
        sites=tuple(_site(place) for place in info.sites),
        instruments=tuple(_instrument(instrument) for instrument in info.instruments),
        caution=CAUTION,
    )


def _site(place: SitePlace) -> Described:
    facts = [Fact("Position", place_words(place.latitude_deg, place.longitude_deg))]
    if place.elevation_m is not None:
        facts.append(Fact("Height above sea level", f"{number(place.elevation_m)} m"))
    return Described(place.name, tuple(facts))


def _instrument(instrument: InstrumentInfo) -> Described:
    facts = [
        Fact("Band", band_words(instrument.band)),
        Fact("Filter", instrument.filter or number(None)),
        Fact("Mount", _MOUNT_WORDS[instrument.mount]),
        Fact("Mirrored pictures", _MIRROR_WORDS[instrument.mirrored]),
        Fact("Camera angle", degrees(instrument.camera_angle_deg, signed=True)),
    ]
    return Described(instrument.name, tuple(facts))
