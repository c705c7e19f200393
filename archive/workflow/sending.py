"""`publish`: send the built site to its target."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

from archive.errors import PublishError
from archive.publishing.folder_target import PublishReport, check_target, publish_folder
from archive.records.folder import reading
from archive.records.settings import Settings, find_named, read_settings
from archive.workflow.building import site_folder

__all__ = ["Published", "check_first_target", "publish"]


@dataclass(frozen=True)
class Published:
    """Where the site went and what travelled."""

    target: Path
    report: PublishReport


def publish(root: Path, target: str | None, *, site_dir: Path | None, adopt: bool) -> Published:
    """Bring a target to hold exactly the site.

    Parameters
    ----------
    target : str or None
        A target's name in `archive.toml`, or a folder; None is the first target there.

    Raises
    ------
    ArchiveError
        No such target, or it is no place for the site alone.
    """
    with reading(root):
        folder = _target_folder(root, read_settings(root), target)
        report = publish_folder(site_folder(root, site_dir), folder, adopt=adopt)
    return Published(folder, report)


def check_first_target(root: Path) -> None:
    """Look, before there is a site to send, whether the first target of `archive.toml` would take it.

    Raises
    ------
    ArchiveError
        There is none, or it is no place for the site alone.
    """
    check_target(site_folder(root, None), _target_folder(root, read_settings(root), None))


def _target_folder(root: Path, settings: Settings, target: str | None) -> Path:
    """Folders in the settings are relative to the archive, those on the command line to where it is typed."""
    if target is None and not settings.targets:
        raise PublishError("publish: no target; name a folder, or add [[targets]] to archive.toml")
    names = {entry.name.casefold() for entry in settings.targets}
    if target is None or target.casefold() in names:
        return (root / Path(find_named(settings.targets, target, what="target").folder).expanduser()).absolute()
    folder = Path(target).expanduser()
    # A mistyped name must not become a new folder.
    if names and not {"/", os.sep}.intersection(target) and not folder.exists():
        known = ", ".join(entry.name for entry in settings.targets)
        raise PublishError(
            f"publish: {target!r} is neither a target of archive.toml (known: {known}) nor a folder; "
            f"for a new folder here write .{os.sep}{target}"
        )
    return folder
