"""Numbers typed into the desk: kept as they were typed, or refused by the name of their field."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest

from archive.desk.target_form import TargetForm
from archive.desk.typed_numbers import with_typed_numbers
from archive.errors import FactsError
from archive.language import speaking
from archive.records.record import Record
from archive.records.settings import FilmSettings, Settings, SiteSettings
from desk.desk_client import PICTURE, RECORD, Client

TEMPLATES = Path(__file__).parents[2] / "site_templates/desk"


@pytest.mark.parametrize(
    ("model", "key", "typed", "read"),
    [
        (Settings, "relative_number_k", "0.7", 0.7),
        (Settings, "fits", "30", 30),
        (Settings, "fits", "all", "all"),
        (SiteSettings, "latitude_deg", "41.3S", "41.3S"),
        (SiteSettings, "latitude_deg", "-41.3", -41.3),
        (SiteSettings, "elevation_m", "\N{MINUS SIGN}40.5", -40.5),
        (Record, "exposure_s", "4e-3", 0.004),
        (Record, "filter", "25", "25"),
        (FilmSettings, "days", " 7 ", 7),
        (TargetForm, "port", "2222", 2222),
    ],
)
def test_what_was_typed_is_read(model: Any, key: str, typed: str, read: object) -> None:
    assert with_typed_numbers(model, {key: typed}) == {key: read}


@pytest.mark.parametrize(
    ("model", "key", "typed", "advice"),
    [
        (Settings, "relative_number_k", "0,7", "write 0.7"),
        (SiteSettings, "elevation_m", "40,5", "write 40.5"),
        (Record, "exposure_s", "0,004", "write 0.004"),
        (Record, "exposure_s", "1.000,5", "write 12.5"),
        (Record, "exposure_s", "1_0", "write 12.5"),
        (Record, "exposure_s", "nan", "write 12.5"),
        (Record, "frames_stacked", "12.5", "write 12"),
        (FilmSettings, "pace_s", "٣", "write 12.5"),
        (TargetForm, "port", "22,0", "write 12"),
    ],
)
def test_what_is_no_number_is_refused_by_its_field(model: Any, key: str, typed: str, advice: str) -> None:
    with pytest.raises(FactsError, match=f"^{key}: '{typed}' is not a (whole )?number; {advice}$"):
        with_typed_numbers(model, {key: typed})


def test_no_field_lets_the_browser_read_a_number() -> None:
    for file in [*TEMPLATES.glob("*.html"), *TEMPLATES.glob("static/*.js")]:
        text = file.read_text(encoding="utf-8")
        assert 'type="number"' not in text, file.name
        assert 'type: "number"' not in text, file.name
        assert "valueAsNumber" not in text, file.name


def test_every_form_refuses_a_comma_and_changes_nothing(client: Client, sun: Path) -> None:
    settings, record = (sun / "archive.toml").read_text(), (sun / RECORD).read_text()
    found = client.get("/api/settings").json
    of_settings, values = {"made_from": found["made_from"]}, found["values"]
    of_record = {"made_from": client.get(f"/api/pictures/{PICTURE}").json["made_from"]}
    sites = [{**values["sites"][0], "elevation_m": "40,5"}, *values["sites"][1:]]
    instruments = [*values["instruments"][:1], {**values["instruments"][1], "camera_angle_deg": "12,5"}]
    for path, form, field in (
        ("settings", {**of_settings, "changes": {"relative_number_k": "0,7"}}, "relative_number_k"),
        ("settings", {**of_settings, "changes": {"sites": sites}}, "sites[1].elevation_m"),
        ("settings", {**of_settings, "changes": {"instruments": instruments}}, "instruments[2].camera_angle_deg"),
        (f"pictures/{PICTURE}/facts", {**of_record, "facts": {"exposure_s": "0,004"}}, "exposure_s"),
        (
            f"pictures/{PICTURE}/correct",
            {**of_record, "action": "count", "counts": {"groups": "1,0", "spots": "3"}},
            "counts.groups",
        ),
        ("films/strip", {"film": {"days": "1,5"}}, "film.days"),
    ):
        answer = client.post(f"/api/{path}", form)
        assert answer.status == 422, answer.body
        assert [cause["field"] for cause in answer.json["causes"]] == [field]
    assert (sun / "archive.toml").read_text() == settings
    assert (sun / RECORD).read_text() == record


def test_a_latitude_with_its_letter_is_kept_as_typed(client: Client, sun: Path) -> None:
    before = (sun / "archive.toml").read_text()
    found = client.get("/api/settings").json
    sites = [{**found["values"]["sites"][0], "latitude_deg": "41,3S", "elevation_m": "40.5"}]
    sites += found["values"]["sites"][1:]
    asked = {"made_from": found["made_from"], "changes": {"sites": sites}}
    assert client.post("/api/settings", asked).status == 200
    kept = tomllib.loads((sun / "archive.toml").read_text())["sites"][0]
    assert (kept["latitude_deg"], kept["elevation_m"]) == ("41,3S", 40.5)
    client.post("/api/settings/undo")
    assert (sun / "archive.toml").read_text() == before


def test_a_comma_is_read_where_the_language_of_the_pages_writes_one() -> None:
    typed = {"elevation_m": "12,5", "name": "1,5"}
    with speaking("de", part="desk"):
        assert with_typed_numbers(SiteSettings, typed) == {"elevation_m": 12.5, "name": "1,5"}
    with speaking("ja", part="desk"), pytest.raises(FactsError, match=r"12\.5"):
        with_typed_numbers(SiteSettings, typed)
