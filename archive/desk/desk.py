"""One archive at the desk: what its pages ask for and what they change, whichever way they ask."""

from __future__ import annotations

import threading
from collections.abc import Collection, Iterable, Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Any, Literal

from pydantic import Field

from archive.desk.answers import plain_causes
from archive.desk.arrivals import Arrivals, FileForm
from archive.desk.corrections import Correction, changes_of
from archive.desk.film_queue import FilmQueue
from archive.desk.job_queue import JobQueue
from archive.desk.picture_view import neighbour_of, picture_view
from archive.desk.plain_words import told
from archive.desk.publish_queue import PublishQueue
from archive.desk.site import SiteKeeper
from archive.desk.typed_numbers import with_typed_numbers
from archive.desk.workbench import Looked, Workbench
from archive.disc.derotation import ViewGeometry
from archive.disk import Folder
from archive.errors import FactsError
from archive.execution.progress import silent
from archive.filing.remarks import altitude_remarks
from archive.language import kept_title
from archive.model.observation import Observation
from archive.model.times import days_since_1970
from archive.records.capture_time import parse_time
from archive.records.history import read_history, text_digest
from archive.records.notes import read_notes
from archive.records.places import Place, day_folders, notes_file, place_of_id, places
from archive.records.record import CAPTURE_FACTS, Record, read_record
from archive.records.removed import records_in, removed_folders
from archive.records.settings import SETTINGS_NAME, Settings, read_settings
from archive.records.toml_files import TomlModel, load_toml
from archive.stages.archive import opened_archive
from archive.stages.comparison_picture import derotated_picture
from archive.stages.discs import turned_of
from archive.stages.north_up_disc import north_up_disc
from archive.stages.originals import whole_original
from archive.stages.studies import studied_pictures
from archive.upkeep.editing import (
    SETTINGS_SUBJECT,
    amend_with_history,
    edit_notes,
    edit_record,
    edit_settings,
    notes_subject,
    read_text,
    record_subject,
    redo,
    undo,
)
from archive.upkeep.removal import put_back, remove
from archive.website.notes import notes_html

__all__ = [
    "SETTINGS_KEYS",
    "Desk",
    "FactsForm",
    "NotesForm",
    "SettingsForm",
    "StepForm",
    "TextForm",
    "TimeForm",
    "words_of_keys",
]

_MOST_REMOVED_TOLD = 50
# Targets and films have pages of their own; where the site is sent is not changed in passing.
SETTINGS_KEYS = frozenset(
    {
        "title", "observer", "time_zone", "days", "times", "language", "address", "looks", "fits", "relative_number_k",
        "published_site_precision_deg", "sites", "instruments", "observers", "factors", "licence", "contact",
        "smoothed_number",
    }
)  # fmt: skip


class FactsForm(TomlModel):
    """Facts of the capture; what is left out stays, null is taken out of the record."""

    made_from: str
    facts: dict[str, Any] = Field(max_length=40)


class NotesForm(TomlModel):
    """A day's notes, and the digest of those that they were made from."""

    made_from: str
    text: str


class SettingsForm(TomlModel):
    """Keys of `archive.toml` with their new values; null takes one out."""

    made_from: str
    changes: dict[str, Any] = Field(max_length=20)


class TextForm(TomlModel):
    """Notes that are only shown."""

    text: str


class TimeForm(TomlModel):
    """Another time for an observation."""

    made_from: str
    time: str


class StepForm(TomlModel):
    """Which way to step through the changes of a picture's record or of a day's notes."""

    of: Literal["record", "notes"] = "record"


