"""The site's folder: write what changed, remove what is no longer made, touch nothing else.

`files.json` at the root lists every other file of the site with its size and sha256. It is the mark by which a
folder is known as ours. A new site is made beside its place and renamed, so that it is there whole or not at all. One
that is there is brought up to date in place, for others may serve it, or keep files in it, meanwhile: first the list
names old and new files (and says `unfinished`), then come pictures and data, new pages, changed pages, the home page,
and last the removals and the list of what is there now. So a page never shows what is not there yet; whatever an
interrupted run leaves is listed, and the next run puts it right.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from archive.disk import sync_disk, sync_folder
from archive.errors import FolderError, clear_refusal

__all__ = ["MANIFEST", "SiteFile", "SiteReport", "write_site"]

MANIFEST = "files.json"
_GENERATOR = "Northlimb"
_VERSION = 1
_HOME = "index.html"
_PART = ".northlimb-part"
_FILES_A_SYNC = 256


@dataclass(frozen=True)
class SiteFile:
    """A file to be published: where it goes, and its bytes or the file to copy.

    One that `yields` is left out where a file of someone else's stands in its place.
    """

    path: str
    source: bytes | Path
    yields: bool = False


@dataclass(frozen=True)
class SiteReport:
    """How many files were written, left as they were, and removed; the manifest is not counted."""

    written: int
    unchanged: int
    removed: int


@dataclass(frozen=True)
class _Listed:
    """What the manifest knows of a file."""

    sha256: str
    size: int


def write_site(files: Sequence[SiteFile], site_dir: Path) -> SiteReport:
    """Bring a folder to hold exactly these files, besides any that are not ours.

    Parameters
    ----------
    files : sequence of SiteFile
        Every file of the site but the manifest; each path once.
    site_dir : Path
        Made if missing. Must be empty or hold our manifest.

    Returns
    -------
    SiteReport

    Raises
    ------
    FolderError
        Where the folder, or a file in it that would be overwritten, is not ours, or a source is missing;
        or the system refuses, as when the disk is full.
    """
    _check_paths([file.path for file in files])
    with clear_refusal(site_dir):
        return _written(files, site_dir)


def _written(files: Sequence[SiteFile], site_dir: Path) -> SiteReport:
    """Bring up to date what is there, or make a new site beside its place."""
    aside = site_dir.with_name(f".{site_dir.name}{_PART}")
    if aside.exists():
        shutil.rmtree(aside)  # of a run that was stopped
    if site_dir.exists() or site_dir.is_symlink():
        return _bring_up_to_date(files, site_dir)
    try:
        report = _bring_up_to_date(files, aside)
        aside.rename(site_dir)
    except BaseException:
        shutil.rmtree(aside, ignore_errors=True)
        raise
    sync_folder(site_dir.parent)
    return report


def _bring_up_to_date(files: Sequence[SiteFile], site_dir: Path) -> SiteReport:
    before = _read_manifest(site_dir)
    _forget_parts({MANIFEST, *before}, site_dir)
    files = [
        file for file in files if not (file.yields and file.path not in before and (site_dir / file.path).exists())
    ]
    now = {file.path: _listed(file, site_dir, before) for file in files}
    changed = [file for file in files if not _is_there(now[file.path], site_dir / file.path, file.source)]
    _refuse_foreign([file.path for file in changed if file.path not in before], site_dir)
    site_dir.mkdir(parents=True, exist_ok=True)
    if changed or set(before) - set(now):
        _put_manifest({**before, **now}, site_dir, unfinished=True)
    for turn in sorted({_turn(file.path, before) for file in changed}):
        _put_all([file for file in changed if _turn(file.path, before) == turn], site_dir)
    # Pages go before the pictures that they show.
    gone = sorted(set(before) - set(now), key=lambda path: (-_turn(path, before), path))
    removed = sum(_remove(path, site_dir) for path in gone)
    _put_manifest(now, site_dir)
    return SiteReport(len(changed), len(files) - len(changed), removed)


def _turn(path: str, before: Mapping[str, _Listed]) -> int:
    """When a file is written: pictures and data, pages that nothing links to yet, pages that were there, the home."""
    if path == _HOME:
        return 4
    if path.endswith(".html"):
        return 3 if path in before else 2
    return 3 if path.endswith(".xml") else 1  # a feed links to pages


def _put_manifest(listed: Mapping[str, _Listed], site_dir: Path, *, unfinished: bool = False) -> None:
    manifest = _manifest_bytes(listed, unfinished=unfinished)
    if not _is_there(_listed_bytes(manifest), site_dir / MANIFEST, manifest):
        _put_all([SiteFile(MANIFEST, manifest)], site_dir)


def _check_paths(paths: Sequence[str]) -> None:
    """Refuse a path given twice and one that leaves the folder: both are faults of the content."""
    seen: set[str] = {MANIFEST}
    for path in paths:
        if path in seen:
            raise FolderError(f"{path}: this file of the site would be written twice; give each its own name")
        if not _stays_inside(path):
            raise FolderError(f"{path}: not a path inside the site; use plain names")
        seen.add(path)


def _stays_inside(path: str) -> bool:
    parts = PurePosixPath(path).parts
    return bool(parts) and parts[0] != "/" and ".." not in parts and "\\" not in path and ":" not in path


def _read_manifest(site_dir: Path) -> dict[str, _Listed]:
    """Read what the last run made; refuse a folder that is not ours."""
    path = site_dir / MANIFEST
    if not path.exists():
        if site_dir.exists() and (not site_dir.is_dir() or set(site_dir.iterdir()) - {_part(path)}):
            raise FolderError(f"{site_dir}: holds files but no {MANIFEST} of ours; give an empty folder or a new name")
        return {}
    try:
        data = json.loads(path.read_text(encoding="utf-8"))
        if (data["generator"], data["version"]) != (_GENERATOR, _VERSION):
            raise ValueError("another generator or version")
        listed = {str(row["path"]): _Listed(str(row["sha256"]), int(row["bytes"])) for row in data["files"]}
        if not all(map(_stays_inside, listed)):
            raise ValueError("a path that leaves the folder")
    except (ValueError, KeyError, TypeError) as error:
        raise FolderError(
            f"{path}: not a list of the site's files ({error}); give an empty folder or a new name"
        ) from error
    return listed


def _refuse_foreign(paths: Sequence[str], site_dir: Path) -> None:
    foreign = [path for path in paths if (site_dir / path).exists()]
    if foreign:
        raise FolderError(
            *(f"{site_dir / path}: in the way, and not written by us; move it elsewhere" for path in foreign)
        )


def _listed(file: SiteFile, site_dir: Path, before: Mapping[str, _Listed]) -> _Listed:
    """Hash a file to be published; a copy of the same size and time keeps the hash that it had."""
    if isinstance(file.source, bytes):
        return _listed_bytes(file.source)
    try:
        if file.path in before and _same_stamp(file.source, site_dir / file.path):
            return before[file.path]
        return _listed_file(file.source)
    except FileNotFoundError as error:
        raise FolderError(f"{error.filename}: to be published as {file.path}, but missing; build it again") from error


def _listed_bytes(data: bytes) -> _Listed:
    return _Listed(hashlib.sha256(data).hexdigest(), len(data))


def _listed_file(path: Path) -> _Listed:
    with path.open("rb") as stream:
        return _Listed(hashlib.file_digest(stream, "sha256").hexdigest(), path.stat().st_size)


def _same_stamp(source: Path, target: Path) -> bool:
    """Tell by size and time to the nanosecond, kept when copying, that a copy is up to date.

    Reading ten years of pictures twice on every build (some 20 GB) takes minutes; this takes none.
    """
    there, stamp = source.stat(), target.stat() if target.is_file() else None
    return stamp is not None and (there.st_size, there.st_mtime_ns) == (stamp.st_size, stamp.st_mtime_ns)


def _is_there(listed: _Listed, target: Path, source: bytes | Path) -> bool:
    """Tell whether the target already holds these bytes."""
    if not target.is_file() or target.stat().st_size != listed.size:
        return False
    if isinstance(source, Path) and _same_stamp(source, target):
        return True
    return _listed_file(target) == listed


def _put_all(files: Sequence[SiteFile], site_dir: Path) -> None:
    """Write under temporary names, bring all to disk, then rename, so that no reader and no power cut has half a file.

    Some hundred files share one sync of the disk: ten years' site has 30,000.
    """
    for start in range(0, len(files), _FILES_A_SYNC):
        some = [(file, site_dir / file.path) for file in files[start : start + _FILES_A_SYNC]]
        try:
            for file, target in some:
                _write_part(file.source, target)
            sync_disk(site_dir)
            for _, target in some:
                with clear_refusal(target):
                    _part(target).replace(target)
        finally:
            for _, target in some:
                _part(target).unlink(missing_ok=True)


def _forget_parts(paths: Iterable[str], site_dir: Path) -> None:
    """Remove temporary files of a run that was stopped; its list named all that it was to write."""
    for path in paths:
        _part(site_dir / path).unlink(missing_ok=True)


def _part(target: Path) -> Path:
    return target.with_name(f".{target.name}.part")


def _write_part(source: bytes | Path, target: Path) -> None:
    with clear_refusal(target):
        target.parent.mkdir(parents=True, exist_ok=True)
        if isinstance(source, bytes):
            _part(target).write_bytes(source)
        else:
            shutil.copyfile(source, _part(target))
            stamp = source.stat()
            os.utime(_part(target), ns=(stamp.st_atime_ns, stamp.st_mtime_ns))


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


def _manifest_bytes(files: Mapping[str, _Listed], *, unfinished: bool) -> bytes:
    rows = [{"path": path, "sha256": row.sha256, "bytes": row.size} for path, row in sorted(files.items())]
    # `publish` sends no site that carries the mark.
    mark = {"unfinished": True} if unfinished else {}
    manifest = {"generator": _GENERATOR, "version": _VERSION, **mark, "files": rows}
    return (json.dumps(manifest, ensure_ascii=False, indent=1) + "\n").encode()
