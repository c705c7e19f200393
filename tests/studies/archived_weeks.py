"""Weeks of spot lists solved as an archive solves them: week by week of the calendar, by one instrument."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

from studies.weeks import SITE, ZERO, Week

from archive.disk import Folder
from archive.model.measured import Measured, Spots
from archive.model.observation import Disc
from archive.orientation.spots import SpotSolution, SpottedPicture
from archive.records.record import PictureEntry, Record
from archive.records.settings import InstrumentSettings
from archive.stages.candidates import Candidate
from archive.stages.solving import solve_instruments
from archive.store import Store
from archive.sun.view import sun_view

__all__ = ["candidate_of", "solved_in_archive"]

FILE = "2026/2026-01-05/1100Z.png"  # nobody will ask for it


def candidate_of(
    name: str, picture: SpottedPicture, instrument: InstrumentSettings, *, north_deg: float | None = None
) -> Candidate:
    """Return a picture of these spots as the stages know it; `north_deg` is stated of one that is not mirrored."""
    record = Record(
        time=ZERO + timedelta(days=picture.time_days),
        site="Quay",
        instrument=instrument.name,
        north_angle_deg=north_deg,
        mirrored=None if north_deg is None else "no",
        picture=PictureEntry(file=FILE, sha256="0" * 64),
    )
    columns = (tuple(column.tolist()) for column in (picture.right, picture.up, picture.area_msh))
    disc = Disc(*picture.centre_px, picture.radius_px, 0.0, 0.1)
    sun = replace(sun_view(record.time, **SITE), b0_deg=picture.b0_deg, l0_deg=picture.l0_deg)
    return Candidate(name, record, instrument, Measured(1000, 1000, 8, disc, None, Spots(*columns)), sun, up=True)


def solved_in_archive(weeks: Sequence[Week], folder: Path) -> list[list[SpotSolution | None]]:
    """Return the reading of each picture of each week, in order of time; mount and mirroring are unknown."""
    instrument = InstrumentSettings(name="Any", mount="unknown")
    named = [
        [candidate_of(f"{number}-{at}", picture, instrument) for at, picture in enumerate(week.pictures)]
        for number, week in enumerate(weeks)
    ]
    with Store(Folder(folder).below(".northlimb")) as store:
        evidence = solve_instruments(store, [one for week in named for one in week]).evidence
    return [[evidence[one.id].reading for one in week] for week in named]
