"""Settings in forms: the file keeps its comments, and a change is undone."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

from archive.records.settings import Settings
from desk.desk_client import Client


def test_a_change_keeps_comments_and_is_undone(client: Client, sun: Path) -> None:
    file = sun / "archive.toml"
    before = file.read_text()
    found = client.get("/api/settings").json
    instruments = found["values"]["instruments"]
    instruments[1]["camera_angle_deg"] = 3.5
    del instruments[0]["filter"]
    sites = [*found["values"]["sites"], {"name": "Orbit", "horizon": "none"}]
    changes = {
        "title": "Sun over the quay",
        "address": "https://example.org/sun/",
        "looks": ["warm", "natural"],
        "fits": 30,
        "instruments": instruments,
        "sites": sites,
    }
    kept = client.post("/api/settings", {"made_from": found["made_from"], "changes": changes}).json
    now = tomllib.loads(file.read_text())
    assert {key: now[key] for key in changes} == changes
    comments = [line.partition("#")[2] for line in before.splitlines() if "#" in line]
    assert [line.partition("#")[2] for line in file.read_text().splitlines() if "#" in line] == comments
    assert client.post("/api/settings", {"made_from": found["made_from"], "changes": {"title": "x"}}).status == 409
    assert kept["undo"]
    client.post("/api/settings/undo")
    assert file.read_text() == before


def test_a_mistake_names_its_field_and_changes_nothing(client: Client, sun: Path) -> None:
    before = (sun / "archive.toml").read_text()
    found = client.get("/api/settings").json
    sites = [{**found["values"]["sites"][0], "latitude_deg": 95}]
    answer = client.post("/api/settings", {"made_from": found["made_from"], "changes": {"sites": sites}})
    assert answer.status == 422
    assert [cause["field"] for cause in answer.json["causes"]] == ["sites[1].latitude_deg"]
    refused = client.post("/api/settings", {"made_from": found["made_from"], "changes": {"targets": []}})
    assert refused.status == 422
    assert (sun / "archive.toml").read_text() == before


def test_every_key_of_the_settings_has_its_form() -> None:
    """Tables have forms of their own: targets and films on other pages."""
    html = (Path(__file__).parents[2] / "site_templates/desk/settings.html").read_text(encoding="utf-8")
    named = set(re.findall(r'name="(\w+)"|data-add="(\w+)"', html))
    named = {name for pair in named for name in pair} | {"looks", "targets", "films", "format"}
    assert set(Settings.model_fields) - named == set()


def test_the_desk_speaks_the_language_of_the_settings(client: Client, sun: Path) -> None:
    assert b'<html lang="en">' in client.get("/settings").body
    found = client.get("/api/settings").json
    client.post("/api/settings", {"made_from": found["made_from"], "changes": {"language": "de-AT"}})
    kept = client.get("/api/settings").json
    assert kept["undo"] == "Sprache"
    page = client.get("/settings").body.decode()
    assert '<html lang="de">' in page
    assert "<h1>Einstellungen</h1>" in page
    assert "Die Website ist aktuell" in client.get("/static/desk.js").body.decode()
    sites = [{**kept["values"]["sites"][0], "elevation_m": "zwölf"}]
    refused = client.post("/api/settings", {"made_from": kept["made_from"], "changes": {"sites": sites}})
    assert [cause["text"] for cause in refused.json["causes"]] == [
        "sites[1].elevation_m: 'zwölf' ist keine Zahl; 12,5 schreiben"
    ]
    client.post("/api/settings/undo")
    assert b'<html lang="en">' in client.get("/settings").body
