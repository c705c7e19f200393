"""`publish`: send the built site to its target."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from archive.errors import PublishError
from archive.publishing.folder_target import PublishReport, publish_folder
from archive.records.folder import writing
from archive.records.settings import Settings, find_named, read_settings
from archive.workflow.building import site_folder

__all__ = ["Published", "publish"]


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
    """
    with writing(root):
        folder = _target_folder(root, read_settings(root), target)
        report = publish_folder(site_folder(root, site_dir), folder, adopt=adopt)
    return Published(folder, report)


def _target_folder(root: Path, settings: Settings, target: str | None) -> Path:
    """Folders in the settings are relative to the archive, those on the command line to where it is typed."""
    if target is None and not settings.targets:
        raise PublishError("publish: no target; name a folder, or add [[targets]] to archive.toml")
    names = {entry.name.casefold() for entry in settings.targets}
    if target is None or target.casefold() in names:
        return (root / Path(find_named(settings.targets, target, what="target").folder).expanduser()).absolute()
    return Path(target).expanduser()
