"""The names of groups on disk: added to the end, never changed, never a way out of the site."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from archive.errors import SettingsError
from archive.model.group import NamedPosition
from archive.records.archive_files import files_of
from archive.records.group_names import GROUP_NAMES_FILE, add_names, read_names

GIVEN = NamedPosition("2311-1", datetime(2026, 6, 3, 9, 15, tzinfo=UTC), -12.34, 359.5)


def test_names_come_back_in_the_order_of_giving(tmp_path: Path) -> None:
    second = replace(GIVEN, name="2311-2")
    add_names(files_of(tmp_path), [GIVEN])
    add_names(files_of(tmp_path), [second])
    assert read_names(files_of(tmp_path)) == (GIVEN, second)


def test_what_a_hand_wrote_stays_byte_for_byte(tmp_path: Path) -> None:
    add_names(files_of(tmp_path), [GIVEN])
    path = tmp_path / GROUP_NAMES_FILE
    before = path.read_bytes() + b"\n# mine, without a last line break"
    path.write_bytes(before)
    add_names(files_of(tmp_path), [replace(GIVEN, name="2311-2")])
    assert path.read_bytes().startswith(before + b"\n")
    assert len(read_names(files_of(tmp_path))) == 2


def test_without_new_names_nothing_is_written(tmp_path: Path) -> None:
    add_names(files_of(tmp_path), [])
    assert list(tmp_path.iterdir()) == []
    assert read_names(files_of(tmp_path)) == ()


@pytest.mark.parametrize("name", ["../../x", "a/b", "", "-", "..", "x.", "\u00fc"])
def test_a_name_that_would_leave_its_folder_is_refused(tmp_path: Path, name: str) -> None:
    add_names(files_of(tmp_path), [GIVEN])
    path = tmp_path / GROUP_NAMES_FILE
    path.write_text(path.read_text().replace("2311-1", name))
    with pytest.raises(SettingsError, match=r"name = .*letters, digits, spaces, dots and hyphens"):
        read_names(files_of(tmp_path))


@pytest.mark.parametrize("name", ["AR 1117", "NOAA.1117", "Q", "a--b"])
def test_names_that_observers_write_are_taken(tmp_path: Path, name: str) -> None:
    add_names(files_of(tmp_path), [replace(GIVEN, name=name)])
    assert [one.name for one in read_names(files_of(tmp_path))] == [name]


def test_two_names_of_one_page_are_refused(tmp_path: Path) -> None:
    add_names(files_of(tmp_path), [replace(GIVEN, name="AR 1117"), replace(GIVEN, name="ar-1117")])
    with pytest.raises(SettingsError, match="duplicate name AR 1117, ar-1117"):
        read_names(files_of(tmp_path))


def test_a_name_given_twice_is_refused(tmp_path: Path) -> None:
    add_names(files_of(tmp_path), [GIVEN, GIVEN])
    with pytest.raises(SettingsError, match="duplicate name 2311-1"):
        read_names(files_of(tmp_path))


def test_of_thousands_of_names_given_twice_one_short_line_tells(tmp_path: Path) -> None:
    names = [replace(GIVEN, name=f"2311-{number}") for number in range(2000)]
    add_names(files_of(tmp_path), [*names, *names])
    with pytest.raises(SettingsError, match=r"duplicate name|2311-0, 2311-1, ") as refused:
        read_names(files_of(tmp_path))
    assert len(refused.value.causes) == 1
    assert len(refused.value.causes[0]) < 500


def test_a_file_of_names_may_grow_for_a_century_and_not_without_end(tmp_path: Path) -> None:
    path = tmp_path / GROUP_NAMES_FILE
    add_names(files_of(tmp_path), [GIVEN])
    path.write_bytes(path.read_bytes() + b"#".ljust(5_000_000, b"-") + b"\n")
    assert read_names(files_of(tmp_path)) == (GIVEN,)
    path.write_bytes(path.read_bytes() * 3)
    with pytest.raises(
        SettingsError, match=r"group-names\.toml: 15\.0 MB, over the 10 MB that it may have; shorten it$"
    ):
        read_names(files_of(tmp_path))
