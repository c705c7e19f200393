"""Damaged and invented input, given to the readers of pictures and records; run by `test_hostile_input`.

What must hold for each input: the reader answers, or refuses with an `ArchiveError` (what is derived is just read as
absent), within 10 s and 1 GB more memory than it had before. Inputs are numbered, and the number alone makes them.

Run one reader: ``PYTHONPATH=.:tests python -m studies.hostile_input jpeg 0 500 10``; answers one line a fault.
"""

from __future__ import annotations

import random
import resource
import signal
import sys
import tempfile
import traceback
from collections.abc import Callable
from pathlib import Path

from studies.hostile_seeds import mutated_bytes, mutated_text, odd_name, seeds_of

ROOM_BYTES = 1 << 30
Reader = Callable[[bytes], object]


def picture(data: bytes) -> None:
    from archive.errors import ArchiveError
    from archive.reading import facts_in_file, picture_kind, read_pixels

    refused = None
    try:
        read_pixels(data, "sun.png")
    except ArchiveError as error:
        refused = error
    if (kind := picture_kind(data)) is not None:
        facts_in_file(data, kind, "sun.png")
    if refused is not None:
        raise refused


def exif(block: bytes) -> None:
    from reading.drawn import png_chunk

    from archive.reading.exif import exif_facts, orientation

    jpeg = b"\xff\xd8\xff\xe1" + min(len(block) + 8, 65535).to_bytes(2, "big") + b"Exif\0\0" + block + b"\xff\xda\0\2"
    png = b"\x89PNG\r\n\x1a\n" + png_chunk(b"eXIf", block) + png_chunk(b"IEND", b"")
    for kind, data in (("jpeg", jpeg), ("png", png), ("tiff", block)):
        exif_facts(data, kind)  # type: ignore[arg-type]
        orientation(data, kind)  # type: ignore[arg-type]


def file_name(data: bytes) -> None:
    from archive.reading.file_name import name_facts

    name_facts(data.decode("utf-8", "surrogateescape"))


def in_folder(name: str, read: Callable[[Path], object]) -> Reader:
    """A reader of a file that stands in an archive's folder."""
    root = Path(tempfile.mkdtemp())
    path = root / name
    path.parent.mkdir(parents=True, exist_ok=True)

    def write_and_read(data: bytes) -> object:
        path.write_bytes(data)
        return read(root)

    return write_and_read


def record(root: Path) -> None:
    from archive.records.record import capture_of, read_record, record_text

    found = read_record(root, "2026/2026-06-03/0915Z.toml")
    capture_of(found)
    record_text(found)


def settings(root: Path) -> None:
    from archive.records.settings import check_format, new_settings_text, read_settings

    check_format(root)
    found = read_settings(root)
    for site in found.sites:
        found.published_place(site)
    new_settings_text(found)


def group_names(root: Path) -> None:
    from archive.records.group_names import read_names

    read_names(root)


def checksums(root: Path) -> None:
    from archive.records.checksums import read_checksums

    read_checksums(root)


def notes(root: Path) -> None:
    from archive.records.notes import read_notes
    from archive.website.notes import notes_html

    html = notes_html(read_notes(root, "2026-06-03"))
    for sign in ("<script", "<img", "<iframe", "<svg", 'href="javascript:', 'href="data:'):
        if sign in html.lower():
            raise AssertionError(f"{sign} is alive in {html[:200]!r}")


def kept(root: Path) -> None:
    """Every kept file holds the same bytes; each must be read as absent or as what it should be."""
    from archive.answers import Answers
    from archive.records.counted_spots import read_spots
    from archive.records.measured import read_measured
    from archive.records.solved import kept_answer, read_learned

    from archive.computer_key import keyed_check
    from archive.kept import checked
    from archive.records.archive_files import derived_files
    from archive.records.pending import PENDING, change_of, read_pending
    from archive.records.words import read_words

    data = (root / "kept.json").read_bytes()
    name, _ = kept_answer(root, {"a": 1})
    digits = "0" * 64
    places = (
        f"orientation/{name}",
        "orientation/learned.json",
        f"measured/00/{digits}.json",
        f"spots/00/{digits}.json",
    )
    for place in places:  # under this computer's check too, so that what stands behind it is read
        put(root / ".northlimb" / place, data if data[:1] > b"@" else checked(data, place))
    put(root / "remembered-words.json", data)
    put(root / PENDING, data if data[:1] > b"@" else checked(data, PENDING))
    read_words(root), read_learned(root), kept_answer(root, {"a": 1}), read_measured(root, digits)
    read_spots(root, digits, _disc())
    if (entry := read_pending(root)) is not None:
        change_of(entry)
    put(root / ".northlimb/answers/pages", keyed_check(b"answers/pages", data) + data)
    if Answers(derived_files(root), "answers/pages").get("", dict) is not None:
        raise AssertionError("an answer out of nothing")


def put(path: Path, data: bytes) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(data)


def _disc() -> object:
    from dataclasses import fields

    from archive.model.observation import Disc

    return Disc(*(1.0 for _ in fields(Disc)))  # type: ignore[arg-type]


def readers() -> dict[str, Reader]:
    return {
        **dict.fromkeys(("png", "jpeg", "tiff", "fits"), picture),
        "exif": exif,
        "name": file_name,
        "record": in_folder("2026/2026-06-03/0915Z.toml", record),
        "settings": in_folder("archive.toml", settings),
        "group-names": in_folder("group-names.toml", group_names),
        "checksums": in_folder("checksums.sha256", checksums),
        "notes": in_folder("2026/2026-06-03/notes.md", notes),
        "kept": in_folder("kept.json", kept),
    }


def made(reader: str, number: int) -> bytes:
    """The input of that number."""
    rng = random.Random(f"{reader} {number}")
    if reader == "name":
        return odd_name(rng)
    seed = rng.choice(seeds_of(reader))
    return (
        mutated_bytes(rng, seed, kind=reader)
        if reader in ("png", "jpeg", "tiff", "fits", "exif")
        else mutated_text(rng, seed)
    )


def limit_memory() -> None:
    used = int(Path("/proc/self/statm").read_text().split()[0]) * resource.getpagesize()
    resource.setrlimit(resource.RLIMIT_AS, (used + ROOM_BYTES, used + ROOM_BYTES))


def memory_ran_out(error: BaseException | None) -> bool:
    while error is not None:
        if isinstance(error, MemoryError):
            return True
        error = error.__cause__ or error.__context__
    return False


def fault_of(read: Reader, data: bytes) -> str | None:
    from archive.errors import ArchiveError

    try:
        read(data)
    except ArchiveError as error:
        if memory_ran_out(error):
            return "memory ran out: " + error.causes[0]
        odd = [line for line in error.causes if len(line) > 500]
        return f"no clear line: {odd[0][:200]!r}" if odd else None
    except BaseException as error:
        where = traceback.extract_tb(error.__traceback__)[-1]
        return f"{type(error).__name__}: {str(error)[:150]} ({Path(where.filename).name}:{where.lineno})"
    return None


def main(reader: str, first: int, last: int, limit_s: int) -> None:
    read = readers()[reader]
    for seed in seeds_of(reader):  # everything imported before memory is measured
        fault_of(read, seed)
    limit_memory()
    for number in range(first, last):
        print("at", number, flush=True)
        data = made(reader, number)
        signal.alarm(limit_s)  # ends the process wherever it is, in a library too
        fault = fault_of(read, data)
        signal.alarm(0)
        if fault is not None:
            print("fault", number, fault, flush=True)
    print("done", flush=True)


if __name__ == "__main__":
    main(sys.argv[1], *map(int, sys.argv[2:5]))
