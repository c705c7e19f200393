"""Content of the site, from the results of the stages."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from archive.model.observation import Observation
from archive.model.observatory import CameraEpoch, Instrument, Observer, Site
from archive.records.settings import Settings
from archive.stages.capture import advice_lines, advice_on
from archive.stages.evidence import is_up, night_remark
from archive.stages.overlay import overlay
from archive.stages.pictures import DerivedPictures
from archive.store import StoredBlob
from archive.website.content import Entry, SiteInfo

__all__ = ["entry_of", "site_info"]


def entry_of(
    settings: Settings,
    one: Observation,
    pictures: DerivedPictures,
    offered: Mapping[str, StoredBlob],
    *,
    covered: float | None = None,
) -> Entry:
    """Return an observation as the site shows it; `offered` are the discs that it offers as FITS, by id, `covered` is
    the share of its disc behind the Moon."""
    fits = offered.get(one.id)
    return Entry(
        one,
        replace(pictures.published, fits=None if fits is None else fits.blob),
        warnings=_warnings(one),
        advice=advice_lines(advice_on(one, settings)),
        overlay=overlay(one),
        covered=covered,
    )


def _warnings(one: Observation) -> tuple[str, ...]:
    """Return what is wrong with a picture; the page itself shows disputes about north."""
    night = () if is_up(one.sun) else (f"{night_remark(one.sun)}: time or site is wrong",)
    return tuple(map(_sentence, (*night, *one.remarks)))


def _sentence(remark: str) -> str:
    """Return a remark of the commands as the pages write: with degree signs, and an end."""
    end = "" if remark.endswith("?") else "."
    return f"{remark[0].upper()}{remark[1:]}{end}".replace(" deg", "°")


def site_info(settings: Settings, epochs: Mapping[str, Sequence[CameraEpoch]]) -> SiteInfo:
    """Return who observes, where and with what, as it may be published."""
    return SiteInfo(
        title=settings.title,
        observer=settings.observer,
        language=settings.language,
        zone=settings.time_zone if settings.times == "local" else "",
        address=settings.address,
        sites=tuple(
            Site(site.name, *settings.published_place(site), has_horizon=site.has_horizon) for site in settings.sites
        ),
        instruments=tuple(
            Instrument(**instrument.model_dump(), learned=tuple(epochs.get(instrument.name, ())))
            for instrument in settings.instruments
        ),
        days=settings.days,
        licence=settings.licence,
        contact=settings.contact,
        observers=tuple(Observer(**observer.model_dump()) for observer in settings.observers),
    )
