"""What the card of a new picture tells: what would be filed of it, or why it would be refused and what helps."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any, Literal

from archive.desk.looking import Glance
from archive.desk.plain_words import without_command_words
from archive.disk import Folder
from archive.errors import ArchiveError, NoTimeError, PictureError, UnmeasurableError
from archive.execution.executor import IN_THIS_PROCESS
from archive.filing.remarks import copy_remarks, guesses, remarks, time_remarks
from archive.filing.statements import AddOptions, StatedFacts, record_of, stated_facts
from archive.model.observation import Observation
from archive.records.archive_files import WORK_NAME
from archive.records.checksums import read_checksums
from archive.records.places import Place, free_place
from archive.records.record import PictureEntry, Sidecar
from archive.records.settings import Settings, read_settings
from archive.records.toml_files import parse_toml
from archive.stages.archive import opened_archive
from archive.stages.inspection import (
    ArchivedPicture,
    MeasuredPicture,
    local_day_of,
    measured_pictures,
    near_days,
    observations,
    observer_in,
    solve,
)
from archive.sun.view import sun_view

__all__ = ["ARRIVALS_FOLDER", "MOST_NOTE_BYTES", "Arrival", "Kept", "note_text", "plain_lines", "what_is_told"]

ARRIVALS_FOLDER = f"{WORK_NAME}/arrivals"
MOST_NOTE_BYTES = 1_000_000

Kept = Literal["measured", "unmeasured", "extra"]


@dataclass
class Arrival:
    """A picture that arrived: its name and size, how it is to be kept, and what a look at it told."""

    id: str
    name: str
    size_bytes: int
    kept: Kept = "measured"
    caption: str | None = None
    state: Literal["looking", "looked", "filing"] = "looking"
    sha256: str = ""
    glance: Glance | None = None
    causes: tuple[str, ...] = ()
    told: dict[str, Any] = field(default_factory=dict)

    @property
    def folder(self) -> str:
        return f"{ARRIVALS_FOLDER}/{self.id}"

    @property
    def picture(self) -> str:
        return f"{self.folder}/{self.name}"

    @property
    def note(self) -> str:
        return f"{self.picture.rpartition('.')[0] if '.' in self.name else self.picture}.toml"


def what_is_told(files: Folder, arrival: Arrival) -> dict[str, Any]:
    """Return what would be filed of an arrival, or why it would be refused and what helps."""
    told: dict[str, Any] = {"causes": arrival.causes, "remedies": [], "doubts": [], "known_as": None}
    filed = {sha256: file for file, sha256 in read_checksums(files).items()}.get(arrival.sha256)
    if filed is not None and files.is_file(filed):
        told["known_as"] = filed
    elif arrival.glance is not None:
        told |= _limb_of(arrival.glance)
        try:
            told |= _found(files, arrival, arrival.glance)
        except NoTimeError as error:
            told |= {"causes": plain_lines(error.causes, arrival), "remedies": ["time"]}
        except PictureError as error:
            whole = ["unmeasured"] if isinstance(error, UnmeasurableError) else []
            told |= {"causes": plain_lines(error.causes, arrival), "remedies": [*whole, "extra"]}
        except ArchiveError as error:
            told |= {"causes": plain_lines(error.causes, arrival), "remedies": ["facts"]}
    return told


def _found(files: Folder, arrival: Arrival, glance: Glance) -> dict[str, Any]:
    settings = read_settings(files)
    sidecar = _sidecar(files, arrival)
    options = AddOptions(unmeasured=arrival.kept == "unmeasured")
    study = glance.study
    if arrival.kept == "measured":
        _ = study.measured
    stated = stated_facts(settings, options, sidecar, study.facts, name=arrival.name)
    told = {
        "time_utc": stated.when.middle_utc,
        "time_from": stated.when.source,
        "time_read_as": stated.when.read_as,
        "site": stated.site.name,
        "instrument": stated.instrument.name,
        "doubts": plain_lines(stated.doubts, arrival),
        "causes": (),
    }
    if arrival.kept != "measured":
        return told
    place = free_place(files, stated.when.middle_utc)
    near = _oriented(files, arrival, settings, stated, place)
    one = next(one for one in near if one.id == place.id)
    # All that `add` tells of a picture once it is filed.
    doubts = [
        *stated.doubts,
        *guesses(arrival.name, place, stated),
        *remarks(arrival.name, place, one),
        *copy_remarks(arrival.name, one, near),
        *time_remarks(arrival.name, place, one),
    ]
    return {**told, "orientation": one.orientation, "doubts": plain_lines(doubts, arrival)}


def _oriented(
    files: Folder, arrival: Arrival, settings: Settings, stated: StatedFacts, place: Place
) -> list[Observation]:
    """Weigh the evidence for north as if the picture were filed already; returns those of the days about it, too."""
    assert arrival.glance is not None
    entry = PictureEntry(file=place.file(arrival.glance.study.suffix), sha256=arrival.sha256)
    filed = ArchivedPicture(place, record_of(stated, entry))
    latitude_deg, longitude_deg = settings.published_place(stated.site)
    sun = sun_view(stated.when.middle_utc, latitude_deg=latitude_deg, longitude_deg=longitude_deg)
    new = MeasuredPicture(
        filed, stated.site, stated.instrument, arrival.glance.study.measured, sun,
        local_day_of(settings, filed, stated.site), observer_in(settings, filed),
    )  # fmt: skip
    with opened_archive(files.path, executor=IN_THIS_PROCESS) as archive:
        known = [*measured_pictures(archive, near_days(archive, {place.day})), new]
        known.sort(key=lambda one: (one.filed.record.time, one.filed.place.id))
        solved = solve(archive, known, asked={place.id})
    return observations(known, solved)


def _sidecar(files: Folder, arrival: Arrival) -> Sidecar:
    text = note_text(files, arrival)
    return parse_toml(text, Sidecar, name=arrival.name) if text else Sidecar()


def note_text(files: Folder, arrival: Arrival) -> str:
    """Return the note beside an arrival; empty where there is none."""
    if not files.is_file(arrival.note):
        return ""
    return files.read(arrival.note, most_bytes=MOST_NOTE_BYTES).decode("utf-8", "replace")


def _limb_of(glance: Glance) -> dict[str, Any]:
    """Return the limb, which is known whatever else is missing."""
    measured = glance.study.limb
    if isinstance(measured, PictureError):
        return {}
    picture = {"width_px": measured.width_px, "height_px": measured.height_px}
    return {"picture": picture, "disc": measured.disc}


def plain_lines(causes: Iterable[str], arrival: Arrival) -> tuple[str, ...]:
    """Return causes, in English, without the name, which the card bears, and without words of the command line."""
    plain = (cause.rpartition(f"{arrival.name}: ")[2] for cause in causes)
    return tuple(without_command_words(cause) for cause in plain)
