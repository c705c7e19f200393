"""The site's folder: write what changed, remove what is no longer made, touch nothing else.

`files.json` at the root lists every other file of the site with its size and sha256. It is the mark by which a
folder is known as ours. A new site is made beside its place and renamed, so that it is there whole or not at all. One
that is there is brought up to date in place, for others may serve it, or keep files in it, meanwhile: all that changes
is first written to a folder of its own. Then pictures and data, new pages, changed pages and the home page take their
places in turn, while the list names what is `pending` (see `step_by_step`); last come the removals and the list of what
is there now. So a page never shows what is not there yet, a site stays as it was where anything fails before, and
whatever an interrupted run leaves is listed, and the next run puts it right.

That list may come from anybody. What is believed without reading it again, and what may be removed, stands in a record
of this computer's own (`SiteRecord`), outside the site.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass
from functools import cached_property, lru_cache
from itertools import chain
from pathlib import Path

from archive.built import SiteReport
from archive.disk import (
    Folder,
    is_safe_name,
    make_named_folder,
    stamp_digest,
    stamp_of,
    stamps_digest,
    summed,
)
from archive.errors import FolderError, clear_refusal
from archive.site_tree.digests import Digest, digest_of_bytes
from archive.site_tree.manifest import MANIFEST, Manifest, checked_manifest, manifest_bytes
from archive.site_tree.parts import PARTS, PlacedParts, holds
from archive.site_tree.place import Delivery, tell_nobody
from archive.site_tree.plan import Plan, put_steps
from archive.site_tree.site_record import NO_RECORD, RecordContent, RecordedGroup, SiteRecord, Written
from archive.site_tree.step_by_step import step_by_step
from archive.site_tree.tree import Tree
from archive.store import DamagedBlobError, StoredBlob

__all__ = ["FileGroup", "SiteFile", "write_site"]

_ASIDE = ".northlimb-part"
_FOLDERS_HELD = 64


@dataclass(frozen=True, slots=True)
class SiteFile:
    """A file to be published: where it goes, and its bytes, the blob that it shares, or what makes its bytes."""

    path: str
    source: bytes | StoredBlob | Callable[[], bytes]


@dataclass(frozen=True, slots=True)
class FileGroup:
    """Files that are made from the same: its name among all, a digest of all that they are made from, and the files.

    They are not made where those of that digest are there; without a digest they are made every time.
    """

    name: str
    files: Callable[[], Iterable[SiteFile]]
    key: bytes = b""


def write_site(
    groups: Iterable[FileGroup],
    site_dir: Path,
    *,
    place: Folder | None = None,
    record: SiteRecord = NO_RECORD,
    stamps: bytes | None = None,
    replaceable: Collection[str] = (),
) -> SiteReport:
    """Bring a folder to hold exactly these files, besides any that are not ours.

    Parameters
    ----------
    groups : iterable of FileGroup
        With every file of the site but the manifest; each path once. They are taken one after the other.
    site_dir : Path
        Made if missing. Must be empty or hold our manifest.
    place : Folder, optional
        The folder in which it lies, by which links are judged where it is part of an archive.
    record : SiteRecord
        What this computer knows to have written there; brought up to date.
    stamps : bytes, optional
        See `stamps_digest`, where it has just been told.
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
        aside = f".{site_dir.name}{_ASIDE}"
        _clear_aside(place, aside)
        if place.exists(site_dir.name):
            with place.held(site_dir.name) as site:
                return _Update(site, record, stamps, replaceable).run(groups)
        try:
            place.make_folder(aside)
            with place.held(aside) as site:
                report = _Update(site, record, None, replaceable, is_new=True).run(groups)
            place.rename(aside, site_dir.name)
        except BaseException:
            place.remove_tree(aside)
            raise
        place.sync()
        return report


def _clear_aside(place: Folder, aside: str) -> None:
    """Remove what a run that was stopped had begun; a folder of that name that shows no sign of ours stays."""
    if place.exists(aside):
        if place.is_folder(aside) and set(place.names(aside)) - {PARTS} and not place.exists(f"{aside}/{MANIFEST}"):
            raise FolderError(f"{place.path / aside}: in the way, and not written by us; move it elsewhere")
        place.remove_tree(aside)


