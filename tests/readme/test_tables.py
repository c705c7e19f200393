"""Every row of the README's tables, and of its lists of keys, columns and kinds, is tied to what holds it."""

from __future__ import annotations

import re
from pathlib import Path
from typing import get_args

import pytest
from publishing.test_publish_remote import EVERY_PLACE
from scenes.discs import Spot

from archive.commands.main import main
from archive.model.choices import EVIDENCE_KINDS
from archive.publishing.address import Kind, parse_address
from archive.website.feed import _NEWEST
from readme.elsewhere import must_exist
from readme.small import draw, new_archive
from readme.text import README, block_with, paragraph_with, section, table_under

EVIDENCE = {
    "stated": ("tests/whole/test_build.py::test_stated_angle_that_the_mount_contradicts_stands_and_is_shown",
               "stated"),
    "header": ("tests/whole/test_build.py::test_upside_down_fits_comes_out_upright_by_its_header", "header"),
    "moon": ("tests/orientation/test_orientation_moon.py::test_a_series_gives_north_and_its_mirroring", "moon"),
    "spots": ("tests/whole/test_solving.py::test_spots_give_angles_and_mirroring_that_nobody_stated", "spots"),
    "sky": ("tests/orientation/test_orientation_sky.py::test_an_alt_azimuth_camera_sees_north_where_the_triangle_says",
            "sky"),
    "drift": ("tests/whole/test_add_drift.py::test_drift_agrees_with_the_mount_that_the_table_speaks_for", "drift"),
    "refraction": ("tests/whole/test_add_drift.py::test_the_low_sun_joins_the_mount", "refraction"),
}  # fmt: skip
LOOKING = "tests/website/test_looking_in_browser.py::"
KEYS = {
    "G": ("test_boxes_and_keys_lay_grid_names_and_axis_over_the_disc", 'press("g")', ".grid"),
    "L": ("test_boxes_and_keys_lay_grid_names_and_axis_over_the_disc", 'press("l"', ".names"),
    "A": ("test_boxes_and_keys_lay_grid_names_and_axis_over_the_disc", '"A")', ".axis"),
    "Z": (
        "test_the_zoom_moves_by_keys_drag_and_tap_and_escape_goes_back",
        'press("z")',
        '"ArrowDown"',
        '"-", "Escape"',
    ),
    "D": ("test_the_latest_disc_shows_the_days_ahead", 'press("d")', ".ahead"),
    "M": ("test_three_days_are_derotated_to_within_a_pixel_and_a_half", 'press("m")'),
    "K": ("test_blinking_waits_for_the_reader_and_never_flashes", 'press("k")'),
    "- +": ("test_blinking_waits_for_the_reader_and_never_flashes", 'press("+", "+", "+")'),
    "← →": ("test_left_and_right_move_the_divider_from_anywhere_on_the_page", '"ArrowLeft"', '"ArrowRight"'),
    "← → of a day": ("test_arrows_and_a_finger_drawn_across_the_disc_lead_to_the_next_day", '"ArrowLeft"'),
}
PLAYER_KEYS = {key: "tests/website/test_film_player.py::test_keys_move_and_change_the_speed" for key in "PBNSF"}


def test_every_kind_of_evidence_has_its_row_and_its_test() -> None:
    rows = [row[0].strip("`") for row in table_under("Which way is north")]
    assert rows == list(EVIDENCE_KINDS) == list(EVIDENCE)
    for test, *words in EVIDENCE.values():
        must_exist(test, *words)


def test_every_key_of_the_pages_has_its_test() -> None:
    rows = table_under("Looking closer")
    assert [row[0] for row in rows] + [row[2] for row in rows] == list(KEYS)
    for function, *words in KEYS.values():
        must_exist(LOOKING + function, *words)


def test_every_key_of_the_player_has_its_test() -> None:
    said = re.search(r"while it has the focus, (.*?)\.", paragraph_with("In the page's player"))
    assert said
    assert re.findall(r"\b[A-Z]\b", said[1]) == list(PLAYER_KEYS)
    for key, test in PLAYER_KEYS.items():
        must_exist(test, f'"{key.lower()}"')


def test_every_kind_of_target_is_written_as_the_table_has_it() -> None:
    written = [row[1].strip("`") for row in table_under("Publishing")]
    kinds = [parse_address(place).kind for place in written]
    assert {*kinds, "webdav"} == set(get_args(Kind))  # the sentence below the table has the one that is left
    assert "`webdav://` is WebDAV without encryption" in README
    assert len(kinds) == len(set(kinds))


@pytest.mark.parametrize("row", table_under("Publishing"), ids=lambda row: str(row[0]))
def test_every_kind_of_target_is_published_to_by_a_test(row: list[str]) -> None:
    assert parse_address(row[1].strip("`")).kind in EVERY_PLACE
    must_exist("tests/publishing/test_publish_remote.py::test_a_site_goes_there_changes_there_and_is_checked_there")
    for extra in re.findall(r"northlimb\[(\w+)\]", row[2]):
        must_exist("tests/publishing/test_publish_faults.py::test_a_missing_extra_is_named", f'"{extra}"')


def test_columns_of_the_report_are_those_of_the_readme(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    root = new_archive(tmp_path / "my-sun")
    picture = draw(tmp_path / "20260603T091500Z.png", spots=(Spot(10.0, 5.0, 4.0),))
    assert main(["add", str(root), str(picture)]) == 0
    capsys.readouterr()
    assert main(["report", str(root), "--month", "2026-06", "--format", "csv"]) == 0
    columns = capsys.readouterr().out.splitlines()[0].split(",")
    said = paragraph_with("`--format csv` gives columns").partition("gives columns")[2]
    named = [name for name in re.findall(r"`(\w+)`", said) if not name.startswith("_")]
    counts = ["groups", "spots", "relative_number"]
    place = named.index("relative_number") + 1
    sides = [f"{name}_{side}" for side in ("north", "south") for name in counts]
    assert columns == named[:place] + sides + named[place:]


def test_the_feed_has_as_many_observations_as_the_readme_says() -> None:
    assert f"an Atom feed of the newest {_NEWEST} observations" in " ".join(section("The site").split())


def test_files_of_a_film_are_those_of_the_readme() -> None:
    said = paragraph_with("`--out FILE.mp4` writes")
    assert "film, poster (`.jpg`), list of frames (`.json`), `-loop.mp4` and `-av1.mp4`" in said
    must_exist("tests/films/test_daily_film.py::test_a_film_has_poster_list_of_frames_and_clip")


def test_names_in_the_layout_are_told_in_the_sentences_too() -> None:
    names = [line.split()[0] for line in block_with("my-sun/\n").lines[1:]]
    for name in ("archive.toml", "group-names.toml", "checksums.sha256", "removed/"):
        assert name in names
        assert f"`{name}`" in README
