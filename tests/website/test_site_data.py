"""The data for other programs: names and kinds as published, null for unknown, a package that validates."""

from __future__ import annotations

import csv
import json
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import frictionless
import jsonschema
import pytest

from archive.website import Content, build_site
from archive.website.data_columns import COLUMNS
from archive.website.data_export import observation_record


def _object(**properties: Any) -> dict[str, Any]:
    return {"type": "object", "required": list(properties), "properties": properties}


NUMBER = {"type": "number"}
COUNT = {"type": "integer", "minimum": 0}
TEXT = {"type": "string", "minLength": 1}
FLAG = {"type": "boolean"}


def _or_null(kind: dict[str, Any]) -> dict[str, Any]:
    return {"anyOf": [kind, {"type": "null"}]}


# The names and kinds that the README promises to other programs.
OBSERVATION = _object(
    id={"type": "string", "pattern": r"^\d{4}-\d\d-\d\dT\d{4}Z$"},
    time_utc={"type": "string", "pattern": r"^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ$"},
    site=TEXT,
    instrument=TEXT,
    picture=_object(file=TEXT, sha256={"type": "string", "pattern": "^[0-9a-f]{64}$"}, width_px=COUNT, height_px=COUNT),
    disc=_object(x_px=NUMBER, y_px=NUMBER, radius_px=NUMBER, flattening=NUMBER, rms_px=NUMBER),
    orientation=_object(
        status={"enum": ["solved", "assumed", "unknown"]},
        north_angle_deg=_or_null({**NUMBER, "exclusiveMinimum": -180, "maximum": 180}),
        mirrored=_or_null(FLAG),
        sigma_deg=_or_null(NUMBER),
        evidence={"type": "array", "items": _object(kind=TEXT, north_angle_deg=NUMBER, sigma_deg=NUMBER)},
        alternative=_or_null(_object(north_angle_deg=NUMBER, mirrored=FLAG, odds={**NUMBER, "minimum": 1})),
    ),
    sun=_object(
        p_deg=NUMBER,
        b0_deg=NUMBER,
        l0_deg=NUMBER,
        semidiameter_arcsec=NUMBER,
        carrington_rotation=COUNT,
        altitude_deg=NUMBER,
        azimuth_deg=NUMBER,
        parallactic_angle_deg=NUMBER,
    ),
    counts=_object(groups=_or_null(COUNT), spots=_or_null(COUNT), relative_number=_or_null(NUMBER)),
    spot_area_msh=_or_null(NUMBER),
)


@pytest.fixture
def records(site: Path) -> list[dict[str, Any]]:
    loaded: list[dict[str, Any]] = json.loads((site / "data/observations.json").read_text(encoding="utf-8"))
    return loaded


NO_ALTERNATIVE = {"north_angle_deg": None, "mirrored": None, "odds": None}


def _leaves(record: dict[str, Any], prefix: str = "") -> Iterator[tuple[str, Any]]:
    for name, value in record.items():
        if name == "alternative":
            yield from _leaves(value or NO_ALTERNATIVE, f"{prefix}{name}_")
        elif isinstance(value, dict):
            yield from _leaves(value, f"{prefix}{name}_")
        else:
            yield prefix + name, value


def test_observations_keep_the_promised_names_and_kinds(records: list[dict[str, Any]]) -> None:
    jsonschema.validate(records, {"type": "array", "minItems": 4, "items": OBSERVATION})


def test_observations_are_in_order_of_time_whatever_the_order_given(content: Content, tmp_path: Path) -> None:
    build_site(replace(content, entries=content.entries[::-1]), tmp_path / "reversed")
    records = json.loads((tmp_path / "reversed/data/observations.json").read_text())
    assert [record["id"] for record in records] == [
        "2026-06-02T0915Z",
        "2026-06-03T0915Z",
        "2026-06-03T1415Z",
        "2026-06-05T0915Z",
    ]