class _Update:
    """A site that is being brought up to date: what was there, and what was written to the folder of parts.

    Where the stamps of the whole folder are those that it was left with, nothing in it is looked at but what changes.
    In a new folder, which nobody sees yet, files are written to their places at once.
    """

    def __init__(
        self,
        site: Folder,
        record: SiteRecord,
        stamps: bytes | None,
        replaceable: Collection[str],
        *,
        is_new: bool = False,
    ) -> None:
        self._site, self._record, self._replaceable, self._is_new = site, record, replaceable, is_new
        self._path = str(site.path)
        self._known = record.read()
        self._stamps = (stamps or stamps_digest(site)) if self._known.stamps else b""
        self._is_untouched = bool(self._known.stamps) and self._known.stamps == self._stamps
        # Of the groups that are not there as they are recorded: what was recorded, and what there is now.
        self._old: dict[str, dict[str, Written]] = {}
        self._new: dict[str, dict[str, Written]] = {}
        self._changed: dict[str, int] = {}
        self._has_twins = False
        self._moved: list[int] = []
        self._held: tuple[str, Folder] | None = None
        self._holding = ExitStack()
        self._given: tuple[Folder, Folder] | None = None
        self._holding_given = ExitStack()
        # Folders are looked into as a whole, and pictures and pages of a day lie together.
        self._there = lru_cache(_FOLDERS_HELD)(lambda folder: _statuses(site, folder))

    @cached_property
    def _recorded(self) -> dict[str, Written]:
        return self._known.files()

    @cached_property
    def _before(self) -> dict[str, Written]:
        """All files that are recorded."""
        if not self._replaced:
            return self._recorded
        return {path: written for path, written in self._recorded.items() if path not in self._replaced}

    @cached_property
    def _listed(self) -> Manifest:
        if self._is_untouched:
            return Manifest(True, _digests(self._recorded))
        return _read_manifest(self._site)

    @cached_property
    def _replaced(self) -> frozenset[str]:
        """Those of the replaceable paths at which another file is than we wrote."""
        # The list of files, which is long, is read only where one is there.
        there = [path for path in self._replaceable if self._site.exists(path)]
        return frozenset(
            path
            for path in there
            if path not in self._listed.pending and _is_replaced(self._site, path, self._listed.files.get(path))
        )

    def _is_listed(self, path: str) -> bool:
        return path in self._listed.files or path in self._listed.pending

    def run(self, groups: Iterable[FileGroup]) -> SiteReport:
        """Make the site hold these files."""
        if self._is_new:
            with self._site.create(MANIFEST) as stream:  # the mark by which the next run knows it as ours
                stream.write(manifest_bytes({}))
        elif not self._is_untouched:
            _ = self._listed  # a folder that is not ours is refused before anything is made
        with _parts_of(self._site):
            with self._holding, self._holding_given:
                now = self._made(groups)
            strangers = () if self._is_new else _strangers(self._site, now, self._known)
            removed, stamps = 0, self._stamps
            if self._needs_work(now):
                removed = 0 if self._is_new else self._put(now, strangers)
                stamps = self._finish_new(now) if self._is_new else self._stamps_now()
                self._record.write(now, strangers, stamps)
            elif self._new or not self._is_untouched or strangers != self._known.strangers:
                stamps = self._stamps_now()
                self._record.write(now, strangers, stamps)
        files, size = sum(group.count for group in now.values()), sum(group.size for group in now.values())
        return SiteReport(len(self._changed), files - len(self._changed), removed, strangers, size, stamps)

    def _made(self, groups: Iterable[FileGroup]) -> dict[str, RecordedGroup]:
        """Write all that changes to the folder of parts; return the groups as they are to be."""
        now: dict[str, RecordedGroup] = {}
        foreign: list[Path] = []
        for group in groups:
            if group.name in now:
                raise FolderError(f"{group.name}: this file of the site would be written twice; give each its own name")
            known = self._known.groups.get(group.name)
            is_same = known is not None and known.key == group.key != b""
            if known is not None and is_same and self._is_untouched:
                now[group.name] = known
                continue
            self._old[group.name] = {} if known is None else known.files()
            self._new[group.name] = {
                file.path: self._made_file(file, self._old[group.name].get(file.path), foreign, is_same=is_same)
                for file in group.files()
                if file.path not in self._replaced
            }
            now[group.name] = RecordedGroup.of(group.key, self._new[group.name])
        if foreign:
            raise FolderError(*(f"{path}: in the way, and not written by us; move it elsewhere" for path in foreign))
        return now

    def _made_file(self, file: SiteFile, known: Written | None, foreign: list[Path], *, is_same: bool) -> Written:
        if known is None and (not is_safe_name(file.path) or ":" in file.path or file.path == MANIFEST):
            raise FolderError(f"{file.path}: not a path inside the site; use plain names")
        there = None if self._is_new else self._status(file.path)
        if known is None and there is not None:
            known = self._before.get(file.path)
        written, source = self._wanted(file, there, known, is_same=is_same)
        if source is not None:
            if there is not None and known is None and not self._is_listed(file.path):
                foreign.append(self._site.path / file.path)
            if file.path in self._changed:
                raise FolderError(f"{file.path}: this file of the site would be written twice; give each its own name")
            self._changed[file.path] = len(self._changed)
            self._write_part(source, file.path)
        return written

    def _wanted(
        self, file: SiteFile, there: os.stat_result | None, known: Written | None, *, is_same: bool
    ) -> tuple[Written, bytes | StoredBlob | None]:
        """What a file is to hold, and what is to be written for it: None where it is there already."""
        untouched = known is not None and there is not None and known.stamp == stamp_of(there)
        source: bytes | StoredBlob | None = None
        if isinstance(file.source, StoredBlob):
            digest, source = Digest(file.source.blob.sha256, file.source.blob.size), file.source
        elif known is not None and is_same and (untouched or self._holds(file.path, there, known.digest)):
            digest = known.digest
        else:
            data = file.source if isinstance(file.source, bytes) else file.source()
            digest, source = digest_of_bytes(data), data
        if known is not None and untouched and known.digest == digest:
            return known, None
        if source is None or self._holds(file.path, there, digest):
            return self._as_it_is(digest, there), None
        return Written(digest), source

    def _needs_work(self, now: Mapping[str, RecordedGroup]) -> bool:
        """Whether anything is to be written or removed."""
        if self._changed:
            return True
        if self._is_untouched:
            gone = self._known.groups.keys() - now.keys()
            return bool(gone) or any(self._old[name].keys() != files.keys() for name, files in self._new.items())
        digest = _digests(_files(now))
        return self._listed.unfinished or self._listed.files != digest or self._before.keys() != digest.keys()

    def _put(self, now: dict[str, RecordedGroup], strangers: tuple[str, ...]) -> int:
        """Bring the parts to their places in turn, and remove what is no longer made; return how many that was."""
        files, before = self._files_now(now), self._before
        if len(files) != sum(group.count for group in now.values()):
            raise FolderError(f"{self._site.path}: a file of the site would be written twice; give each its own name")
        # What another computer made is not ours to remove: it is a stranger.
        gone = tuple(sorted(before.keys() - files.keys()))
        if self._changed or gone:
            # What a run that is stopped has written, the next may remove.
            under_way = {name: RecordedGroup.of(b"", self._old[name] | of_name) for name, of_name in self._new.items()}
            self._record.write({**self._known.groups, **under_way}, strangers)
        there = {path for path in self._changed if path in before or path in self._listed.files}
        unchanged = tuple(path for path in files if path not in self._changed)
        plan = Plan(put_steps(self._changed, there), unchanged, gone)
        placing = PlacedParts(self._site, self._changed, files)
        step_by_step(placing, Delivery(plan, True, Tree(self._site, {}), _digests(files), tell_nobody))
        self._moved += placing.moved
        self._has_twins |= placing.has_twins
        for name, of_name in self._new.items():
            now[name] = RecordedGroup.of(now[name].key, {path: files[path] for path in of_name})
        return placing.removed

    def _files_now(self, now: Mapping[str, RecordedGroup]) -> dict[str, Written]:
        """Return all files as they are to be: those that are recorded, but of the groups that changed or are gone."""
        files = dict(self._recorded)
        gone = [group.files() for name, group in self._known.groups.items() if name not in now]
        for path in chain.from_iterable((*gone, *self._old.values())):
            files.pop(path, None)
        for of_name in self._new.values():
            files |= of_name
        return files

    def _finish_new(self, now: dict[str, RecordedGroup]) -> bytes:
        """Write the list of what a new site's folder holds, and note the stamps of all; return their digest."""
        files = _files(now)
        PlacedParts(self._site, {}, files).put_bytes(MANIFEST, manifest_bytes(_digests(files)))
        with suppress(OSError):
            self._site.remove_tree(PARTS)
        stamps = {path: stamp_of(status) for path, status in self._site.walk()}
        for name, of_name in self._new.items():
            stamped = {path: Written(written.digest, stamps.get(path)) for path, written in of_name.items()}
            now[name] = RecordedGroup.of(now[name].key, stamped)
        return summed(stamp_digest(path, stamp) for path, stamp in stamps.items())

    def _stamps_now(self) -> bytes:
        """Return the digest of the stamps as we left them; a further name for a file changes that of the others."""
        if self._has_twins or not self._is_untouched:
            return stamps_digest(self._site)
        return summed([int.from_bytes(self._stamps, "little"), *self._moved])

    def _as_it_is(self, digest: Digest, there: os.stat_result | None) -> Written:
        return Written(digest, None if there is None else stamp_of(there))

    def _holds(self, path: str, there: os.stat_result | None, digest: Digest) -> bool:
        return holds(self._site, path, there, digest)

    def _status(self, path: str) -> os.stat_result | None:
        folder, _, name = path.rpartition("/")
        return self._there(folder).get(name)

    def _write_part(self, source: bytes | StoredBlob, path: str) -> None:
        """Write a file that is to be at this path: of a new site there, else to the folder of parts."""
        within, _, name = path.rpartition("/") if self._is_new else (PARTS, "", f"{self._changed[path]}.part")
        with clear_refusal(f"{self._path}{os.sep}{path}"):
            folder = self._made_folder(within)
            if isinstance(source, StoredBlob):
                self._share(source, folder, name)
            else:
                with folder.create(name) as stream:
                    stream.write(source)

    def _made_folder(self, within: str) -> Folder:
        """Return a folder of the site, made where there is none, and held open until another is asked for."""
        if self._held is None or self._held[0] != within:
            self._holding.close()
            self._site.make_folder(within)
            self._held = within, self._holding.enter_context(self._site.held(within))
        return self._held[1]

    def _held_given(self, folder: Folder) -> Folder:
        """Return the folder of blobs, held open until another is asked for."""
        if self._given is None or self._given[0] is not folder:
            self._holding_given.close()
            self._given = folder, self._holding_given.enter_context(folder.held())
        return self._given[1]

    def _share(self, source: StoredBlob, folder: Folder, name: str) -> None:
        """Give a blob a second name, else clone it, made sure that it holds what it should; else copy it."""
        given, file = self._held_given(source.file.folder), source.file.file
        try:
            shared = given.link(file, name, to=folder) or given.clone(file, name, to=folder)
        except FileNotFoundError as error:
            raise DamagedBlobError(source.blob) from error
        if not shared:
            with folder.create(name) as stream:
                stream.write(source.read())
        elif not holds(folder, name, folder.status(name), Digest(source.blob.sha256, source.blob.size)):
            raise DamagedBlobError(source.blob)