class Desk:
    """Works on one archive by the functions that the commands call; one change at a time."""

    def __init__(
        self,
        files: Folder,
        site: SiteKeeper,
        arrivals: Arrivals,
        films: FilmQueue,
        publishing: PublishQueue,
        upkeep: JobQueue,
    ) -> None:
        self.files, self.site, self.arrivals = files, site, arrivals
        self.films, self.publishing, self.upkeep = films, publishing, upkeep
        self._bench = Workbench(files)
        self._hand = threading.Lock()

    @property
    def roots(self) -> list[Path]:
        """Paths that no answer may hold."""
        return [self.files.path, self.files.path.resolve()]

    @contextmanager
    def changing(self) -> Iterator[None]:
        """One change of the archive, out of whose way all goes that runs long."""
        queues = (self.films.jobs, self.publishing.jobs, self.upkeep)
        with self._hand, ExitStack() as stack:
            for aside in (*queues, self.site):
                stack.enter_context(aside.standing_aside())
            yield

    def news(self) -> dict[str, Any]:
        """Return what the open pages hear of: what becomes of the site, and how far the arrivals are looked at."""
        site = self.site.state
        looked = [one["id"] for one in self.arrivals.view() if one["state"] == "looked"]
        causes = plain_causes(site.causes, self.roots)
        warnings = plain_causes(site.warnings, self.roots)
        return {
            "site": {"state": site.state, "causes": causes, "warnings": warnings},
            "looked": looked,
            "films": [
                {**film, "words": kept_title(film["words"]), "causes": plain_causes(film["causes"], self.roots)}
                for film in self.films.jobs.view()
            ],
            "publishing": self.publishing.jobs.view(),
            "upkeep": [{**job, "causes": plain_causes(job["causes"], self.roots)} for job in self.upkeep.view()],
        }

    # The archive

    def archive_view(self) -> dict[str, Any]:
        """Return the archive's title and all observations' names, day by day, latest first."""
        settings = read_settings(self.files)
        days: dict[str, list[str]] = {}
        there = places(self.files)
        for place in there:
            days.setdefault(place.day, []).append(place.id)
        return {
            "title": settings.title,
            "observer": settings.observer,
            "days": [{"day": day, "ids": ids} for day, ids in sorted(days.items(), reverse=True)],
            "removed": self._removed({place.id for place in there}),
        }

    def _removed(self, there: Collection[str]) -> list[str]:
        """Return the observations that were taken out and whose place is free, latest first."""
        found: dict[str, None] = {}
        for folder in removed_folders(self.files, "removed")[:_MOST_REMOVED_TOLD]:
            for file in records_in(self.files, folder):
                stem = file.rpartition("/")[2].removesuffix(".toml")
                found[f"{file.split('/')[-2]}T{stem}"] = None
        return [name for name in found if name not in there]

    def remove(self, identifier: str) -> dict[str, Any]:
        """Take an observation out."""
        with self.changing():
            return {"removed": remove(self.files, place_of_id(identifier).id, on_progress=silent).id}

    def put_back(self, identifier: str) -> dict[str, Any]:
        """Put an observation back."""
        with self.changing():
            return {"id": put_back(self.files, place_of_id(identifier).id, on_progress=silent).id}

    def arrivals_view(self) -> dict[str, Any]:
        """Return the pictures on their way in, and the names that they may be given."""
        self.arrivals.prepare()
        settings = read_settings(self.files)
        return {
            "arrivals": self.arrivals.view(),
            "sites": [site.name for site in settings.sites],
            "instruments": [instrument.name for instrument in settings.instruments],
            "time_zone": settings.time_zone,
        }

    def file_arrivals(self, asked: FileForm) -> dict[str, Any]:
        """File pictures, and return what became of each."""
        with self.changing():
            filed = self.arrivals.file(asked)
        return {"filed": filed, **self.arrivals_view()}

    # A picture

    def picture(self, identifier: str) -> dict[str, Any]:
        """Return all that the page of a picture shows."""
        return self._view(self._bench.look(identifier))

    def _view(self, looked: Looked) -> dict[str, Any]:
        earlier, later = self._beside(looked.place)
        return {**picture_view(self.files, looked), "earlier": earlier, "later": later}

    def _beside(self, place: Place) -> tuple[str | None, str | None]:
        """Return the observations before and after one; of ten years' folders only those are listed that may be it."""
        folders = [folder[5:] for folder in day_folders(self.files)]
        own = [one.id for one in places(self.files, {place.day})]
        at, day = own.index(place.id), folders.index(place.day)
        before = own[at - 1] if at else self._first_in(reversed(folders[:day]), last=True)
        after = own[at + 1] if at + 1 < len(own) else self._first_in(folders[day + 1 :], last=False)
        return before, after

    def _first_in(self, days: Iterable[str], *, last: bool) -> str | None:
        for day in days:
            if there := places(self.files, {day}):
                return there[-1 if last else 0].id
        return None

    def picture_image(self, identifier: str) -> bytes:
        """Return a picture as it came."""
        record = self._record(identifier)
        with opened_archive(self.files.path) as archive:
            (study,) = studied_pictures(archive, [record.picture])
            return archive.store.read_blob(study.as_it_came)

    def neighbour_image(self, identifier: str) -> bytes:
        """Return the disc of the picture before, north up, derotated to the moment of this one.

        Raises
        ------
        FactsError
            There is none near.
        """
        looked = self._bench.look(identifier)
        other = neighbour_of(looked)
        if other is None:
            raise FactsError("no picture of the days about it whose north is known")
        original = whole_original(self.files, other.picture)
        disc = north_up_disc(original, other.id, turned_of(other))
        return derotated_picture(disc, _view_geometry(other), _view_geometry(looked.one))

    def correct(self, identifier: str, asked: Correction) -> dict[str, Any]:
        """Do what a gesture asks for, and return the picture as it is then."""
        with self.changing():
            changes, words = changes_of(self._bench.look(identifier), asked)
            edit_record(self.files, identifier, changes, made_from=asked.made_from, words=words, on_progress=silent)
        return self.picture(identifier)

    def change_facts(self, identifier: str, asked: FactsForm) -> dict[str, Any]:
        """Change facts of the capture."""
        allowed = {*CAPTURE_FACTS, "site", "instrument", "band"}
        if unknown := sorted(asked.facts.keys() - allowed):
            raise FactsError(f"{unknown[0][:40]}: no fact of a capture")
        words = words_of_keys(asked.facts)
        facts = with_typed_numbers(Record, asked.facts)
        with self.changing():
            edit_record(self.files, identifier, facts, made_from=asked.made_from, words=words, on_progress=silent)
        return self.picture(identifier)

    def change_time(self, identifier: str, asked: TimeForm) -> dict[str, Any]:
        """Give an observation another time; its files are named for the minute, so its id may change."""
        time = parse_time(asked.time, name="time")
        with self.changing():
            done = amend_with_history(self.files, identifier, time, made_from=asked.made_from, on_progress=silent)
        remarks = altitude_remarks(self.files, [done.id])
        warnings = [told(line) for line in (*done.warnings, *remarks)]
        return {**self.picture(done.id), "warnings": warnings}

    def step(self, identifier: str, asked: StepForm, *, forward: bool) -> dict[str, Any]:
        """Undo the last change of a picture's record or of its day's notes, or do it again."""
        record = self._record(identifier)
        day = place_of_id(identifier).day
        subject = record_subject(record) if asked.of == "record" else notes_subject(day)
        with self.changing():
            done = (redo if forward else undo)(self.files, subject, on_progress=silent)
        if asked.of == "notes":
            return self.notes(day)
        return {**self.picture(done.id or identifier), "stepped": told(done.words)}

    # Settings

    def settings(self) -> dict[str, Any]:
        """Return `archive.toml` as it is written, by its keys."""
        text = read_text(self.files, SETTINGS_NAME) or ""
        written = load_toml(self.files, SETTINGS_NAME)
        undone, redone = read_history(self.files, SETTINGS_SUBJECT).offered(text)
        return {
            "made_from": text_digest(text),
            "values": {key: value for key, value in written.items() if key in SETTINGS_KEYS},
            "undo": None if undone is None else told(undone),
            "redo": None if redone is None else told(redone),
        }

    def change_settings(self, asked: SettingsForm) -> dict[str, Any]:
        """Change keys of `archive.toml`."""
        if unknown := sorted(asked.changes.keys() - SETTINGS_KEYS):
            raise FactsError(f"{unknown[0][:40]}: not to be set here")
        words = words_of_keys(asked.changes)
        changes = with_typed_numbers(Settings, asked.changes)
        with self.changing():
            edit_settings(self.files, changes, made_from=asked.made_from, words=words, on_progress=silent)
        return self.settings()

    def step_settings(self, *, forward: bool) -> dict[str, Any]:
        """Undo the last change of the settings, or do it again."""
        with self.changing():
            (redo if forward else undo)(self.files, SETTINGS_SUBJECT, on_progress=silent)
        return self.settings()

    def _record(self, identifier: str) -> Record:
        file = place_of_id(identifier).file(".toml")
        if not self.files.is_file(file):
            raise FactsError(f"{identifier}: no such observation")
        return read_record(self.files, file)

    # Notes

    def notes(self, day: str) -> dict[str, Any]:
        """Return a day's notes, as text and as the site will show them."""
        text = read_text(self.files, notes_file(day))
        undone, redone = read_history(self.files, notes_subject(day)).offered(text)
        return {
            "text": text or "",
            "made_from": text_digest(text),
            "html": notes_html(read_notes(self.files, day)),
            "undo": undone,
            "redo": redone,
        }

    def change_notes(self, day: str, asked: NotesForm) -> dict[str, Any]:
        """Write a day's notes."""
        with self.changing():
            edit_notes(self.files, day, asked.text, made_from=asked.made_from, words="notes", on_progress=silent)
        return self.notes(day)


def words_of_keys(keys: Iterable[str]) -> str:
    """Return words for a change of keys, in English: without their units."""
    return ", ".join(key.removesuffix("_deg").removesuffix("_s").replace("_", " ") for key in keys)


def _view_geometry(one: Observation) -> ViewGeometry:
    return ViewGeometry(days_since_1970(one.time_utc), one.sun.b0_deg, one.sun.l0_deg)
