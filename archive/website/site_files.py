"""The site's folder: write what changed, remove what is no longer made, touch nothing else.

`files.json` at the root lists every other file of the site with its size and sha256. It is the mark by which a
folder is known as ours. A new site is made beside its place and renamed, so that it is there whole or not at all. One
that is there is brought up to date in place, for others may serve it, or keep files in it, meanwhile: all that changes
is first written to a folder of its own. Then the list names old and new files (and says `unfinished`), and pictures and
data, new pages, changed pages and the home page take their places in turn; last come the removals and the list of what
is there now. So a page never shows what is not there yet, a site stays as it was where anything fails before, and
whatever an interrupted run leaves is listed, and the next run puts it right.
"""

from __future__ import annotations

import hashlib
import os
import shutil
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from stat import S_ISREG

import msgspec

from archive.disk import sync_disk, sync_folder
from archive.errors import FolderError, clear_refusal

__all__ = ["MANIFEST", "Held", "SiteFile", "SiteReport", "held_bytes", "write_site"]

MANIFEST = "files.json"
_GENERATOR = "Northlimb"
_VERSION = 1
_HOME = "index.html"
_ASIDE = ".northlimb-part"
_PARTS = ".northlimb-parts"
_LARGE_BYTES = 2**24


class Held(msgspec.Struct, frozen=True, gc=False):
    """What a file holds."""

    sha256: str
    size: int


@dataclass(frozen=True, slots=True)
class _ToWrite:
    """What is to be written: the bytes, or the path of a file of them; and the file's stamp where it is a copy."""

    data: bytes | str
    stamp: os.stat_result | None = None


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
    """What the list of files names; it is `settled` where that is what is there, and nothing is under way."""

    files: Mapping[str, Held]
    settled: bool


@dataclass(frozen=True, slots=True)
class SiteFile:
    """A file to be published: where it goes, and its bytes, the path of the file to copy, or what makes its bytes.

    Where it is known what it will hold, its bytes are made only if they are not there yet.
    """

    path: str
    source: bytes | str | Callable[[], bytes]
    held: Held | None = None


@dataclass(frozen=True)
class SiteReport:
    """How many files were written, left as they were, and removed; the manifest is not counted."""

    written: int
    unchanged: int
    removed: int


def held_bytes(data: bytes) -> Held:
    """Return what a file of these bytes holds."""
    return Held(hashlib.sha256(data).hexdigest(), len(data))


def write_site(files: Iterable[SiteFile], site_dir: Path, *, replaceable: Collection[str] = ()) -> SiteReport:
    """Bring a folder to hold exactly these files, besides any that are not ours.

    Parameters
    ----------
    files : iterable of SiteFile
        Every file of the site but the manifest; each path once. They are taken one after the other.
    site_dir : Path
        Made if missing. Must be empty or hold our manifest.
    replaceable : collection of str
        Paths at which a file of the observer's own is kept, even where it has taken the place of one of ours.

    Returns
    -------
    SiteReport

    Raises
    ------
    FolderError
        Where the folder, or a file in it that would be overwritten, is not ours, or a source is missing;
        or the system refuses, as when the disk is full. The pages are then as they were.
    """
    with clear_refusal(site_dir):
        return _written(files, site_dir, replaceable)


def _written(files: Iterable[SiteFile], site_dir: Path, replaceable: Collection[str]) -> SiteReport:
    """Bring up to date what is there, or make a new site beside its place."""
    aside = site_dir.with_name(f".{site_dir.name}{_ASIDE}")
    if aside.exists():
        shutil.rmtree(aside)  # of a run that was stopped
    if site_dir.exists() or site_dir.is_symlink():
        return _bring_up_to_date(files, site_dir, replaceable)
    try:
        report = _bring_up_to_date(files, aside, replaceable)
        aside.rename(site_dir)
    except BaseException:
        shutil.rmtree(aside, ignore_errors=True)
        raise
    sync_folder(site_dir.parent)
    return report


