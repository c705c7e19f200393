"""`publish`: send the built site to its target, or look whether it arrived whole."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterator
from contextlib import AbstractContextManager, closing, contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from archive.building import site_is_older
from archive.delivery.trust import check_site_is_ours, check_target_is_allowed
from archive.disk import Folder
from archive.errors import PublishError
from archive.execution.progress import WAIT_S, Progress, silent, while_waiting
from archive.publishing.address import Address, TargetOptions, is_url, parse_address, parse_web_address
from archive.publishing.opening import open_place
from archive.records.archive_files import derived_files
from archive.records.folder import reading
from archive.records.grants import folder_of_target
from archive.records.lock import target_lock
from archive.records.settings import TargetSettings, find_named, read_settings
from archive.site_folder import site_files, site_folder
from archive.site_tree.checking import Checked, check_published
from archive.site_tree.digests import StampsFile
from archive.site_tree.folder_place import FolderPlace, open_folder
from archive.site_tree.place import ConnectionDropped, Place, Reader
from archive.site_tree.target_checks import check_site
from archive.site_tree.update import (
    Publication,
    PublishReport,
    SiteFiles,
    check_place_open,
    prepare,
    read_site,
    refuse_odd_names,
    send,
)
from archive.store import Store

__all__ = [
    "DryRun",
    "PublishRequest",
    "PublishResult",
    "check",
    "check_target",
    "is_new_folder",
    "publish",
    "rehearse",
]

# Kinds of places that accept names that are not valid text.
_ANY_NAMES = ("folder", "rsync", "git")
# Shares of a host's limit from which it is spoken of, and of the site from which a part is worth naming.
_NEAR_SHARE, _WORTH_SHARE = 0.9, 0.1


@dataclass(frozen=True)
class PublishRequest:
    """A request to `publish`.

    `target` is a target's name in `archive.toml`, a folder, a zip or a URL; None is the first target there.
    """

    target: str | None = None
    site_dir: Path | None = None
    adopt: bool = False


@dataclass(frozen=True)
class PublishResult:
    """Where the site went and what travelled."""

    target: str
    report: PublishReport
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True)
class DryRun:
    """Files that would be sent, in that order, and removed; nothing was changed."""

    target: str
    report: PublishReport
    send: tuple[str, ...]
    remove: tuple[str, ...]
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True)
class _Target:
    """An address and the name it has in `archive.toml`, where a limit may be given too."""

    address: Address
    name: str | None
    limit_mb: float | None = None


@dataclass(frozen=True)
class _Run:
    """A publication under way: from where, to where, and how."""

    store: Store
    target: _Target
    site_dir: Path
    adopt: bool
    on_progress: Progress

    def opened(self) -> AbstractContextManager[Place]:
        """Open the target."""
        address = self.target.address
        if address.kind != "folder":
            return _opened(self.target)
        place = open_folder(
            Path(address.path),
            site_dir=self.site_dir,
            adopt=self.adopt,
            keep=address.options.keep,
            stamps=_stamps(self.store, Path(address.path)),
            on_file=self.on_progress,
        )
        return closing(place)

    def prepared(self, place: Place) -> Publication:
        """Find out what has to travel and what has to go."""
        site = read_site(self.site_dir, stamps=_stamps(self.store, self.site_dir), on_file=self.on_progress)
        address = self.target.address
        if address.kind not in _ANY_NAMES:
            refuse_odd_names(site)
        return prepare(place, site, adopt=self.adopt, keep=address.options.keep)


def publish(files: Folder, wanted: PublishRequest, *, on_progress: Progress = silent) -> PublishResult:
    """Bring a target to hold exactly the site.

    Raises
    ------
    ArchiveError
        No such target, it is not a place for the site alone, or it could not be reached.
    """
    waits = while_waiting(on_progress)
    with reading(files, wait_s=WAIT_S, on_wait=waits):
        target, site_dir = _target_and_site(files, wanted)
        with (
            target_lock(files, _place_of(target.address), wait_s=WAIT_S, on_wait=waits),
            Store(derived_files(files.path)) as store,
        ):
            run = _Run(store, target, site_dir, wanted.adopt, on_progress)
            with run.opened() as place:
                if isinstance(place, FolderPlace):
                    place.recover()
                publication = run.prepared(place)
                warnings = (*_about_limit(publication.site, target), *_about_age(files, site_dir))
                send(place, publication, on_file=on_progress)
                return PublishResult(target.address.name, publication.report, warnings)


def _about_limit(site: SiteFiles, target: _Target) -> tuple[str, ...]:
    """Warn of a site that comes near to what its host lets it take, and say what would make it smaller."""
    sizes = {name: digest.size for name, digest in site.digests.items()}
    site_mb = sum(sizes.values()) / 1e6
    if target.limit_mb is None or site_mb < _NEAR_SHARE * target.limit_mb:
        return ()
    fits_mb = sum(size for name, size in sizes.items() if name.endswith(".fits")) / 1e6
    films_mb = sum(size for name, size in sizes.items() if name.startswith("films/")) / 1e6
    helps = []
    if fits_mb >= _WORTH_SHARE * site_mb:
        helps.append(f"its FITS take {fits_mb:.1f} MB: fits = 30 in archive.toml keeps those of the newest 30 days")
    if films_mb >= _WORTH_SHARE * site_mb:
        helps.append(f"its films take {films_mb:.1f} MB: `film --forget NAME` takes one away")
    if not helps:
        helps.append("its pictures take most of that: ask the host for more, or publish to another")
    passed = "is larger than" if site_mb > target.limit_mb else "comes near to"
    return (f"{target.name}: the site, {site_mb:.1f} MB, {passed} limit_mb = {target.limit_mb:g}; {'; '.join(helps)}",)


def _about_age(files: Folder, site_dir: Path) -> tuple[str, ...]:
    if not site_is_older(files.path, site_dir):
        return ()
    return (f"{site_dir}: is older than the archive; `northlimb build {files.path}`, then publish again",)


def is_new_folder(files: Folder, wanted: str) -> bool:
    """Return whether a target is a word for a folder that is not there yet: it may be a mistyped name."""
    if is_url(wanted) or {"/", os.sep}.intersection(wanted):
        return False
    names = {entry.name.casefold() for entry in read_settings(files).targets}
    return wanted.strip().casefold() not in names and not wanted.endswith(".zip") and not Path(wanted).exists()


def rehearse(files: Folder, wanted: PublishRequest, *, on_progress: Progress = silent) -> DryRun:
    """Return what `publish` would do; the target is only read.

    Raises
    ------
    ArchiveError
        As `publish`.
    """
    with reading(files, wait_s=WAIT_S, on_wait=while_waiting(on_progress)), Store(derived_files(files.path)) as store:
        target, site_dir = _target_and_site(files, wanted)
        run = _Run(store, target, site_dir, wanted.adopt, on_progress)
        with run.opened() as place:
            publication = run.prepared(place)
            plan = publication.plan
            warnings = _about_limit(publication.site, target)
            return DryRun(target.address.name, publication.report, plan.send, plan.remove, warnings)


def check(files: Folder, place: str, *, site_dir: Path | None, on_progress: Progress = silent) -> Checked:
    """Read back every file of a published site and compare it with the built one.

    Parameters
    ----------
    place : str
        The site's public web address, or a target: a name in `archive.toml`, a folder, a zip or a URL.

    Raises
    ------
    ArchiveError
        The site is not built, or the place cannot be reached.
    """
    with reading(files, wait_s=WAIT_S, on_wait=while_waiting(on_progress)), Store(derived_files(files.path)) as store:
        built = _site_of(files, site_dir)
        site = read_site(built, stamps=_stamps(store, built), on_file=on_progress)
        with closing(_reader(files, place)) as reader:
            return check_published(reader, site, on_file=on_progress)


def check_target(files: Folder, wanted: str | None, *, adopt: bool = False) -> str:
    """Look, before there is a site to send, whether a target would take it; None is the first of `archive.toml`.

    Returns
    -------
    str
        How the target is told.

    Raises
    ------
    ArchiveError
        There is none, it is not a place for the site alone, or it cannot be reached.
    """
    target = _find_target(files, wanted)
    keep = target.address.options.keep
    if target.address.kind == "folder":
        folder = Path(target.address.path)
        open_folder(folder, site_dir=site_folder(files.path, None), adopt=adopt, keep=keep).close()
        return target.address.name
    with _opened(target) as place:
        check_place_open(place, keep=keep, adopt=adopt)
    return target.address.name


def _target_and_site(files: Folder, wanted: PublishRequest) -> tuple[_Target, Path]:
    target, site_dir = _find_target(files, wanted.target), _site_of(files, wanted.site_dir)
    check_site(site_dir)
    check_site_is_ours(files, site_folder(files.path, wanted.site_dir))
    address = target.address
    if address.kind == "zip" and site_dir in Path(address.path).expanduser().resolve().parents:
        raise PublishError(f"{address.name}: lies in the site that it is to hold: choose a place outside of {site_dir}")
    return target, site_dir


def _site_of(files: Folder, site_dir: Path | None) -> Path:
    """Return the folder of the site, reached through the archive: a link in it is followed only where allowed."""
    place = site_folder(files.path, site_dir)
    with suppress(FileNotFoundError):
        site_files(files.path, place).names()
    return place.resolve()


def _reader(files: Folder, place: str) -> Reader:
    if place.startswith(("https://", "http://")):
        from archive.publishing.webdav_place import web_reader

        return web_reader(parse_web_address(place))
    target = _find_target(files, place)
    if target.address.kind == "folder":
        folder = Path(target.address.path)
        if not folder.is_dir():
            raise PublishError(f"{folder}: no such folder to check")
        return FolderPlace(folder)
    return open_place(target.address, target_name=target.name)


@contextmanager
def _opened(target: _Target) -> Iterator[Place]:
    with closing(open_place(target.address, target_name=target.name)) as place:
        try:
            yield place
        except ConnectionDropped as dropped:
            raise PublishError(f"{target.address.name}: the connection failed: {dropped}; publish again") from dropped


def _stamps(store: Store, folder: Path) -> StampsFile:
    """Return where the stamps of a folder's files are kept from run to run."""
    return StampsFile(store, hashlib.sha256(os.fsencode(folder.resolve())).hexdigest()[:16])


