"""Pictures on their way in: received, looked at, put right, and filed by the same functions as `add`.

Each has a folder in `.northlimb-work/arrivals/` with the picture under its own name and a note beside it that holds
what the observer states. So nothing is in the archive before it is filed, and after a stop all are still there.
"""

from __future__ import annotations

import re
import secrets
import threading
from collections.abc import Callable, Iterable, Mapping
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from datetime import datetime
from typing import Any

from pydantic import Field

from archive.desk.arrival_card import (
    ARRIVALS_FOLDER,
    MOST_NOTE_BYTES,
    Arrival,
    Kept,
    note_text,
    plain_lines,
    what_is_told,
)
from archive.desk.looking import PictureWorker, told_defect
from archive.desk.plain_words import told
from archive.disk import Folder
from archive.errors import ArchiveError, FactsError
from archive.execution.progress import silent
from archive.filing.adding import AddResult, add_pictures
from archive.filing.extras import add_extras
from archive.filing.statements import AddOptions
from archive.records.capture_time import parse_time
from archive.records.checksums import file_sha256
from archive.records.record import Sidecar
from archive.records.toml_edits import with_values
from archive.records.toml_files import TomlModel, parse_toml

__all__ = ["MOST_ARRIVALS", "ArrivalForm", "Arrivals", "FileForm", "NoteForm", "clean_name"]

MOST_ARRIVALS = 500
_ID = re.compile(r"[0-9a-f]{16}")
_LONGEST_NAME = 150
_NOTE = "note.toml"


class ArrivalForm(TomlModel):
    """What the observer states of a picture that is not filed yet; null leaves it to the file."""

    time: str | None = Field(default=None, max_length=60)
    site: str | None = Field(default=None, max_length=200)
    instrument: str | None = Field(default=None, max_length=200)
    mirrored: bool | None = None
    north_angle_deg: float | None = Field(default=None, ge=-360, le=360)
    note: str | None = Field(default=None, max_length=20000)
    kept: Kept | None = None
    caption: str | None = Field(default=None, max_length=500)


class NoteForm(TomlModel):
    """A note that was dropped with the picture, as it was written."""

    text: str = Field(max_length=MOST_NOTE_BYTES)


class FileForm(TomlModel):
    """Which arrivals are to be filed."""

    ids: tuple[str, ...] = Field(min_length=1, max_length=MOST_ARRIVALS)


def clean_name(name: str) -> str:
    """Return a file's name without folders, and without signs that a system may not take."""
    last = re.split(r"[/\\]", name)[-1]
    plain = re.sub(r"[^\w .()+,@=-]", "_", last).strip(" .")[-_LONGEST_NAME:].strip(" .")
    stem, dot, ending = plain.rpartition(".")
    if ending.lower() == "toml" or not stem:
        return f"{plain or 'picture'}.picture"
    return f"{stem}{dot}{ending}"


