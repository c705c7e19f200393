"""The site's folder: write what changed, remove what is no longer made, touch nothing else.

`files.json` at the root lists every other file of the site with its size and sha256. It is the mark by which a
folder is known as ours. A new site is made beside its place and renamed, so that it is there whole or not at all. One
that is there is brought up to date in place, for others may serve it, or keep files in it, meanwhile: all that changes
is first written to a folder of its own. Then the list names old and new files (and says `unfinished`), and pictures and
data, new pages, changed pages and the home page take their places in turn; last come the removals and the list of what
is there now. So a page never shows what is not there yet, a site stays as it was where anything fails before, and
whatever an interrupted run leaves is listed, and the next run puts it right.

That list may come from anybody. What is believed without reading it again, and what may be removed, stands in a record
of this computer's own (`SiteRecord`), outside the site.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from stat import S_ISREG

import msgspec

from archive.built import SiteReport
from archive.disk import Folder, is_safe_name, make_named_folder, stamp_of, sync_disk
from archive.errors import FolderError, clear_refusal
from archive.store import DamagedBlobError, StoredBlob
from archive.website.site_record import (
    NO_RECORD,
    Held,
    RecordContent,
    SiteRecord,
    Written,
    held_bytes,
    held_file,
)

__all__ = ["MANIFEST", "Held", "SiteFile", "held_bytes", "write_site"]

MANIFEST = "files.json"
_GENERATOR = "Northlimb"
_VERSION = 1
_HOME = "index.html"
_ASIDE = ".northlimb-part"
_PARTS = ".northlimb-parts"
_FOLDERS_HELD = 64


@dataclass(frozen=True, slots=True)
class _ToWrite:
    """What is to be written: bytes, or a blob."""

    data: bytes | StoredBlob


class _Row(msgspec.Struct, frozen=True, gc=False):
    path: str
    sha256: str
    bytes: int


class _Manifest(msgspec.Struct, frozen=True):
    generator: str
    version: int
    files: list[_Row]
    unfinished: bool = False


@dataclass(frozen=True)
class _Listed:
    """What the list of files names; it is `settled` where it says that nothing is under way."""

    files: Mapping[str, Held]
    settled: bool


@dataclass(frozen=True, slots=True)
class SiteFile:
    """A file to be published: where it goes, and its bytes, the blob that it shares, or what makes its bytes.

    Where it is known what it will hold, its bytes are made only if they are not there yet.
    """

    path: str
    source: bytes | StoredBlob | Callable[[], bytes]
    held: Held | None = None


def write_site(
    files: Iterable[SiteFile],
    site_dir: Path,
    *,
    place: Folder | None = None,
    record: SiteRecord = NO_RECORD,
    replaceable: Collection[str] = (),
) -> SiteReport:
    """Bring a folder to hold exactly these files, besides any that are not ours.

    Parameters
    ----------
    files : iterable of SiteFile
        Every file of the site but the manifest; each path once. They are taken one after the other.
    site_dir : Path
        Made if missing. Must be empty or hold our manifest.
    place : Folder, optional
        The folder in which it lies, by which links are judged where it is part of an archive.
    record : SiteRecord
        What this computer knows to have written there; brought up to date.
    replaceable : collection of str
        Paths at which a file of the observer's own is kept, even where it has taken the place of one of ours.

    Returns
    -------
    SiteReport

    Raises
    ------
    FolderError
        Where the folder, or a file in it that would be overwritten, is not ours; or the system refuses, as when
        the disk is full. The pages are then as they were.
    DamagedBlobError
        A blob is gone or holds something else; as before.
    """
    with clear_refusal(site_dir):
        if place is None:
            make_named_folder(site_dir.parent)
            place = Folder(site_dir.parent)
        return _written(files, place, site_dir.name, record, replaceable)


def _written(
    files: Iterable[SiteFile], place: Folder, name: str, record: SiteRecord, replaceable: Collection[str]
) -> SiteReport:
    """Bring up to date what is there, or make a new site beside its place."""
    aside = f".{name}{_ASIDE}"
    _clear_aside(place, aside)
    if place.exists(name):
        return _bring_up_to_date(files, place.below(name), record, replaceable)
    try:
        place.make_folder(aside)
        report = _bring_up_to_date(files, place.below(aside), record, replaceable)
        place.rename(aside, name)
    except BaseException:
        place.remove_tree(aside)
        raise
    place.sync()
    return report


def _clear_aside(place: Folder, aside: str) -> None:
    """Remove what a run that was stopped had begun; a folder of that name that shows no sign of ours stays."""
    if place.exists(aside):
        if place.is_folder(aside) and set(place.names(aside)) - {_PARTS} and not place.exists(f"{aside}/{MANIFEST}"):
            raise FolderError(f"{place.path / aside}: in the way, and not written by us; move it elsewhere")
        place.remove_tree(aside)


def _bring_up_to_date(
    files: Iterable[SiteFile], site: Folder, record: SiteRecord, replaceable: Collection[str]
) -> SiteReport:
    listed, known = _read_manifest(site), record.read()
    replaced = {path for path in replaceable if _is_replaced(site, path, listed.files.get(path))}
    before = {path: written for path, written in known.files.items() if path not in replaced}
    with _parts_of(site):
        update = _Update(site, before, listed.files)
        now, changed = update.made(file for file in files if file.path not in replaced)
        strangers = _strangers(site, now, known)
        if listed.settled and not changed and now.keys() == before.keys() and listed.files == _held(now):
            record.write(now, strangers)
            return SiteReport(0, len(now), 0, strangers, _bytes(now))
        # What another computer made is not ours to remove: it is a stranger.
        gone = sorted(set(before) - set(now), key=lambda path: (-_turn(path, before), path))
        was = {path: held for path, held in {**listed.files, **_held(before)}.items() if path not in replaced}
        if changed or gone:
            record.write({**before, **now}, strangers)  # what a run that is stopped has written, the next may remove
            update.put_manifest({**was, **_held(now)}, unfinished=True)
        for path in sorted(changed, key=lambda path: _turn(path, was)):
            now[path] = update.put(changed[path], path, now[path].held)
        # Pages go before the pictures that they show.
        removed = sum(_remove(path, site) for path in gone)
        update.put_manifest(_held(now))
        record.write(now, strangers)
    return SiteReport(len(changed), len(now) - len(changed), removed, strangers, _bytes(now))


def _held(files: Mapping[str, Written]) -> dict[str, Held]:
    return {path: written.held for path, written in files.items()}


def _bytes(files: Mapping[str, Written]) -> int:
    return sum(written.held.size for written in files.values())


def _strangers(site: Folder, now: Mapping[str, Written], known: RecordContent) -> tuple[str, ...]:
    """Files that were there before this computer built this site, and that it does not make."""
    if not known.is_new:
        return tuple(path for path in known.strangers if path not in now and site.exists(path))
    there = sorted(path for path, _ in site.walk())
    return tuple(path for path in there if path not in now and path != MANIFEST and not path.startswith(f"{_PARTS}/"))


class _Update:
    """A site that is being brought up to date: what is there, what was written to the folder of parts."""

    def __init__(self, site: Folder, before: Mapping[str, Written], listed: Mapping[str, Held]) -> None:
        self._site, self._before, self._listed = site, before, listed
        # Folders are looked into as a whole, and pictures and pages of a day lie together.
        self._there = lru_cache(_FOLDERS_HELD)(lambda folder: _statuses(site, folder))

    def made(self, files: Iterable[SiteFile]) -> tuple[dict[str, Written], dict[str, int]]:
        """Write all that changes to the folder of parts; what each file holds, and the part's number by its path."""
        now: dict[str, Written] = {}
        changed: dict[str, int] = {}
        foreign = []
        for file in files:
            ours = file.path in self._before or file.path in self._listed
            if file.path in now or file.path == MANIFEST:
                raise FolderError(f"{file.path}: this file of the site would be written twice; give each its own name")
            if not ours and not (is_safe_name(file.path) and ":" not in file.path):
                raise FolderError(f"{file.path}: not a path inside the site; use plain names")
            there = self._status(file.path)
            written, source = self._wanted(file, there)
            now[file.path] = written
            if source is None:
                continue
            if there is not None and not ours:
                foreign.append(self._site.path / file.path)
            if not changed:
                self._site.make_folder(_PARTS)
            changed[file.path] = len(changed)
            self._write_part(source, f"{changed[file.path]}.part", file.path)
        if foreign:
            raise FolderError(*(f"{path}: in the way, and not written by us; move it elsewhere" for path in foreign))
        return now, changed

    def _wanted(self, file: SiteFile, there: os.stat_result | None) -> tuple[Written, _ToWrite | None]:
        """What a file is to hold, and what is to be written for it: None where it is there already."""
        known = self._before.get(file.path)
        untouched = known is not None and there is not None and known.stamp == stamp_of(there)
        if isinstance(file.source, StoredBlob):
            return self._blob_wanted(file.path, file.source, there, known if untouched else None)
        if file.held is not None and known is not None and file.held == known.held:
            if untouched:
                return known, None
            if self._holds(file.path, there, file.held):
                return self._as_it_is(file.held, there), None
        data = file.source if isinstance(file.source, bytes) else file.source()
        held = held_bytes(data)
        if (known is not None and untouched and known.held == held) or self._holds(file.path, there, held):
            return self._as_it_is(held, there), None
        return Written(held), _ToWrite(data)

    def _blob_wanted(
        self, path: str, source: StoredBlob, there: os.stat_result | None, known: Written | None
    ) -> tuple[Written, _ToWrite | None]:
        held = Held(source.blob.sha256, source.blob.size)
        if known is not None and known.held == held:
            return known, None
        if self._holds(path, there, held):
            return self._as_it_is(held, there), None
        return Written(held), _ToWrite(source)

    def _as_it_is(self, held: Held, there: os.stat_result | None) -> Written:
        return Written(held, None if there is None else stamp_of(there))

    def _holds(self, path: str, there: os.stat_result | None, held: Held) -> bool:
        return _holds(self._site, path, there, held)

    def _status(self, path: str) -> os.stat_result | None:
        folder, _, name = path.rpartition("/")
        return self._there(folder).get(name)

    def put_manifest(self, listed: Mapping[str, Held], *, unfinished: bool = False) -> None:
        """Put the list of files in its place, unless it is there."""
        manifest = _manifest_bytes(listed, unfinished=unfinished)
        if not self._holds(MANIFEST, self._site.status(MANIFEST), held_bytes(manifest)):
            self._site.make_folder(_PARTS)
            self._write_part(_ToWrite(manifest), f"{MANIFEST}.part", MANIFEST)
            sync_disk(self._site.path)
            self.put(MANIFEST, MANIFEST, held_bytes(manifest))

    def put(self, part: int | str, path: str, held: Held) -> Written:
        """Bring a part to its place; its folder is made where there is none."""
        with clear_refusal(self._site.path / path):
            try:
                self._site.rename(f"{_PARTS}/{part}.part", path)
            except FileNotFoundError:
                self._site.make_folder(path.rpartition("/")[0])
                self._site.rename(f"{_PARTS}/{part}.part", path)
            return self._as_it_is(held, self._site.status(path))

    def _write_part(self, source: _ToWrite, part: str, path: str) -> None:
        part = f"{_PARTS}/{part}"
        with clear_refusal(self._site.path / path):
            self._site.remove(part)
            if isinstance(source.data, StoredBlob):
                self._share(source.data, part)
            else:
                with self._site.create(part) as stream:
                    stream.write(source.data)

    def _share(self, source: StoredBlob, part: str) -> None:
        """Give a blob a second name, else clone it, made sure that it holds what it should; else copy it."""
        folder, file = source.file.folder, source.file.file
        try:
            shared = folder.link(file, part, to=self._site) or folder.clone(file, part, to=self._site)
        except FileNotFoundError as error:
            raise DamagedBlobError(source.blob) from error
        if not shared:
            with self._site.create(part) as stream:
                stream.write(source.read())
        elif not self._holds(part, self._site.status(part), Held(source.blob.sha256, source.blob.size)):
            raise DamagedBlobError(source.blob)


