"""The day's notes: the observer's own text is never lost."""

import pytest

from archive.errors import FolderError
from archive.records.archive_files import files_of
from archive.records.notes import append_note, read_notes

DAY = "2026-06-03"


@pytest.fixture
def path(root):
    folder = root / "2026" / DAY
    folder.mkdir(parents=True)
    return folder / "notes.md"


def test_notes_are_added_as_paragraphs_once(root, path):
    assert read_notes(files_of(root), DAY) == ""
    for note in ("Clear.", "  Two groups near the limb.\n", "Clear.", "", "   "):
        append_note(files_of(root), DAY, note)
    assert path.read_text(encoding="utf-8") == "Clear.\n\nTwo groups near the limb.\n"


def test_a_note_that_is_part_of_another_is_still_added(root, path):
    append_note(files_of(root), DAY, "cloudy later")
    append_note(files_of(root), DAY, "cloud")
    assert read_notes(files_of(root), DAY) == "cloudy later\n\ncloud\n"


def test_what_the_observer_wrote_keeps_its_bytes(root, path):
    written = b"\xef\xbb\xbf    # F\xf6hn\r\n\r\n* item"  # a byte order mark, Latin-1, line ends of another system
    path.write_bytes(written)
    append_note(files_of(root), DAY, "Clear.")
    assert path.read_bytes() == written + b"\n\nClear.\n"
    assert read_notes(files_of(root), DAY).startswith("    # F�hn\n")
    append_note(files_of(root), DAY, "Clear.")
    assert path.read_bytes() == written + b"\n\nClear.\n"


def test_notes_of_a_day_end_at_100_kb(root, path):
    path.write_bytes(b"a" * 99_000)
    assert len(read_notes(files_of(root), DAY)) == 99_000
    with pytest.raises(FolderError, match=r"notes\.md: 101 kB of notes, over the 100 kB .* give a shorter note"):
        append_note(files_of(root), DAY, "b" * 2000)
    assert path.read_bytes() == b"a" * 99_000
    path.write_bytes(b"a" * 18_000_000)
    with pytest.raises(FolderError, match=r"notes\.md: 18000 kB of notes, over the 100 kB .* leave them out"):
        read_notes(files_of(root), DAY)
