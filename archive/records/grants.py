"""Permissions that an archive asks for: links to follow, targets to send to, a theme, files in its site to publish.

An archive may come from somebody else. What it would do beyond its own folder is done only once the user has seen it
and said so; what was seen is remembered outside of it, and when it changes the user is asked anew.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from archive.disk import Folder
from archive.errors import SettingsError
from archive.records.archive_files import THEME_NAME, digest_of_grant, links_of
from archive.records.settings import TargetSettings, read_settings
from archive.records.trust_store import allowed, set_allowed
from archive.theme_files import theme_files

__all__ = [
    "Grant",
    "Kind",
    "allow",
    "folder_of_target",
    "forget",
    "grants_of",
    "is_allowed",
    "strangers_grant",
    "target_grant",
    "theme_grant",
]

Kind = Literal["link", "target", "theme", "site-files"]


@dataclass(frozen=True)
class Grant:
    """One thing that an archive would do; `words` describe it, `digest` changes with anything about it."""

    kind: Kind
    name: str
    words: str
    digest: str


def grants_of(files: Folder, *, strangers: Mapping[str, str] | None = None) -> tuple[Grant, ...]:
    """Return all that an archive would do, allowed or not.

    Parameters
    ----------
    files : Folder
        The archive's.
    strangers : mapping of str to str, optional
        Digests of files in its site that no build of this computer made, by their names.
    """
    return tuple(_grants(files, strangers or {}))


def is_allowed(files: Folder, grant: Grant) -> bool:
    """Return whether the user has allowed just this."""
    return grant.digest in allowed(files.path)


def allow(files: Folder, grants: tuple[Grant, ...]) -> None:
    """Remember that these are allowed, besides what is.

    Raises
    ------
    FolderError
        The system refuses.
    """
    set_allowed(files.path, allowed(files.path) | {grant.digest for grant in grants})


def forget(files: Folder) -> None:
    """Withdraw all permissions of an archive.

    Raises
    ------
    FolderError
        The system refuses.
    """
    set_allowed(files.path, ())


def _grants(files: Folder, strangers: Mapping[str, str]) -> Iterator[Grant]:
    for name, target in links_of(files.path):
        yield Grant("link", name, f"follow the link {name} to {target}", digest_of_grant("link", name, target))
    try:
        targets = read_settings(files).targets
    except SettingsError:  # reported by whatever needs the settings
        targets = ()
    yield from (target_grant(files, entry) for entry in targets)
    with suppress(SettingsError):  # reported by whatever needs the theme
        if (theme := theme_grant(files)) is not None:
            yield theme
    if strangers:
        yield strangers_grant(strangers)


def target_grant(files: Folder, entry: TargetSettings) -> Grant:
    """Return the permission to send the site, and a password, to a target; it names the folder behind links."""
    led = () if entry.folder is None else _led_to(files, entry.folder)
    place = (entry.url or entry.folder or "") + "".join(f", which links lead to {there}" for there in led)
    secret = ", with the password that you set for it," if entry.url is not None else ""
    more = "".join(f", {key} {value}" for key in ("branch", "endpoint", "region") if (value := getattr(entry, key)))
    return Grant(
        "target",
        entry.name,
        f"send the site{secret} to the target {entry.name}: {place}{more}",
        digest_of_grant("target", entry.model_dump_json(exclude={"limit_mb"}), *led),
    )


def folder_of_target(files: Folder, folder: str) -> Path:
    """Return the folder of a target; one that is not absolute is relative to the archive.

    Raises
    ------
    SettingsError
        It begins with the home folder of a user whom this computer does not know.
    """
    try:
        return (files.path / Path(folder).expanduser()).absolute()
    except RuntimeError as error:
        raise SettingsError(f"target folder {folder}: no such user on this computer; write the whole path") from error


def _led_to(files: Folder, folder: str) -> tuple[str, ...]:
    """Return the folder behind the links on a target's way, but those to the archive itself; empty where there are
    none.
    """
    with suppress(SettingsError, OSError):
        there = folder_of_target(files, folder).resolve()
        if str(there) != os.path.normpath(folder_of_target(Folder(files.path.resolve()), folder)):
            return (str(there),)
    return ()


def theme_grant(files: Folder) -> Grant | None:
    """Return the permission to put the archive's own templates and style sheet into the pages; None without any.

    Raises
    ------
    SettingsError
        The theme is larger than any needs to be.
    """
    files = files.below(THEME_NAME)
    found = []
    for name in theme_files(files):
        with files.open(name) as stream:
            found.append((name, hashlib.file_digest(stream, "sha256").hexdigest()))
    if not found:
        return None
    shown = ", ".join(name for name, _ in found[:5]) + (f" and {len(found) - 5} more" if len(found) > 5 else "")
    parts = [part for pair in found for part in pair]
    return Grant(
        "theme", THEME_NAME, f"shape the pages by its {THEME_NAME}/: {shown}", digest_of_grant("theme", *parts)
    )


def strangers_grant(strangers: Mapping[str, str]) -> Grant:
    """Return the permission to publish files that were in the site's folder before this computer built it."""
    names = sorted(strangers)
    shown = ", ".join(names[:5]) + (f" and {len(names) - 5} more" if len(names) > 5 else "")
    parts = [part for name in names for part in (name, strangers[name])]
    return Grant("site-files", "site", f"publish files that no build made: {shown}", digest_of_grant("site", *parts))
