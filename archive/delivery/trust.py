"""Permissions for what an archive does beyond its own folder, and their enforcement."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from pathlib import Path

from archive.disk import Folder
from archive.errors import PublishError
from archive.records.archive_files import SITE_NAME, THEME_NAME
from archive.records.checksums import file_sha256
from archive.records.grants import (
    Grant,
    Kind,
    allow,
    forget,
    grants_of,
    is_allowed,
    strangers_grant,
    target_grant,
    theme_grant,
)
from archive.records.settings import TargetSettings
from archive.site_folder import site_files, site_record
from archive.site_tree.site_record import changed_since

__all__ = [
    "TrustStatus",
    "asked_of",
    "check_site_is_ours",
    "check_target_is_allowed",
    "trust",
    "withdraw",
]


@dataclass(frozen=True)
class TrustStatus:
    """Permissions that an archive asks for, and those that are granted."""

    grants: tuple[Grant, ...]
    allowed: tuple[Grant, ...]


def trust(files: Folder) -> TrustStatus:
    """Allow an archive all that it would do as it is now.

    Raises
    ------
    FolderError
        The user's configuration folder cannot be written.
    """
    grants = grants_of(files)
    allow(files, grants)
    grants = grants_of(files, strangers=_strangers(files))  # whose folder may be behind a link allowed just now
    allow(files, grants)
    return TrustStatus(grants, grants)


def withdraw(files: Folder) -> TrustStatus:
    """Take back all that an archive was allowed.

    Raises
    ------
    FolderError
        The user's configuration folder cannot be written.
    """
    forget(files)
    return TrustStatus(grants_of(files), ())


def asked_of(files: Folder, kinds: Collection[Kind] | None = None) -> TrustStatus:
    """Return what an archive would do, of these kinds or of all, and what of it is allowed."""
    every = grants_of(files, strangers=_strangers(files))
    grants = tuple(grant for grant in every if kinds is None or grant.kind in kinds)
    return TrustStatus(grants, tuple(grant for grant in grants if is_allowed(files, grant)))


def check_target_is_allowed(files: Folder, entry: TargetSettings) -> None:
    """Refuse a target of `archive.toml` that the user has not allowed.

    Raises
    ------
    PublishError
    """
    grant = target_grant(files, entry)
    if not is_allowed(files, grant):
        place = entry.url or entry.folder
        raise PublishError(
            f"target {entry.name} ({place}): not allowed yet; `northlimb trust {files.path}` shows what this archive "
            "asks for, and allows it"
        )


def check_site_is_ours(files: Folder, site_dir: Path) -> None:
    """Refuse to publish a site that this computer has not built, or files in it of another origin.

    Raises
    ------
    PublishError
    """
    known = site_record(files.path, site_dir).read()
    if known.is_new:
        raise PublishError(f"{site_dir}: was not built on this computer; run `northlimb build {files.path}` first")
    if other := changed_since(site_files(files.path, site_dir), known):
        raise PublishError(
            f"{site_dir}: {', '.join(other[:5])}: changed since this computer built the site; "
            f"run `northlimb build {files.path}` first"
        )
    strangers = _strangers(files, site_dir)
    theme = theme_grant(files)
    if theme is not None and not is_allowed(files, theme):
        raise PublishError(
            f"{files.path / THEME_NAME}: not allowed yet, and the site was built without it; "
            f"`northlimb trust {files.path}` shows and allows it, or remove the folder; then build again"
        )
    if strangers and not is_allowed(files, strangers_grant(strangers)):
        raise PublishError(
            f"{site_dir}: {', '.join(sorted(strangers)[:5])}: lay there before this computer built the site; remove "
            f"what should not be published, then `northlimb trust {files.path}` allows the rest"
        )


def _strangers(files: Folder, site_dir: Path | None = None) -> Mapping[str, str]:
    """Return digests of files in the site that were there before this computer built it and that no build makes."""
    place = files.path / SITE_NAME if site_dir is None else site_dir
    names, site = site_record(files.path, place).read().strangers, site_files(files.path, place)
    return {name: file_sha256(site, name) for name in names if site.is_file(name)}