def _holds(site: Folder, path: str, there: os.stat_result | None, held: Held) -> bool:
    if there is None or not S_ISREG(there.st_mode) or there.st_size != held.size:
        return False
    with site.open(path) as stream:
        return held_file(stream) == held


def _is_replaced(site: Folder, path: str, listed: Held | None) -> bool:
    """Whether a file is there that is not the one that the list names."""
    there = site.status(path)
    return there is not None and (listed is None or not _holds(site, path, there, listed))


def _statuses(folder: Folder, within: str) -> dict[str, os.stat_result]:
    """What is in a folder; a folder in it counts as being there too."""
    try:
        found = folder.statuses(within)
        prefix = f"{within}/" if within else ""
        return found | {name: status for name in folder.folders(within) if (status := folder.status(prefix + name))}
    except (FileNotFoundError, NotADirectoryError):
        return {}


@contextmanager
def _parts_of(site: Folder) -> Iterator[None]:
    """A folder for files on their way, within the site's, so that a rename brings each to its place.

    It is made with the first of them: a site that needs nothing is not touched.
    """
    with suppress(FileNotFoundError):
        site.remove_tree(_PARTS)  # of a run that was stopped
    try:
        yield
    finally:
        with suppress(OSError):
            site.remove_tree(_PARTS)


