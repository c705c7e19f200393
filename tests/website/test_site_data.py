"""The data for other programs: names and kinds as published, null for unknown, a package that validates."""

from __future__ import annotations

import csv
import hashlib
import json
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import frictionless
import jsonschema
import pytest

from archive.website.content import Content
from archive.website.data_columns import COLUMNS, GROUP_COLUMNS
from archive.website.observation_data import observation_record
from website.invented import build_site


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
    counts=_object(
        groups=_or_null(COUNT), spots=_or_null(COUNT), relative_number=_or_null(NUMBER), stated=_or_null(FLAG)
    ),
    spot_area_msh=_or_null(NUMBER),
)

GROUP = _object(
    name=TEXT,
    sightings={
        "type": "array",
        "minItems": 1,
        "items": _object(
            observation={"type": "string", "pattern": r"^\d{4}-\d\d-\d\dT\d{4}Z$"},
            latitude_deg={**NUMBER, "minimum": -90, "maximum": 90},
            carrington_longitude_deg={**NUMBER, "minimum": 0, "maximum": 360},
            central_meridian_distance_deg={**NUMBER, "minimum": -180, "maximum": 180},
            area_msh=NUMBER,
            spots=COUNT,
        ),
    },
    rotation_deg_per_day=_or_null(NUMBER),
    rotation_sigma=_or_null(NUMBER),
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
    assert records[1]["orientation"]["north_angle_deg"] == -12.44  # ± 0.38
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
    schemas = [resource["schema"] for resource in package["resources"] if "schema" in resource]
    assert len(schemas) == 2
    fields = [field for schema in schemas for field in schema["fields"]]
    assert all(field["description"] for field in fields)
    units = {
        "_px": "px",
        "_deg": "deg",
        "_s": "s",
        "_arcsec": "arcsec",
        "_msh": "MSH",
        "_utc": "UTC",
        "_au": "au",
        "_per_day": "deg/d",
    }
    for field in fields:
        for ending, unit in units.items():
            if field["name"].endswith(ending):
                assert field["unit"] == unit


def _groups(site: Path) -> list[dict[str, Any]]:
    loaded: list[dict[str, Any]] = json.loads((site / "data/groups.json").read_text(encoding="utf-8"))
    return loaded


def test_groups_keep_the_promised_names_and_kinds(site: Path) -> None:
    jsonschema.validate(_groups(site), {"type": "array", "minItems": 2, "items": GROUP})


def test_groups_are_told_as_they_were_followed(site: Path, records: list[dict[str, Any]]) -> None:
    first, second = _groups(site)
    assert (first["name"], first["return_of"], first["other_names"]) == ("2312-1", "2311-4", ["2312-7"])
    assert (first["rotation_deg_per_day"], first["rotation_sigma"]) == (14.37, 0.15)
    assert second["rotation_deg_per_day"] is None
    assert [seen["stated"] for seen in second["sightings"]] == [False, True]
    # L0 + W = Carrington longitude, as the trade counts it (Thompson 2006, A&A 449, 791, section 2.1).
    l0_deg = {record["id"]: record["sun"]["l0_deg"] for record in records}
    for seen in (*first["sightings"], *second["sightings"]):
        west = (seen["carrington_longitude_deg"] - l0_deg[seen["observation"]] + 180) % 360 - 180
        assert west == pytest.approx(seen["central_meridian_distance_deg"], abs=2e-3)


def test_the_table_of_groups_has_a_row_a_sighting_with_the_same_values(site: Path) -> None:
    with (site / "data/groups.csv").open(newline="", encoding="utf-8") as stream:
        header, *rows = csv.reader(stream)
    assert header == [column.name for column in GROUP_COLUMNS]
    expected = [{**group, **seen} for group in _groups(site) for seen in group["sightings"]]
    assert len(rows) == len(expected) == 5
    for row, flat in zip(rows, expected, strict=True):
        assert set(header) == set(flat) - {"sightings"}
        cells = {name: flat[name] for name in header}
        assert row == [
            "" if value is None else value if isinstance(value, str) else json.dumps(value) for value in cells.values()
        ]


def test_a_sighting_of_no_observation_does_not_validate(site: Path) -> None:
    # Table Schema, foreign keys: each row's observation must be an id of the observations.
    table, package = site / "data/groups.csv", site / "data/datapackage.json"
    data = table.read_bytes().replace(b"2026-06-02T0915Z", b"2026-06-02T0916Z")
    described = json.loads(package.read_text())
    resource = next(one for one in described["resources"] if one["path"] == "groups.csv")
    resource["hash"] = f"sha256:{hashlib.sha256(data).hexdigest()}"
    table.write_bytes(data)
    package.write_text(json.dumps(described))
    assert [error[0] for error in frictionless.validate(str(package)).flatten(["type"])] == ["foreign-key"]


def test_sightings_without_a_place_or_an_observation_are_left_out(content: Content, tmp_path: Path) -> None:
    first, second = content.groups
    nowhere = replace(first.sightings[0].group, latitude_deg=None)
    sightings = (replace(first.sightings[0], group=nowhere), replace(first.sightings[1], observation_id="gone"))
    lost = replace(second, sightings=sightings)
    build_site(replace(content, groups=(first, lost)), tmp_path / "site")
    assert [group["name"] for group in _groups(tmp_path / "site")] == ["2312-1"]
    assert not (tmp_path / "site/groups/2312-2").exists()


def test_a_count_by_hand_is_marked(records: list[dict[str, Any]], site: Path) -> None:
    assert [record["counts"]["stated"] for record in records] == [False, False, True, None]
    with (site / "data/observations.csv").open(newline="", encoding="utf-8") as stream:
        assert [row["counts_stated"] for row in csv.DictReader(stream)] == ["false", "false", "true", ""]


def test_an_archive_without_groups_has_an_empty_list_that_validates(content: Content, tmp_path: Path) -> None:
    build_site(replace(content, groups=()), tmp_path / "site")
    assert _groups(tmp_path / "site") == []
    assert frictionless.validate(str(tmp_path / "site/data/datapackage.json")).valid