class Arrivals:
    """All pictures on their way into one archive."""

    def __init__(self, files: Folder, worker: PictureWorker, on_change: Callable[[], None]) -> None:
        self._files, self._worker, self._on_change = files, worker, on_change
        self._lock = threading.Lock()
        self._all: dict[str, Arrival] = {}
        self._closed = False
        self._lookers = ThreadPoolExecutor(1)  # one after another, as they came
        self._look_again()

    def _look_again(self) -> None:
        """Take up what an earlier desk left; what was not received whole goes."""
        if not self._files.is_folder(ARRIVALS_FOLDER):
            return
        for name in self._files.folders(ARRIVALS_FOLDER):
            found = [
                file for file in self._files.files(f"{ARRIVALS_FOLDER}/{name}") if not file.endswith((".toml", ".part"))
            ]
            if _ID.fullmatch(name) and len(found) == 1:
                status = self._files.status(f"{ARRIVALS_FOLDER}/{name}/{found[0]}")
                if status is not None:
                    self._begin(Arrival(name, found[0], status.st_size))
                    continue
            self._files.remove_tree(f"{ARRIVALS_FOLDER}/{name}")

    def close(self) -> None:
        """Look at no more of them."""
        self._closed = True
        self._lookers.shutdown(wait=False, cancel_futures=True)

    # Receiving

    def new(self, name: str) -> tuple[str, str]:
        """Return the id of a new arrival, and the file into which its bytes are to be written.

        Raises
        ------
        FactsError
            There are very many already.
        """
        with self._lock:
            if len(self._all) >= MOST_ARRIVALS:
                raise FactsError(f"{MOST_ARRIVALS} pictures wait already; file or leave out some first")
        arrival = Arrival(secrets.token_hex(8), clean_name(name), 0)
        self._files.make_folder(arrival.folder)
        return arrival.id, f"{arrival.picture}.part"

    def received(self, identifier: str, part: str, size_bytes: int) -> dict[str, Any]:
        """Take a file that has arrived whole, and begin to look at it."""
        name = part.rpartition("/")[2].removesuffix(".part")
        self._files.sync_file(part)
        arrival = Arrival(identifier, name, size_bytes)
        self._files.rename(part, arrival.picture)
        self._files.sync(arrival.folder)
        self._begin(arrival)
        return self._view(arrival)

    def broken(self, identifier: str) -> None:
        """Forget an arrival of which the end never came."""
        with suppress(OSError):
            self._files.remove_tree(f"{ARRIVALS_FOLDER}/{identifier}")

    def _begin(self, arrival: Arrival) -> None:
        with self._lock:
            self._all[arrival.id] = arrival
        self._lookers.submit(self._look, arrival)

    def _look(self, arrival: Arrival) -> None:
        try:
            self._look_at(arrival)
        except Exception as error:
            # Nobody takes this thread's answer: the card would tell for ever that the picture is being looked at.
            if self._closed:
                return
            arrival.causes = (told_defect(error),)
            arrival.told = {"causes": arrival.causes, "remedies": []}
        arrival.state = "looked"
        self._on_change()

    def _look_at(self, arrival: Arrival) -> None:
        try:
            arrival.sha256 = file_sha256(self._files, arrival.picture)
            arrival.glance = self._worker.look(self._files.path / arrival.picture, arrival.name)
        except (ArchiveError, OSError) as error:
            arrival.causes = error.causes if isinstance(error, ArchiveError) else (f"{error.strerror}",)
        arrival.told = what_is_told(self._files, arrival)

    def prepare(self) -> None:
        """Make ready to look at pictures, which are likely to come."""
        self._worker.prepare()

    # What is known

    def view(self) -> list[dict[str, Any]]:
        """Return all arrivals as the page shows them."""
        with self._lock:
            return [self._view(arrival) for arrival in self._all.values()]

    def shown(self, identifier: str) -> bytes:
        """Return an arrival's picture as JPEG.

        Raises
        ------
        FactsError
            It was not looked at yet, or cannot be read.
        """
        glance = self._arrival(identifier).glance
        if glance is None or not glance.shown:
            raise FactsError("not a picture that can be shown")
        return glance.shown

    def _view(self, arrival: Arrival) -> dict[str, Any]:
        return {
            "id": arrival.id,
            "name": arrival.name,
            "size_bytes": arrival.size_bytes,
            "state": arrival.state,
            "kept": arrival.kept,
            "caption": arrival.caption,
            "shown": bool(arrival.glance and arrival.glance.shown),
            **arrival.told,
            **_in_words(arrival.told),
        }

    # Putting right

    def state(self, identifier: str, asked: ArrivalForm) -> dict[str, Any]:
        """Keep what the observer states of an arrival, and look again at what follows.

        Raises
        ------
        ArchiveError
            A value that cannot be; nothing was changed.
        """
        arrival = self._arrival(identifier)
        given = asked.model_fields_set - {"kept", "caption"}
        changes: dict[str, Any] = {key: getattr(asked, key) for key in given}
        if asked.time is not None:
            changes["time"] = _typed(asked.time)
        if changes:
            text = with_values(note_text(self._files, arrival), changes, Sidecar, name=arrival.name)
            self._files.write(arrival.note, text.encode("utf-8"))
        if asked.kept is not None:
            arrival.kept = asked.kept
        if "caption" in asked.model_fields_set:
            arrival.caption = asked.caption
        arrival.told = what_is_told(self._files, arrival)
        return self._view(arrival)

    def take_note(self, identifier: str, asked: NoteForm) -> dict[str, Any]:
        """Take the note that lay beside a picture.

        Raises
        ------
        SettingsError
            It has mistakes.
        """
        arrival = self._arrival(identifier)
        parse_toml(asked.text, Sidecar, name=_NOTE)
        self._files.write(arrival.note, asked.text.encode("utf-8"))
        arrival.told = what_is_told(self._files, arrival)
        return self._view(arrival)

    def leave_out(self, identifier: str) -> None:
        """Forget an arrival; its source is where it was."""
        arrival = self._arrival(identifier)
        with self._lock:
            self._all.pop(arrival.id, None)
        self._files.remove_tree(arrival.folder)

    # Filing

    def file(self, asked: FileForm) -> list[dict[str, Any]]:
        """File arrivals, all that can be; one that is refused keeps no other out.

        Returns
        -------
        list of dict
            Of each its id here, what became of it, and the observation's id.
        """
        chosen = [self._arrival(identifier) for identifier in asked.ids]
        results = []
        for kept in ("measured", "unmeasured"):
            some = [arrival for arrival in chosen if arrival.kept == kept]
            if some:
                options = AddOptions(unmeasured=kept == "unmeasured")
                paths = [self._files.path / arrival.picture for arrival in some]
                results += self._done(some, add_pictures(self._files, paths, options, on_progress=silent))
        for arrival in chosen:
            if arrival.kept == "extra":
                path = self._files.path / arrival.picture
                done = add_extras(self._files, [path], AddOptions(), arrival.caption, on_progress=silent)
                results += self._done([arrival], done)
        self._on_change()
        return results

    def _done(self, some: list[Arrival], done: Iterable[AddResult]) -> list[dict[str, Any]]:
        by_path = {str(self._files.path / arrival.picture): arrival for arrival in some}
        found = []
        for result in done:
            arrival = by_path[result.picture]
            causes = plain_lines(result.causes, arrival)
            if result.status in ("added", "known"):
                self.leave_out(arrival.id)
            else:
                arrival.told = {**arrival.told, "causes": causes}
            warnings = plain_lines(result.warnings, arrival)
            found.append(
                {
                    "arrival": arrival.id, "name": arrival.name, "status": result.status, "id": result.id,
                    "causes": list(map(told, causes)), "warnings": list(map(told, warnings)),
                }
            )  # fmt: skip
        return found

    def _arrival(self, identifier: str) -> Arrival:
        with self._lock:
            found = self._all.get(identifier)
        if found is None:
            raise FactsError("no such picture among those that wait; look again")
        return found


def _in_words(known: Mapping[str, Any]) -> dict[str, Any]:
    """Return what a card says in the language that is spoken; it was looked at in English."""
    lines = {key: list(map(told, known[key])) for key in ("causes", "doubts") if key in known}
    source = known.get("time_from")
    return lines if source is None else {**lines, "time_from": told(source)}


def _typed(text: str) -> datetime:
    return parse_time(text, name="time").replace(microsecond=0)