def _turn(path: str, before: Collection[str]) -> int:
    """When a file is written: pictures and data, pages that nothing links to yet, pages that were there, the home."""
    if path == _HOME:
        return 4
    if path.endswith(".html"):
        return 3 if path in before else 2
    return 3 if path.endswith(".xml") else 1  # a feed links to pages


def _read_manifest(site: Folder) -> _Listed:
    """Read what the last run made; refuse a folder that is not ours."""
    path = site.path / MANIFEST
    if not site.is_file(MANIFEST):
        if set(site.names()) - {_PARTS}:
            raise FolderError(f"{site.path}: holds files but no {MANIFEST} of ours; give an empty folder or a new name")
        return _Listed({}, settled=False)
    try:
        data = msgspec.json.decode(site.read(MANIFEST), type=_Manifest)
        if (data.generator, data.version) != (_GENERATOR, _VERSION):
            raise ValueError("another generator or version")
        if not all(is_safe_name(row.path) for row in data.files):
            raise ValueError("a path that leaves the folder")
    except (ValueError, RecursionError) as error:
        raise FolderError(
            f"{path}: not a list of the site's files ({error}); give an empty folder or a new name"
        ) from error
    return _Listed({row.path: Held(row.sha256, row.bytes) for row in data.files}, settled=not data.unfinished)


def _remove(path: str, site: Folder) -> bool:
    """Remove a file that an earlier run wrote, and the folders that this leaves empty."""
    if not site.is_file(path):
        return False
    site.remove(path)
    site.remove_empty(path.rpartition("/")[0])
    return True


def _manifest_bytes(files: Mapping[str, Held], *, unfinished: bool) -> bytes:
    rows = [_Row(path, held.sha256, held.size) for path, held in sorted(files.items())]
    # `publish` sends no site that carries the mark.
    mark = {"unfinished": True} if unfinished else {}
    manifest = {"generator": _GENERATOR, "version": _VERSION, **mark, "files": rows}
    return msgspec.json.format(msgspec.json.encode(manifest), indent=1) + b"\n"
