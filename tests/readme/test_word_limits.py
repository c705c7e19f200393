"""Every limit of what a hand writes, and of films, that the README states is the one of the code."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from archive import theme_files
from archive.commands.main import main
from archive.disk import folder as disk
from archive.films import timeline
from archive.records import checksums, group_names, notes, record, settings, toml_files
from archive.records import text_files as remembered
from archive.website import notes as shown_notes
from readme.elsewhere import check_limits
from readme.small import draw, new_archive
from readme.text import paragraph_with

HERE = "tests/readme/test_word_limits.py::"


def most(key: str) -> int:
    """The longest list that a record's key may hold."""
    (limit,) = [rule.max_length for rule in record.Record.model_fields[key].metadata if hasattr(rule, "max_length")]
    return int(limit)


def mega(number: int) -> int:
    assert number % 1_000_000 == 0
    return number // 1_000_000


ENTRIES = "tests/records/test_toml_mistakes.py::test_a_thousand_entries_are_read_and_no_more"
MARKDOWN = "tests/website/test_site_notes.py::test_too_much_markdown_is_shown_as_it_was_written"
WORDS = {
    f"a record, a note beside a picture, or `archive.toml` {mega(toml_files._MOST_BYTES)} MB": (
        HERE + "test_words_of_a_megabyte_are_read_and_longer_ones_refused"
    ),
    f"in a record {most('groups'):,} groups": ENTRIES,
    f"and {most('dust'):,} specks of dust": ENTRIES,
    f"in `archive.toml` {settings._MOST_ENTRIES:,} sites": HERE + "test_a_thousand_tables_are_read_and_no_more",
    f"{settings._MOST_ENTRIES:,} instruments": HERE + "test_a_thousand_tables_are_read_and_no_more",
    f"{settings._MOST_ENTRIES:,} targets": HERE + "test_a_thousand_tables_are_read_and_no_more",
    f"and {settings._MOST_FILMS} films": (
        "tests/records/test_settings.py::test_a_hundred_films_are_kept_and_the_next_is_refused"
    ),
    f"`group-names.toml` {mega(group_names._MOST_BYTES)} MB": (
        "tests/records/test_group_names.py::test_a_file_of_names_may_grow_for_a_century_and_not_without_end"
    ),
    f"`checksums.sha256` {mega(checksums._MOST_BYTES)} MB": (
        "tests/records/test_checksums.py::test_checksums_of_gigabytes_are_not_read"
    ),
    f"a theme {theme_files.MOST_FILES} files": HERE + "test_a_larger_theme_is_refused",
    f"and {mega(theme_files.MOST_BYTES)} MB": HERE + "test_a_larger_theme_is_refused",
    f"folders nested {disk.DEEPEST} deep": (
        "tests/test_disk.py::test_folders_in_each_other_without_end_keep_nobody_waiting"
    ),
    f"any other list in an archive {disk.MOST_READ_BYTES >> 30} GB": (
        "tests/test_disk.py::test_a_file_of_holes_does_not_fill_the_memory"
    ),
    f"`remembered-words.json` {mega(remembered._MOST_BYTES)} MB": (
        "tests/whole/test_trust.py::test_lists_of_any_size_in_an_archive_handed_over_fill_no_memory"
    ),
    f"A day's notes have at most {notes.MOST_BYTES // 1000} kB": (
        "tests/records/test_notes.py::test_notes_of_a_day_end_at_100_kb"
    ),
    f"Notes with over {shown_notes._MOST_SIGNS:,} signs of Markdown": MARKDOWN,
    f"tables of over {shown_notes._MOST_CELLS:,} cells": MARKDOWN,
    f"A film has at most {timeline.MAX_FRAMES:,} frames": HERE + "test_a_longer_film_is_refused_at_once",
}


def test_limits_of_words_are_those_of_the_code() -> None:
    check_limits(paragraph_with("What you write has limits"), WORDS)


@pytest.fixture(scope="module")
def root(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An archive of two pictures, seventy days apart."""
    folder = tmp_path_factory.mktemp("limits")
    made = new_archive(folder / "my-sun")
    for number, day in enumerate(("20260401", "20260610")):
        assert main(["add", str(made), str(draw(folder / f"{day}T091500Z.png", seed=number))]) == 0
    return made


def refusal(capsys: pytest.CaptureFixture[str], *words: str | Path) -> str:
    capsys.readouterr()
    assert main([*map(str, words)]) == 1
    return capsys.readouterr().err


def padded(text: str, size: int) -> str:
    """The same TOML with a comment to so many bytes."""
    return f"{text}#".ljust(size, "-")


def test_words_of_a_megabyte_are_read_and_longer_ones_refused(
    root: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    picture = draw(tmp_path / "20260520T091500Z.png", seed=9)
    note = tmp_path / "20260520T091500Z.toml"
    for file, words in (
        (root / "archive.toml", ("show", root, "2026-04-01")),
        (root / "2026" / "2026-04-01" / "0915Z.toml", ("show", root, "2026-04-01")),
        (note, ("add", root, picture)),
    ):
        text = file.read_text(encoding="utf-8") if file.exists() else ""
        file.write_text(padded(text, 1_000_001), encoding="utf-8")
        assert f"{file}: 1.0 MB, over the 1 MB that it may have; shorten it" in refusal(capsys, *words)
        file.write_text(padded(text, 1_000_000), encoding="utf-8")
        assert main([*map(str, words)]) == 0
        file.write_text(text, encoding="utf-8")
    assert main(["remove", str(root), "2026-05-20T0915Z"]) == 0


@pytest.mark.parametrize(
    ("table", "keys"),
    [("sites", "latitude_deg = 1.0\nlongitude_deg = 1.0\n"), ("instruments", ""), ("targets", 'folder = "x"\n')],
)
def test_a_thousand_tables_are_read_and_no_more(
    table: str, keys: str, root: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = root / "archive.toml"
    before = path.read_text(encoding="utf-8")
    there = 0 if table == "targets" else 1
    more = [f'[[{table}]]\nname = "{number}"\n{keys}' for number in range(there, 1001)]
    path.write_text("\n".join([before, *more]), encoding="utf-8")
    assert f"{table}: has 1001 entries; at most 1000 are read" in refusal(capsys, "sun", root)
    path.write_text("\n".join([before, *more[1:]]), encoding="utf-8")
    assert main(["sun", str(root)]) == 0
    path.write_text(before, encoding="utf-8")


@pytest.mark.parametrize(("files", "size"), [(501, 1), (1, 20_000_001)])
def test_a_larger_theme_is_refused(
    files: int, size: int, root: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    theme_folder = root / "theme"
    theme_folder.mkdir()
    try:
        for number in range(files):
            with (theme_folder / f"{number}.txt").open("wb") as stream:
                stream.truncate(size)
        assert main(["trust", str(root)]) == 0
        told = refusal(capsys, "build", root)
        assert f"{files} files of {files * size // 1000} kB; a theme may hold 500 files of 20000 kB" in told
    finally:
        shutil.rmtree(theme_folder)


def test_a_longer_film_is_refused_at_once(root: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    span = ["--from", "2026-04-01", "--to", "2026-06-10", "--style", "smooth", "--pace", "60"]
    told = refusal(capsys, "film", root, *span, "--out", tmp_path / "long.mp4")
    assert "105000 frames from 2026-04-01 to 2026-06-10 (1500 a day), but the limit is 100000" in told
    assert not (tmp_path / "long.mp4").exists()