def _bring_up_to_date(files: Iterable[SiteFile], site_dir: Path, replaceable: Collection[str]) -> SiteReport:
    listed = _read_manifest(site_dir)
    replaced = {path for path in replaceable if _is_replaced(f"{site_dir}/{path}", listed.files.get(path))}
    before = {path: held for path, held in listed.files.items() if path not in replaced}
    with _parts_of(site_dir) as parts:
        now, changed = _made((file for file in files if file.path not in replaced), site_dir, parts, before)
        if listed.settled and now == listed.files and not changed:
            return SiteReport(0, len(now), 0)
        gone = sorted(set(before) - set(now), key=lambda path: (-_turn(path, before), path))
        if changed or gone:
            _put_manifest({**before, **now}, site_dir, parts, unfinished=True)
        for path in sorted(changed, key=lambda path: _turn(path, before)):
            _put(_part(parts, changed[path]), f"{site_dir}/{path}")
        # Pages go before the pictures that they show.
        removed = sum(_remove(path, site_dir) for path in gone)
        _put_manifest(now, site_dir, parts)
    return SiteReport(len(changed), len(now) - len(changed), removed)


def _made(
    files: Iterable[SiteFile], site_dir: Path, parts: Path, before: Mapping[str, Held]
) -> tuple[dict[str, Held], dict[str, int]]:
    """Write all that changes to the folder of parts; what each file is to hold, and the part's number by its path."""
    now: dict[str, Held] = {}
    changed: dict[str, int] = {}
    foreign = []
    for file in files:
        known = before.get(file.path)
        if file.path in now or file.path == MANIFEST:
            raise FolderError(f"{file.path}: this file of the site would be written twice; give each its own name")
        if known is None and not _stays_inside(file.path):  # of those in the list it is known
            raise FolderError(f"{file.path}: not a path inside the site; use plain names")
        target = f"{site_dir}/{file.path}"
        now[file.path], source = _wanted(file, target, known)
        if source is None:
            continue
        if known is None and os.path.exists(target):  # noqa: PTH110
            foreign.append(Path(target))
        if not changed:
            _make_folder(parts)
        changed[file.path] = len(changed)
        _write_part(source, _part(parts, changed[file.path]), target)
    if foreign:
        raise FolderError(*(f"{path}: in the way, and not written by us; move it elsewhere" for path in foreign))
    return now, changed


@contextmanager
def _parts_of(site_dir: Path) -> Iterator[Path]:
    """A folder for files on their way, within the site's, so that a rename brings each to its place.

    It is made with the first of them: a site that needs nothing is not touched.
    """
    parts = site_dir / _PARTS
    shutil.rmtree(parts, ignore_errors=True)  # of a run that was stopped
    try:
        yield parts
    finally:
        shutil.rmtree(parts, ignore_errors=True)


def _wanted(file: SiteFile, target: str, before: Held | None) -> tuple[Held, _ToWrite | None]:
    """What a file is to hold, and what is to be written for it: None where it is there already.

    A copy of the same size and time keeps the digest that it had.
    """
    there = _plain_file(target)
    if isinstance(file.source, str):
        stamp = _status_of(file.source, file.path)
        if before is not None and _same_stamp(stamp, there):
            return before, None
        if stamp.st_size > _LARGE_BYTES:
            held, source = _held_file(file.source), _ToWrite(file.source, stamp)
        else:  # read once, and not for its digest and again for its copy
            with open(file.source, "rb") as stream:  # noqa: PTH123
                data = stream.read()
            held, source = held_bytes(data), _ToWrite(data, stamp)
        return held, None if _holds(target, there, held) else source
    if file.held is not None and file.held == before and _holds(target, there, file.held):
        return file.held, None
    data = file.source if isinstance(file.source, bytes) else file.source()
    held = held_bytes(data)
    return held, None if _holds(target, there, held) else _ToWrite(data)


def _is_replaced(target: str, listed: Held | None) -> bool:
    """Whether a file is there that is not the one that the list names."""
    there = _plain_file(target)
    return there is not None and (listed is None or not _holds(target, there, listed))


def _status_of(source: str, path: str) -> os.stat_result:
    try:
        return os.stat(source)  # noqa: PTH116
    except FileNotFoundError as error:
        raise FolderError(f"{source}: to be published as {path}, but missing; build it again") from error


def _plain_file(target: str) -> os.stat_result | None:
    try:
        status = os.stat(target)  # noqa: PTH116 - of 50,000 files, and a Path each would take as long again
    except OSError:
        return None
    return status if S_ISREG(status.st_mode) else None


def _same_stamp(source: os.stat_result, target: os.stat_result | None) -> bool:
    """Tell by size and time to the nanosecond, kept when copying, that a copy is up to date.

    Reading ten years of pictures twice on every build (some 20 GB) takes minutes; this takes none.
    """
    if target is None:
        return False
    return (source.st_size, source.st_mtime_ns) == (target.st_size, target.st_mtime_ns)