def test_unknown_is_null_and_never_zero(records: list[dict[str, Any]]) -> None:
    unknown = records[-1]
    assert unknown["orientation"] == {
        "status": "unknown",
        "north_angle_deg": None,
        "mirrored": None,
        "sigma_deg": None,
        "evidence": [],
        "alternative": None,
    }
    assert set(unknown["counts"].values()) == {None}
    assert unknown["spot_area_msh"] is None
    assert set(unknown["capture"].values()) == {None}


def test_a_reading_that_remains_is_told_with_its_odds(records: list[dict[str, Any]], site: Path) -> None:
    told = [record["orientation"]["alternative"] for record in records]
    assert told == [{"north_angle_deg": -158.7, "mirrored": True, "odds": 12.3}, None, None, None]
    with (site / "data/observations.csv").open(newline="", encoding="utf-8") as stream:
        rows = list(csv.DictReader(stream))
    assert [row["orientation_alternative_odds"] for row in rows] == ["12.3", "", "", ""]
    assert [row["orientation_alternative_mirrored"] for row in rows] == ["true", "", "", ""]


def test_what_is_not_a_number_becomes_null(content: Content) -> None:
    observation = content.entries[0].observation
    sun = replace(observation.sun, p_deg=float("nan"), b0_deg=float("inf"))
    record = observation_record(replace(observation, sun=sun))
    text = json.dumps(record, allow_nan=False)
    assert '"p_deg": null' in text
    assert '"b0_deg": null' in text


def test_figures_are_rounded_to_what_they_mean(records: list[dict[str, Any]]) -> None:
    assert records[1]["time_utc"] == "2026-06-03T09:15:20Z"
    assert records[1]["orientation"]["north_angle_deg"] == -12.437
    assert records[1]["orientation"]["evidence"][0]["kind"] == "spots"


def test_columns_are_the_flattened_names_and_values_of_the_json(site: Path, records: list[dict[str, Any]]) -> None:
    with (site / "data/observations.csv").open(newline="", encoding="utf-8") as stream:
        header, *rows = csv.reader(stream)
    assert header == [column.name for column in COLUMNS]
    assert len(rows) == len(records)
    for row, record in zip(rows, records, strict=True):
        flat = dict(_leaves(record))
        assert set(header) == set(flat)
        for name, cell in zip(header, row, strict=True):
            expected = flat[name]
            if expected is None:
                assert cell == ""
            elif isinstance(expected, str):
                assert cell == expected
            else:
                assert json.loads(cell) == expected


def test_the_data_package_validates_and_its_rows_read_back(site: Path, records: list[dict[str, Any]]) -> None:
    # Frictionless checks names, kinds, sizes and hashes of the files against the package's own words.
    report = frictionless.validate(str(site / "data/datapackage.json"))
    assert report.valid, report.flatten(["rowNumber", "fieldName", "type", "message"])
    rows = frictionless.Package(str(site / "data/datapackage.json")).get_resource("observations").read_rows()
    assert [row["id"] for row in rows] == [record["id"] for record in records]
    assert rows[1]["orientation_mirrored"] is True
    assert rows[-1]["orientation_north_angle_deg"] is None


def test_a_table_that_was_tampered_with_does_not_validate(site: Path) -> None:
    table = site / "data/observations.csv"
    table.write_text(table.read_text().replace("-12.437", "twelve", 1))
    assert not frictionless.validate(str(site / "data/datapackage.json")).valid


def test_every_column_is_described_with_its_unit(site: Path) -> None:
    package = json.loads((site / "data/datapackage.json").read_text())
    fields = package["resources"][0]["schema"]["fields"]
    assert all(field["description"] for field in fields)
    units = {"_px": "px", "_deg": "deg", "_s": "s", "_arcsec": "arcsec", "_msh": "MSH", "_utc": "UTC", "_au": "au"}
    for field in fields:
        for ending, unit in units.items():
            if field["name"].endswith(ending):
                assert field["unit"] == unit


def test_groups_are_an_empty_list_for_now(site: Path) -> None:
    assert json.loads((site / "data/groups.json").read_text()) == []
