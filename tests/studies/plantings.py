"""Archives in which somebody has planted links, paths and names that lead outside; made by a number alone."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

import numpy as np

__all__ = ["CANARY", "Planted", "hot_journal", "plant", "snapshot_of"]

CANARY = "canary-4711-nobody-may-read-this"
DAY, STEM = "2026/2026-06-03", "0915Z"
ID = "2026-06-03T0915Z"

TABLE, BLOBS = ".northlimb/store.sqlite", ".northlimb/blobs"
BLOB, BLOB_FOLDER = "a blob", "the folder of a blob"  # of those that are there

# Whatever a command reads, writes, renames or removes: of the archive, then of what lies beside it.
PLACES = (
    "archive.toml", "checksums.sha256", "group-names.toml", "remembered-words.json", "theme", "theme/style.css",
    "theme/base.html", "removed", "removed/2026-06-04T101500Z-removed", "removed/2026-06-04T101500Z-removed/2026",
    "2026", DAY, f"{DAY}/notes.md", f"{DAY}/{STEM}.toml", f"{DAY}/{STEM}.png", f"{DAY}/1010Z.toml", f"{DAY}/1010Z.png",
    f"{DAY}/{STEM}.png.northlimb-part", f"{DAY}/notes.md.northlimb-part", "archive.toml.northlimb-part",
    "checksums.sha256.northlimb-part", "2025", "2025/2025-01-01", ".northlimb", TABLE, TABLE,
    f"{TABLE}-journal", f"{TABLE}-journal", f"{TABLE}-wal", f"{TABLE}-shm", f"{TABLE}.northlimb-part", BLOBS,
    f"{BLOBS}/ab", f"{BLOBS}/ab/{62 * '0'}", BLOB, BLOB, BLOB_FOLDER, BLOB_FOLDER, f"{BLOB_FOLDER}/{62 * '0'}",
    ".northlimb/making", ".northlimb/making/last-1-days.mp4", ".northlimb/discs", ".northlimb/answers",
    ".northlimb/stamps", ".northlimb-work", ".northlimb-work/lock",
    ".northlimb-work/pending.json", ".northlimb-work/incoming-0.northlimb-part",
    ".northlimb-work/record.northlimb-part", ".northlimb-work/restored.northlimb-part", ".northlimb-work/lock-by-name",
    ".site.northlimb-part", "site", "site/index.html", "site/files.json", "site/days",
    f"site/days/{ID[:10]}/index.html",
    "site/extra.html", "site/extra", "site/.northlimb-parts", "site/data/observations.json", "site/static",
    "../public", "../public/index.html", "../public/days", "../public/extra.html", "../public/files.json",
    "../.public.northlimb-new", "../.public.northlimb-old", "../.bag.northlimb-part", "../bag",
    "../.film.mp4.northlimb-part",
    "../film.jpg", "../second/2026", f"../second/{DAY}/{STEM}.png",
)  # fmt: skip
LINKED_TO = ("file", "folder", "new", "nothing", "root", "picture", "site")


@dataclass(frozen=True)
class Planted:
    """What was planted; `is_content` where an outside file's own bytes became the archive's, by a hard link."""

    words: str
    is_content: bool = False


def plant(archive: Path, number: int) -> Planted:
    """Plant one thing, chosen by the number, into an archive that lies beside the folder `outside`."""
    rng = np.random.default_rng([4711, number])
    kinds: tuple[Callable[[Path, np.random.Generator], Planted], ...] = (
        _link,
        _link,
        _link,
        _hard_link,
        _words,
        _words,
        _table,
        _pipe,
    )
    return kinds[number % len(kinds)](archive, rng)


def _chosen(rng: np.random.Generator, options: tuple[str, ...]) -> str:
    return options[int(rng.integers(len(options)))]


def _place(archive: Path, rng: np.random.Generator) -> str:
    place = _chosen(rng, PLACES)
    if not place.startswith((BLOB, BLOB_FOLDER)):
        return place
    blob = _chosen(rng, tuple(sorted(path.relative_to(archive).as_posix() for path in (archive / BLOBS).glob("*/*"))))
    return blob if place == BLOB else place.replace(BLOB_FOLDER, blob.rpartition("/")[0])


def _make_way(path: Path) -> None:
    """Remove what is in the way of a plant, and links on the way to it."""
    if path.is_symlink() or path.is_file():
        path.unlink()
    elif path.is_dir():
        shutil.rmtree(path)
    path.parent.mkdir(parents=True, exist_ok=True)


def _link(archive: Path, rng: np.random.Generator) -> Planted:
    place, kind = _place(archive, rng), _chosen(rng, LINKED_TO)
    outside = archive.parent / "outside"
    target = {
        "file": outside / "secret.txt", "folder": outside / "photos", "new": outside / "new.txt",
        "nothing": outside / "no/such/folder", "root": outside, "picture": outside / "photos/0915Z.png",
        "site": outside / "other-site",
    }[kind]  # fmt: skip
    path = archive / place
    _make_way(path)
    path.symlink_to(os.path.relpath(target, path.parent.resolve()) if rng.random() < 0.5 else target)
    return Planted(f"{place} is a link to {target.relative_to(archive.parent)}")


def _hard_link(archive: Path, rng: np.random.Generator) -> Planted:
    place = _place(archive, rng)
    path = archive / place
    _make_way(path)
    path.hardlink_to(archive.parent / "outside/secret.txt")
    return Planted(f"{place} is a second name of outside/secret.txt", is_content=True)


def _pipe(archive: Path, rng: np.random.Generator) -> Planted:
    """What would be waited for, in the place of what is derived."""
    place = _place(archive, rng)
    while not place.startswith(".northlimb/"):
        place = _place(archive, rng)
    _make_way(archive / place)
    os.mkfifo(archive / place)
    return Planted(f"{place} is a pipe")


def _table(archive: Path, rng: np.random.Generator) -> Planted:
    """A table of somebody else's, with words that the library acts on by itself."""
    outside, table = archive.parent / "outside", archive / TABLE
    kind = _chosen(rng, ("foreign", "trigger", "view", "journal", "journal of a linked file", "journal of journals"))
    changes = {
        "foreign": "CREATE TABLE places (url); INSERT INTO places VALUES ('theirs')",
        "trigger": "CREATE TRIGGER theirs AFTER INSERT ON value BEGIN DELETE FROM value; END",
        "view": "ALTER TABLE value RENAME TO theirs; CREATE VIEW value AS SELECT * FROM theirs",
    }
    if kind in changes:
        with closing(sqlite3.connect(table)) as database:
            database.executescript(changes[kind])
        return Planted(f"{TABLE}: {kind}")
    journal = hot_journal(table)
    if kind == "journal of a linked file":
        table.unlink()
        table.hardlink_to(outside / "secret.txt")
    elif kind == "journal of journals":  # the library removes the file that is named, once it has rolled back
        name = os.fsencode(outside / "secret.txt")
        tail = len(name).to_bytes(4, "big") + sum(name).to_bytes(4, "big") + bytes.fromhex("d9d505f920a163d7")
        journal += (2**30 // 4096 + 1).to_bytes(4, "big") + name + tail
    table.with_name(f"{table.name}-journal").write_bytes(journal)
    return Planted(f"{TABLE}: {kind}", is_content="linked" in kind)


def hot_journal(table: Path) -> bytes:
    """Return the journal of a change to a table that was cut off before its end."""
    journal = table.with_name(f"{table.name}-journal")
    with closing(sqlite3.connect(table, isolation_level=None)) as database:
        for statement in ("PRAGMA journal_mode = DELETE", "PRAGMA cache_size = 1", "BEGIN"):
            database.execute(statement)
        database.execute("UPDATE value SET value = value || value")
        made = journal.read_bytes()
        database.execute("ROLLBACK")
    return made


def _words(archive: Path, rng: np.random.Generator) -> Planted:
    """Words that name a place outside, where commands take words for names."""
    outside = archive.parent / "outside"
    path = _chosen(rng, ("../outside/secret.txt", str(outside / "secret.txt"), f"2026/../../outside/{DAY}/{STEM}.png",
                         "../outside/photos", "theme/../../outside/secret.txt", "../outside/new.txt"))  # fmt: skip
    kind = _chosen(rng, ("record", "second record", "checksums", "pending change", "pending picture", "files.json",
                         "public files.json", "remembered", "own pending", "target", "unfinished"))  # fmt: skip
    sha256 = hashlib.sha256((outside / "secret.txt").read_bytes()).hexdigest()
    record = archive / DAY / f"{STEM}.toml"
    if kind == "record":
        record.write_text(_with_file(record.read_text(), path))
    elif kind == "second record":
        (archive / DAY / "1010Z.toml").write_text(record.read_text().replace("T09:15:00", "T10:10:00"))
    elif kind == "checksums":
        with (archive / "checksums.sha256").open("a") as sums:
            sums.write(f"{sha256}  {path}\n")
    elif kind in ("pending change", "pending picture", "own pending"):
        _plant_pending(archive, path, sha256, kind)
    elif kind in ("files.json", "public files.json", "unfinished"):
        listed = (archive / "site" if kind != "public files.json" else archive.parent / "public") / "files.json"
        found = json.loads(listed.read_text())
        found["files"].append({"path": path, "sha256": sha256, "bytes": len(CANARY) + 1})
        found.update({"unfinished": True} if kind == "unfinished" else {})
        listed.write_text(json.dumps(found))
    elif kind == "remembered":
        _plant_remembered(archive, path)
    else:
        with (archive / "archive.toml").open("a") as settings:
            settings.write(f'\n[[targets]]\nname = "theirs"\nfolder = "{outside / "photos"}"\nkeep = ["{path}"]\n')
    return Planted(f"{kind}: {path}")


def _with_file(record: str, path: str) -> str:
    lines = [f"file = {json.dumps(path)}" if line.startswith("file = ") else line for line in record.splitlines()]
    return "\n".join([*lines, ""])


def _plant_pending(archive: Path, path: str, sha256: str, kind: str) -> None:
    change = {
        "moves": [[f"{DAY}/{STEM}.png", path], [path, f"{DAY}/stolen.png"]],
        "listed": {path: sha256},
        "unlisted": {},
    }
    entry = {"id": ID, "suffix": f"/../../{path}", "sha256": sha256} if kind == "pending picture" else change
    if kind == "own pending":  # as if this computer itself had written it down
        from archive.records.archive_files import files_of
        from archive.records.pending import write_pending

        write_pending(files_of(archive), entry)
    else:
        (archive / ".northlimb-work").mkdir(exist_ok=True)
        (archive / ".northlimb-work/pending.json").write_text(json.dumps(entry))


def _plant_remembered(archive: Path, path: str) -> None:
    entries = {path: {"text": "overwritten", "time_ns": 0}, f"{path}/notes.md": {"text": "overwritten", "time_ns": 0}}
    digest = hashlib.sha256(json.dumps(entries, sort_keys=True).encode()).hexdigest()
    (archive / "remembered-words.json").write_text(json.dumps({"words": entries, "sha256": digest}))


def snapshot_of(folder: Path) -> dict[str, tuple[object, ...]]:
    """Everything below a folder: names, bytes, rights and times."""
    found: dict[str, tuple[object, ...]] = {}
    for path in sorted(folder.rglob("*")):
        status = path.lstat()
        content = path.read_bytes() if path.is_file() and not path.is_symlink() else b""
        found[path.relative_to(folder).as_posix()] = (status.st_mode, content, status.st_mtime_ns if content else 0)
    return found