def _digests(files: Mapping[str, Written]) -> dict[str, Digest]:
    return {path: written.digest for path, written in files.items()}


def _files(groups: Mapping[str, RecordedGroup]) -> dict[str, Written]:
    return {path: written for group in groups.values() for path, written in group.files().items()}


def _strangers(site: Folder, now: Mapping[str, RecordedGroup], known: RecordContent) -> tuple[str, ...]:
    """Files that were there before this computer built this site, and that it does not make."""
    if not (known.strangers or known.is_new):
        return ()
    files = _files(now)
    if not known.is_new:
        return tuple(path for path in known.strangers if path not in files and site.exists(path))
    there = sorted(path for path, _ in site.walk())
    return tuple(path for path in there if path not in files and path != MANIFEST and not path.startswith(f"{PARTS}/"))


def _is_replaced(site: Folder, path: str, listed: Digest | None) -> bool:
    """Whether a file is there that is not the one that the list names."""
    there = site.status(path)
    return there is not None and (listed is None or not holds(site, path, there, listed))


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
        site.remove_tree(PARTS)  # of a run that was stopped
    try:
        yield
    finally:
        with suppress(OSError):
            site.remove_tree(PARTS)


def _read_manifest(site: Folder) -> Manifest:
    """Read what the last run made; refuse a folder that is not ours."""
    if not site.is_file(MANIFEST):
        if set(site.names()) - {PARTS}:
            raise FolderError(f"{site.path}: holds files but no {MANIFEST} of ours; give an empty folder or a new name")
        return Manifest(unfinished=True)
    try:
        return checked_manifest(site.read(MANIFEST))
    except ValueError as error:
        raise FolderError(
            f"{site.path / MANIFEST}: not a list of the site's files ({error}); give an empty folder or a new name"
        ) from error
