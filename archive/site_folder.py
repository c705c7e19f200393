"""Where the site of an archive goes, and how it is reached."""

from __future__ import annotations

import hashlib
import os
from pathlib import Path

from archive.disk import Folder
from archive.errors import FolderError
from archive.records.archive_files import SITE_NAME, WORK_NAME, files_of
from archive.records.folder import kept_folder
from archive.site_tree.site_record import SiteRecord

__all__ = ["site_files", "site_folder", "site_record"]


def site_folder(root: Path, site_dir: Path | None) -> Path:
    """Return the folder of the site.

    Raises
    ------
    FolderError
        Among what an archive keeps.
    """
    if site_dir is None:
        return root / "site"
    place, archive = site_dir.resolve(), root.resolve()
    if kept_folder(place) is not None or (archive in place.parents and place.parent != archive):
        raise FolderError(
            f"--site-dir {site_dir}: lies within the archive's folders; "
            f"choose {root / 'site'}, another new folder beside it, or one outside the archive"
        )
    return site_dir


def site_record(root: Path, site_dir: Path) -> SiteRecord:
    """Return the record of what this computer has written into a site's folder."""
    # The archive's own stays known where the archive is moved or renamed.
    place = SITE_NAME if site_dir.resolve() == (root / SITE_NAME).resolve() else site_dir.resolve()
    name = hashlib.sha256(os.fsencode(place)).hexdigest()[:16]
    return SiteRecord(files_of(root), f"{WORK_NAME}/site-{name}")


def site_files(root: Path, site_dir: Path) -> Folder:
    """Return the site's folder; the archive's own is reached through the archive."""
    return files_of(root).below(SITE_NAME) if site_dir == root / SITE_NAME else Folder(site_dir)
