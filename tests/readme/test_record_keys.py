"""Every key by which a hand puts a record right, as the README shows it, is changed and seen to take effect."""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image
from scenes.discs import Spot

from archive.commands.main import main
from archive.records.corrections import Dust, StatedCounts, StatedGroup
from archive.records.record import Record, Sidecar
from readme.small import answer_of, draw, new_archive
from readme.text import block_with, with_value

COUNTS, GROUPS, DUST = block_with("[counts]").text.split("\n\n")


def number(shown: Any) -> float:
    return float(shown["counts"]["relative_number"])


def group(key: str) -> Callable[[Any], object]:
    def look(shown: Any) -> object:
        (one,) = shown["groups"]
        return {**one, **one["group"], "spots": shown["counts"]["spots"]}[key]

    return look


# Each key: what is written instead, where `show` tells it, and what with the README's own value and with ours.
CHANGES: dict[str, tuple[str, str, str, Callable[[Any], object], object, object]] = {
    "counts.groups": (COUNTS, "groups", "4", number, 47.0, 57.0),
    "counts.spots": (COUNTS, "spots", "18", number, 47.0, 48.0),
    "groups.name": (GROUPS, "name", '"2297-4"', group("name"), "2297-3", "2297-4"),
    "groups.latitude_deg": (GROUPS, "latitude_deg", "9.5", group("latitude_deg"), -8.4, 9.5),
    "groups.carrington_longitude_deg": (
        GROUPS, "carrington_longitude_deg", "80.0", group("carrington_longitude_deg"), 107.4, 80.0
    ),
    "groups.spots": (GROUPS, "spots", "5", group("spots"), 2, 5),
    "groups.area_msh": (GROUPS, "area_msh", "90.0", group("area_msh"), 357.0, 90.0),
    "groups.umbra_msh": (GROUPS, "umbra_msh", "11.0", group("umbra_msh"), 65.0, 11.0),
}  # fmt: skip


@pytest.fixture(scope="module")
def root(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return new_archive(tmp_path_factory.mktemp("readme") / "my-sun")


@pytest.fixture(scope="module")
def record(root: Path) -> Path:
    """The record of a picture of one spot."""
    picture = draw(root.parent / "20260603T091500Z.png", spots=(Spot(10.0, 5.0, 4.0),))
    assert main(["add", str(root), str(picture)]) == 0
    return root / "2026" / "2026-06-03" / "0915Z.toml"


@pytest.fixture
def shown_with(root: Path, record: Path, capsys: pytest.CaptureFixture[str]) -> Iterator[Callable[[str], Any]]:
    """What `show` tells of the picture with this in its record: at the end where it is a table, else at the top."""
    filed = record.read_text(encoding="utf-8")

    def show(words: str) -> Any:
        record.write_text(f"{filed}\n{words}\n" if "[" in words[:1] else f"{words}\n{filed}", encoding="utf-8")
        (shown,) = answer_of(capsys, "show", root, "2026-06-03T0915Z")
        return shown

    yield show
    record.write_text(filed, encoding="utf-8")


def test_the_readme_shows_every_key_of_a_correction_and_none_that_is_not_there() -> None:
    tables = tomllib.loads(f"{COUNTS}\n{GROUPS}\n{DUST}")
    keys = {f"{table}.{key}" for table in ("counts", "groups") for key in dict(_first(tables[table]))}
    assert keys == set(CHANGES)
    models = {"counts": StatedCounts, "groups": StatedGroup, "dust": Dust}
    assert {name: set(_first(table)) for name, table in tables.items()} == {
        name: set(model.model_fields) for name, model in models.items()
    }
    assert set(Record.model_fields) - set(Sidecar.model_fields) == {*tables, "time_from", "picture", "measured"}


def _first(table: Any) -> dict[str, Any]:
    return dict(table[0] if isinstance(table, list) else table)


@pytest.mark.parametrize("what", CHANGES)
def test_a_key_of_the_record_takes_effect(what: str, shown_with: Callable[[str], Any]) -> None:
    block, key, value, look, before, after = CHANGES[what]
    as_printed = shown_with(block)
    assert as_printed["counts"]["stated"]
    assert look(as_printed) == before
    assert look(shown_with(with_value(block, key, value))) == after


def test_what_the_comments_call_optional_is(shown_with: Callable[[str], Any]) -> None:
    lines = [line for line in GROUPS.splitlines() if "optional" not in line]
    assert len(GROUPS.splitlines()) - len(lines) == 3
    assert shown_with("\n".join(lines))["counts"]["groups"] == 1


def test_no_groups_above_the_tables_are_none(shown_with: Callable[[str], Any]) -> None:
    assert "`groups = []` above `[picture]` for none" in GROUPS
    assert shown_with("")["counts"]["groups"] == 1
    none = {"groups": 0, "spots": 0, "relative_number": 0.0, "stated": True, "least_spot_msh": None}
    assert shown_with("groups = []")["counts"] == none


def test_a_picture_that_is_no_longer_to_be_measured_is_not(shown_with: Callable[[str], Any]) -> None:
    assert shown_with("measured = true")["counts"]["groups"] == 1
    shown = shown_with("measured = false")
    assert (shown["measured"], shown.get("counts")) == (False, None)


def test_each_key_of_dust_takes_the_spot_out_or_leaves_it(shown_with: Callable[[str], Any], root: Path) -> None:
    with Image.open(root / "2026" / "2026-06-03" / "0915Z.png") as picture:
        values = np.asarray(picture, float)
    rows, columns = np.mgrid[: values.shape[0], : values.shape[1]]
    inside = np.hypot(columns - 131.2, rows - 123.6) < 60.0
    y_px, x_px = np.unravel_index(np.argmin(np.where(inside, values, np.inf)), values.shape)
    here = with_value(with_value(DUST, "x_px", f"{x_px}.0"), "y_px", f"{y_px}.0")
    assert shown_with(DUST)["counts"]["groups"] == 1
    assert shown_with(here)["counts"]["groups"] == 0
    for key, value in (("x_px", x_px + 8), ("y_px", y_px + 8)):
        beside = with_value(here, key, f"{value}.0")
        assert shown_with(beside)["counts"]["groups"] == 1, key
        assert shown_with(with_value(beside, "radius_px", "12.0"))["counts"]["groups"] == 0, key
