"""Damaged and invented input, given to the readers of pictures and records; run by `test_hostile_input`.

What must hold for each input: the reader answers, or refuses with an `ArchiveError` (what is derived is just read as
absent), within 10 s and 1 GB more memory than it had before. Inputs are numbered, and the number alone
makes them, but for the seals and journals of tables.

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
from functools import cache
from pathlib import Path
from typing import Any

from studies.hostile_seeds import JOURNAL, KEPT_VALUES, kept_value, mutated_bytes, mutated_text, odd_name, seeds_of

from archive.disk import Folder
from archive.records.archive_files import files_of

ROOM_BYTES = 1 << 30
PICTURES = ("png", "jpeg", "tiff", "fits", "webp", "avif", "heif", "bmp")
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


def xmp(packet: bytes) -> None:
    from reading.drawn import png_chunk

    from archive.reading.xmp import xmp_times

    body = b"http://ns.adobe.com/xap/1.0/\0" + packet
    jpeg = b"\xff\xd8\xff\xe1" + min(len(body) + 2, 65535).to_bytes(2, "big") + body + b"\xff\xda\0\2"
    text = png_chunk(b"iTXt", b"XML:com.adobe.xmp\0\0\0\0\0" + packet)
    png = b"\x89PNG\r\n\x1a\n" + text + png_chunk(b"IEND", b"")
    tag = (700).to_bytes(2, "little") + b"\1\0" + len(packet).to_bytes(4, "little") + (26).to_bytes(4, "little")
    tiff = b"II*\0\x08\0\0\0\1\0" + tag + bytes(4) + packet
    for kind, data in (("jpeg", jpeg), ("png", png), ("tiff", tiff)):
        xmp_times(data, kind)  # type: ignore[arg-type]


def file_name(data: bytes) -> None:
    from archive.reading.file_name import name_facts

    name_facts(data.decode("utf-8", "surrogateescape"))


def in_folder(name: str, read: Callable[[Folder], object]) -> Reader:
    """A reader of a file that stands in an archive's folder."""
    root = Path(tempfile.mkdtemp())
    path = root / name
    path.parent.mkdir(parents=True, exist_ok=True)

    def write_and_read(data: bytes) -> object:
        path.write_bytes(data)
        return read(files_of(root))

    return write_and_read


def record(files: Folder) -> None:
    from archive.records.record import capture_of, read_record, record_text

    found = read_record(files, "2026/2026-06-03/0915Z.toml")
    capture_of(found)
    record_text(found)


def settings(files: Folder) -> None:
    from archive.records.settings import check_format, new_settings_text, read_settings

    check_format(files)
    found = read_settings(files)
    for site in found.sites:
        found.published_place(site)
    new_settings_text(found)


def group_names(files: Folder) -> None:
    from archive.records.group_names import read_names

    read_names(files)


def checksums(files: Folder) -> None:
    from archive.records.checksums import read_checksums

    read_checksums(files)


def notes(files: Folder) -> None:
    from archive.records.notes import read_notes
    from archive.website.notes import notes_html

    html = notes_html(read_notes(files, "2026-06-03"))
    for sign in ("<script", "<img", "<iframe", "<svg", 'href="javascript:', 'href="data:'):
        if sign in html.lower():
            raise AssertionError(f"{sign} is alive in {html[:200]!r}")


def kept(files: Folder) -> None:
    """Every kept file holds the same bytes; each must be read as absent or as what it should be."""
    from archive.records.pending import PENDING, change_from, read_pending
    from archive.records.text_files import remembered_files
    from archive.signed_content import signed_content

    data = (files.path / "kept.json").read_bytes()
    put(files.path / "remembered-words.json", data)
    # Under this computer's check too, so that what stands behind it is read.
    put(files.path / PENDING, data if data[:1] > b"@" else signed_content(data, PENDING))
    remembered_files(files)
    if (entry := read_pending(files)) is not None:
        change_from(entry)


def value(data: bytes) -> None:
    """A value of the store, sealed by this computer: absent, or what it is asked to be."""
    import msgspec

    from archive.films.production import film_of
    from archive.model.observation import SpotGroup, SunView
    from archive.model.observatory import CameraEpoch
    from archive.orientation.spots import SpotSolution
    from archive.stages.films import KeptFilm
    from archive.stages.studies import KeptStudy
    from archive.store import Blob, Store

    readings, groups = tuple[SpotSolution | None, ...], tuple[SpotGroup, ...]
    epochs, hours = tuple[CameraEpoch, ...], list[int | None]
    kinds: tuple[Any, ...] = (KeptStudy, KeptFilm, SunView, str, dict[str, Blob], readings, groups, epochs, hours)
    with Store(_folder("value")) as store:
        store.put(film_of, "one", None, msgspec.Raw(data))
        for kind in kinds:
            store.get(film_of, "one", None, kind)
        store.derive(film_of, "one", None, KeptStudy, lambda: None)


def table(data: bytes) -> None:
    """A file in the place of the store's, perhaps with a journal beside it, and more than one look at it.

    What is found is what was put, or nothing; what is put is kept as soon as a damaged file has been replaced.
    """
    from archive.films.production import film_of
    from archive.store import Store

    folder = _folder("table")
    file, _, journal = data.partition(JOURNAL)
    put(folder.path / "store.sqlite", file)
    (folder.path / "store.sqlite-journal").unlink(missing_ok=True)
    if journal:
        put(folder.path / "store.sqlite-journal", journal)
    for _ in range(3):
        with Store(folder) as store:
            for number in range(KEPT_VALUES):
                found = store.get(film_of, str(number), None, str)
                if found not in (None, kept_value(number)):
                    raise AssertionError(f"{found!r} for {number}")
            store.forget(film_of, keep=[str(number) for number in range(KEPT_VALUES)])
            blob = store.add_blob(b"a picture")
            store.put(film_of, "0", None, kept_value(0), blobs=[blob])
            store.check_blobs()
    if Store(folder).get(film_of, "0", None, str) != kept_value(0):
        raise AssertionError("nothing is kept any more")


@cache
def _folder(name: str) -> Folder:
    return Folder(Path(tempfile.mkdtemp(prefix=f"northlimb-{name}-")))


def put(path: Path, data: bytes) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(data)


def readers() -> dict[str, Reader]:
    return {
        **dict.fromkeys(PICTURES, picture),
        "exif": exif,
        "xmp": xmp,
        "name": file_name,
        "record": in_folder("2026/2026-06-03/0915Z.toml", record),
        "settings": in_folder("archive.toml", settings),
        "group-names": in_folder("group-names.toml", group_names),
        "checksums": in_folder("checksums.sha256", checksums),
        "notes": in_folder("2026/2026-06-03/notes.md", notes),
        "kept": in_folder("kept.json", kept),
        "value": value,
        "table": table,
    }


def made(reader: str, number: int) -> bytes:
    """The input of that number."""
    rng = random.Random(f"{reader} {number}")
    if reader == "name":
        return odd_name(rng)
    seed = rng.choice(seeds_of(reader))
    return (
        mutated_bytes(rng, seed, kind=reader)
        if reader in (*PICTURES, "exif", "value", "table")
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