def _holds(target: str, there: os.stat_result | None, held: Held) -> bool:
    return there is not None and there.st_size == held.size and _held_file(target) == held


def _turn(path: str, before: Mapping[str, Held]) -> int:
    """When a file is written: pictures and data, pages that nothing links to yet, pages that were there, the home."""
    if path == _HOME:
        return 4
    if path.endswith(".html"):
        return 3 if path in before else 2
    return 3 if path.endswith(".xml") else 1  # a feed links to pages


def _put_manifest(listed: Mapping[str, Held], site_dir: Path, parts: Path, *, unfinished: bool = False) -> None:
    manifest, target = _manifest_bytes(listed, unfinished=unfinished), f"{site_dir}/{MANIFEST}"
    if not _holds(target, _plain_file(target), held_bytes(manifest)):
        part = _part(parts, MANIFEST)
        _make_folder(parts)
        _write_part(_ToWrite(manifest), part, target)
        sync_disk(site_dir)
        _put(part, target)


def _stays_inside(path: str) -> bool:
    """Whether a path leads to no place outside the site's folder, on any system."""
    outside = path.startswith("/") or "\\" in path or ":" in path or (".." in path and ".." in path.split("/"))
    return bool(path) and not outside


def _read_manifest(site_dir: Path) -> _Listed:
    """Read what the last run made; refuse a folder that is not ours."""
    path = site_dir / MANIFEST
    if not path.exists():
        if site_dir.exists() and (not site_dir.is_dir() or set(site_dir.iterdir()) - {site_dir / _PARTS}):
            raise FolderError(f"{site_dir}: holds files but no {MANIFEST} of ours; give an empty folder or a new name")
        return _Listed({}, settled=False)
    try:
        data = msgspec.json.decode(path.read_bytes(), type=_Manifest)
        if (data.generator, data.version) != (_GENERATOR, _VERSION):
            raise ValueError("another generator or version")
        if not all(_stays_inside(row.path) for row in data.files):
            raise ValueError("a path that leaves the folder")
    except (ValueError, RecursionError) as error:
        raise FolderError(
            f"{path}: not a list of the site's files ({error}); give an empty folder or a new name"
        ) from error
    return _Listed({row.path: Held(row.sha256, row.bytes) for row in data.files}, settled=not data.unfinished)


def _held_file(path: str) -> Held:
    with open(path, "rb") as stream:  # noqa: PTH123
        return Held(hashlib.file_digest(stream, "sha256").hexdigest(), stream.tell())


def _make_folder(folder: Path) -> None:
    with clear_refusal(folder):
        folder.mkdir(parents=True, exist_ok=True)


def _write_part(source: _ToWrite, part: str, target: str) -> None:
    with clear_refusal(target):
        if isinstance(source.data, bytes):
            with open(part, "wb") as stream:  # noqa: PTH123
                stream.write(source.data)
        else:
            shutil.copyfile(source.data, part)
        if source.stamp is not None:
            os.utime(part, ns=(source.stamp.st_atime_ns, source.stamp.st_mtime_ns))


def _part(parts: Path, name: int | str) -> str:
    return f"{parts}/{name}.part"


def _put(part: str, target: str) -> None:
    """Bring a part to its place; its folder is made where there is none."""
    with clear_refusal(target):
        try:
            os.replace(part, target)  # noqa: PTH105
        except FileNotFoundError:
            os.makedirs(os.path.dirname(target), exist_ok=True)  # noqa: PTH103, PTH120
            os.replace(part, target)  # noqa: PTH105


def _remove(path: str, site_dir: Path) -> bool:
    """Remove a file that an earlier run wrote, and the folders that this leaves empty."""
    target = site_dir / path
    if not target.is_file():
        return False
    target.unlink()
    for folder in target.parents:
        if folder == site_dir or any(folder.iterdir()):
            break
        folder.rmdir()
    return True


def _manifest_bytes(files: Mapping[str, Held], *, unfinished: bool) -> bytes:
    rows = [_Row(path, held.sha256, held.size) for path, held in sorted(files.items())]
    # `publish` sends no site that carries the mark.
    mark = {"unfinished": True} if unfinished else {}
    manifest = {"generator": _GENERATOR, "version": _VERSION, **mark, "files": rows}
    return msgspec.json.format(msgspec.json.encode(manifest), indent=1) + b"\n"
