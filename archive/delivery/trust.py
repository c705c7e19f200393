"""Permissions for what an archive does beyond its own folder, and their enforcement."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from pathlib import Path

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
from archive.website.site_record import changed_since

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


def trust(root: Path) -> TrustStatus:
    """Allow an archive all that it would do as it is now.

    Raises
    ------
    FolderError
        The user's configuration folder cannot be written.
    """
    grants = grants_of(root)
    allow(root, grants)
    grants = grants_of(root, strangers=_strangers(root))  # whose folder may be behind a link allowed just now
    allow(root, grants)
    return TrustStatus(grants, grants)


def withdraw(root: Path) -> TrustStatus:
    """Take back all that an archive was allowed.

    Raises
    ------
    FolderError
        The user's configuration folder cannot be written.
    """
    forget(root)
    return TrustStatus(grants_of(root), ())


def asked_of(root: Path, kinds: Collection[Kind] | None = None) -> TrustStatus:
    """Return what an archive would do, of these kinds or of all, and what of it is allowed."""
    every = grants_of(root, strangers=_strangers(root))
    grants = tuple(grant for grant in every if kinds is None or grant.kind in kinds)
    return TrustStatus(grants, tuple(grant for grant in grants if is_allowed(root, grant)))


def check_target_is_allowed(root: Path, entry: TargetSettings) -> None:
    """Refuse a target of `archive.toml` that the user has not allowed.

    Raises
    ------
    PublishError
    """
    grant = target_grant(root, entry)
    if not is_allowed(root, grant):
        place = entry.url or entry.folder
        raise PublishError(
            f"target {entry.name} ({place}): not allowed yet; `northlimb trust {root}` shows what this archive asks "
            "for, and allows it"
        )


def check_site_is_ours(root: Path, site_dir: Path) -> None:
    """Refuse to publish a site that this computer has not built, or files in it of another origin.

    Raises
    ------
    PublishError
    """
    known = site_record(root, site_dir).read()
    if known.is_new:
        raise PublishError(f"{site_dir}: was not built on this computer; run `northlimb build {root}` first")
    if other := changed_since(site_files(root, site_dir), known):
        raise PublishError(
            f"{site_dir}: {', '.join(other[:5])}: changed since this computer built the site; "
            f"run `northlimb build {root}` first"
        )
    strangers = _strangers(root, site_dir)
    theme = theme_grant(root)
    if theme is not None and not is_allowed(root, theme):
        raise PublishError(
            f"{root / THEME_NAME}: not allowed yet, and the site was built without it; `northlimb trust {root}` shows "
            f"and allows it, or remove the folder; then build again"
        )
    if strangers and not is_allowed(root, strangers_grant(strangers)):
        raise PublishError(
            f"{site_dir}: {', '.join(sorted(strangers)[:5])}: lay there before this computer built the site; remove "
            f"what should not be published, then `northlimb trust {root}` allows the rest"
        )


def _strangers(root: Path, site_dir: Path | None = None) -> Mapping[str, str]:
    """Return digests of files in the site that were there before this computer built it and that no build makes."""
    place = root / SITE_NAME if site_dir is None else site_dir
    names, site = site_record(root, place).read().strangers, site_files(root, place)
    return {name: file_sha256(site, name) for name in names if site.is_file(name)}
