"""The pictures that notes and the observatory's own page show: found beside the text and made smaller once.

What of them is not shown is told.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from urllib.parse import unquote

from archive.errors import PictureError
from archive.reading.contents import content_of
from archive.records.places import ABOUT_NAME, is_further_picture, notes_file
from archive.stages.archive import Archive
from archive.stages.shown_file import ShownFile, shown_file
from archive.website.content import PlainPicture
from archive.website.notes import pictures_in_notes

__all__ = ["NotePictures", "note_pictures"]

_SCHEME = re.compile(r"[A-Za-z][A-Za-z0-9+.-]*:|//")
_MOST_NAMED = 5


@dataclass
class NotePictures:
    """For each folder of a day, such as ``2026-06-03``, its pictures by their addresses in the notes; and problems.

    An empty name stands for the archive's own folder, where the text is `about.md`.
    """

    shown: dict[str, dict[str, PlainPicture]] = field(default_factory=dict)
    problems: list[str] = field(default_factory=list)


def note_pictures(archive: Archive, notes: Mapping[str, str], days: Collection[str]) -> NotePictures:
    """Return the pictures of notes; one that is kept is not opened, and nothing outside their own folder ever is.

    Parameters
    ----------
    archive : Archive
    notes : mapping
        Markdown by the folder of a day, such as ``2026-06-03``, or by an empty name the observatory's own page.
    days : collection of str
        The folders whose notes a page shows.
    """
    found = NotePictures()
    addresses = {day: pictures_in_notes(text) for day, text in notes.items()}
    files = {day: _files_of(archive, day, asked, found.problems) for day, asked in addresses.items() if asked}
    made = _made(archive, sorted({file for of_day in files.values() for file in of_day.values()}))
    for day, of_day in files.items():
        found.shown[day] = {src: one for src, file in of_day.items() if isinstance(one := made[file], PlainPicture)}
    found.problems += [cause for one in made.values() if isinstance(one, PictureError) for cause in one.causes]
    spoken_of = {file for of_day in files.values() for file in of_day.values()}
    found.problems += _not_shown(archive, spoken_of, days)
    archive.store.forget(shown_file, keep=made)
    return found


def _files_of(archive: Archive, day: str, addresses: Sequence[str], problems: list[str]) -> dict[str, str]:
    """Return the files that a day's notes show, by their addresses there; a line for each kind that is none."""
    files: dict[str, str] = {}
    elsewhere, missing = [], []
    for address in addresses:
        name = unquote(address).removeprefix("./")
        if _SCHEME.match(address) or set(name) & set("/\\"):
            elsewhere.append(address[:80])
            continue
        file = f"{day[:4]}/{day}/{name}" if day else name
        if file in archive.stamps and archive.files.is_file(file):
            files[address] = file
        else:
            missing.append(name[:80])
    told = archive.files.path / (notes_file(day) if day else ABOUT_NAME)
    if elsewhere:
        problems.append(
            f"{told}: not shown, because only pictures beside {'the notes' if day else 'it'} are: "
            f"{_named(elsewhere)}; put a copy there"
        )
    if missing:
        problems.append(f"{told}: shows what is not beside it: {_named(missing)}; put it there, or correct the name")
    return files


def _named(names: Sequence[str]) -> str:
    more = f" and {len(names) - _MOST_NAMED} more" if len(names) > _MOST_NAMED else ""
    return ", ".join(repr(name)[1:-1] for name in names[:_MOST_NAMED]) + more


def _made(archive: Archive, files: Sequence[str]) -> dict[str, PlainPicture | PictureError]:
    """Return each file as it is shown, kept under its stamp, so that a file that is as it was is not read."""
    made: dict[str, PlainPicture | PictureError] = {}
    for file in files:
        kept = archive.store.get(shown_file, file, archive.stamps[file], PlainPicture)
        if kept is not None:
            made[file] = kept
    wanted = [file for file in files if file not in made]
    contents = ((_content(archive, file), str(archive.files.path / file)) for file in wanted)
    for file, shown in zip(wanted, archive.executor.map(shown_file, contents), strict=True):
        made[file] = _kept(archive, file, shown) if isinstance(shown, ShownFile) else shown
    return made


def _content(archive: Archive, file: str) -> object:
    with archive.files.open(file) as stream:
        return content_of(stream)


def _kept(archive: Archive, file: str, shown: ShownFile) -> PlainPicture:
    one = PlainPicture(archive.store.add_blob(shown.jpeg), shown.width_px, shown.height_px)
    archive.store.put(shown_file, file, archive.stamps[file], one, blobs=[one.picture])
    return one


def _not_shown(archive: Archive, spoken_of: set[str], days: Collection[str]) -> Iterator[str]:
    """Yield a line for each further picture in the folders of days that no page shows."""
    for file in sorted(archive.stamps):
        if is_further_picture(file) and file not in spoken_of:
            _, day, name = file.split("/")
            yield f"{file}: is not shown: " + (
                f"it has no record, and notes.md beside it does not speak of it; write ![what it shows]({name}) there"
                if day in days
                else "nothing else of that day is filed, so the day has no page"
            )