def _place_of(address: Address) -> str:
    """Return one name for a place however it is written, so that two runs do not write to it at the same time."""
    if address.kind in ("folder", "zip"):
        return str(Path(address.path).expanduser().resolve())
    return address.name.rstrip("/")


def _find_target(files: Folder, wanted: str | None) -> _Target:
    """Return the target: a folder in the settings is relative to the archive, a typed one to the working folder."""
    settings = read_settings(files)
    if wanted is None and not settings.targets:
        raise PublishError("publish: no target; name a folder or a URL, or add [[targets]] to archive.toml")
    names = {entry.name.casefold() for entry in settings.targets}
    if wanted is None or wanted.strip().casefold() in names:
        return _settled(files, find_named(settings.targets, wanted, what="target"))
    if is_url(wanted):
        return _Target(parse_address(wanted), None)
    folder = _typed_folder(wanted)
    # A path of nothing would be the folder in which the command is typed.
    address = parse_address(str(folder) if wanted else wanted)
    # A mistyped name must not become a new folder.
    if names and address.kind == "folder" and not {"/", os.sep}.intersection(wanted) and not folder.exists():
        known = ", ".join(entry.name for entry in settings.targets)
        raise PublishError(
            f"publish: {wanted!r} is neither a target of archive.toml (known: {known}) nor a folder; "
            f"for a new folder here write .{os.sep}{wanted}"
        )
    return _Target(address, None)


def _typed_folder(wanted: str) -> Path:
    try:
        return Path(wanted).expanduser()
    except RuntimeError as error:
        raise PublishError(f"publish: {wanted}: no such user on this computer; write the whole path") from error


def _settled(files: Folder, entry: TargetSettings) -> _Target:
    check_target_is_allowed(files, entry)
    options = TargetOptions(entry.branch, entry.endpoint, entry.region, entry.keep)
    if entry.url is not None:
        return _Target(parse_address(entry.url, options), entry.name, entry.limit_mb)
    place = folder_of_target(files, entry.folder or "")
    return _Target(parse_address(str(place), options), entry.name, entry.limit_mb)
