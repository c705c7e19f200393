"""Tiny sites as `build` leaves them, in an archive that only publishing looks at."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

from archive.delivery.trust import trust
from archive.site_folder import site_record
from archive.site_tree.folder_place import open_folder
from archive.site_tree.update import PublishReport, prepare, read_site, send

SETTINGS = """\
title = "Sun over the quay"
observer = "A. Teal"
[[sites]]
name = "Quay"
latitude_deg = 52.1
longitude_deg = -1.3
[[instruments]]
name = "Doorstep"
"""

FIRST = {
    "index.html": "<h1>Sun</h1>",
    "feed.xml": "<feed/>",
    "days/2026-06-03/index.html": "third",
    "days/2026-06-04/index.html": "fourth",
    "discs/a b ü#1.jpg": "picture 1",
    "discs/old.jpg": "picture 2",
    "data/observations.json": "[]",
}
SECOND = {
    "index.html": "<h1>Sun, new</h1>",
    "feed.xml": "<feed/>",
    "days/2026-06-03/index.html": "THIRD",  # same length
    "days/2026-06-05/index.html": "fifth",
    "discs/a b ü#1.jpg": "picture 1",
    "data/observations.json": "[1]",
}


def make_archive(root: Path, settings: str = "") -> Path:
    """An archive's folder with its settings, whose targets the user has allowed."""
    root.mkdir(parents=True, exist_ok=True)
    (root / "archive.toml").write_text(SETTINGS + settings, encoding="utf-8")
    trust(root)
    return root


def put_site(root: Path, files: dict[str, str]) -> Path:
    """Make the archive's site hold exactly these files and their list."""
    site = root / "site"
    wanted = {name: text.encode() for name, text in files.items()}
    for path in sorted(site.rglob("*"), reverse=True):
        if path.is_dir() and not any(path.iterdir()):
            path.rmdir()
        elif path.is_file() and wanted.get(path.relative_to(site).as_posix()) != path.read_bytes():
            path.unlink()
    for name, data in wanted.items():
        if not (site / name).exists():
            (site / name).parent.mkdir(parents=True, exist_ok=True)
            (site / name).write_bytes(data)
    write_listing(site)
    site_record(root, site).write({}, ())  # as by a build of this computer
    return site


def write_listing(site: Path) -> None:
    """Write the list of files that `build` leaves, for whatever is in the site now."""
    rows = [
        {"path": name, "sha256": hashlib.sha256(data).hexdigest(), "bytes": len(data)}
        for name, data in sorted(files_in(site).items())
        if name != "files.json"
    ]
    listing = {"generator": "Northlimb", "version": 1, "files": rows}
    (site / "files.json").write_text(json.dumps(listing, ensure_ascii=False, indent=1) + "\n", encoding="utf-8")


def contents(folder: Path) -> dict[str, bytes | None]:
    """Every file and folder below, with the files' bytes."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes() if path.is_file() else None
        for path in sorted(folder.rglob("*"))
    }


def files_in(folder: Path) -> dict[str, bytes]:
    """Every file below."""
    return {name: data for name, data in contents(folder).items() if data is not None}


def publish_folder(site: Path, target: Path, *, adopt: bool = False, keep: tuple[str, ...] = ()) -> PublishReport:
    """Make a folder hold exactly the site; every file is read."""
    files = read_site(site.resolve(), stamps=None, on_file=lambda *_: None)
    place = open_folder(target, site_dir=site, adopt=adopt, keep=keep)
    place.recover()
    publication = prepare(place, files, adopt=adopt, keep=keep)
    send(place, publication, on_file=lambda *_: None)
    return publication.report
