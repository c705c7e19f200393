"""Films at the desk: asked for, made in a queue, stopped, kept, forgotten, saved."""

from __future__ import annotations

import base64
import io
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import click
import pytest
from PIL import Image

from archive.commands.film import film
from archive.desk.film_queue import film_command
from archive.records.settings import FilmSettings
from desk.desk_client import Client, desk_of, until

SHORT = {"days": 1, "size_px": 480}
LONG = {"days": 3, "style": "smooth", "pace_s": 60.0}
TEMPLATE = Path(__file__).parents[2] / "site_templates" / "desk" / "films.html"


@pytest.fixture(scope="module")
def desk(built: Path) -> Iterator[Client]:
    with desk_of(built) as started:
        started.enter()
        yield started


def queue(desk: Client) -> list[Any]:
    found: list[Any] = desk.events()["films"]
    return found


def kept(root: Path) -> list[Any]:
    films: list[Any] = tomllib.loads((root / "archive.toml").read_text()).get("films", [])
    return films


def encoders(desk: Client) -> list[str]:
    """The encoders that run below the desk's process."""
    parents = {}
    for status in Path("/proc").glob("[0-9]*/status"):
        try:
            text = status.read_text()
        except OSError:
            continue
        found = dict(line.split(":\t", 1) for line in text.splitlines() if ":\t" in line)
        parents[int(found["Pid"])] = int(found["PPid"]), found["Name"]

    def is_below(process: int) -> bool:
        while process in parents:
            if process == desk.process.pid:
                return True
            process = parents[process][0]
        return False

    return [name for process, (_, name) in parents.items() if "ffmpeg" in name and is_below(process)]


def test_the_strip_shows_the_frames_of_a_film_to_come(desk: Client) -> None:
    found = desk.post("/api/films/strip", {"film": {"days": 3, "style": "smooth"}}).json
    assert found["observations"] == 3
    assert found["length_s"] == pytest.approx(found["frames"] / 25)
    kinds = [one["kind"] for one in found["shown"]]
    assert kinds[0] == kinds[-1] == "observed"
    assert "between" in kinds
    with Image.open(io.BytesIO(base64.b64decode(found["jpeg"]))) as picture:
        assert picture.size == (128 * len(kinds), 128)


def test_a_span_without_pictures_is_told_in_one_line(desk: Client) -> None:
    answer = desk.post("/api/films/strip", {"film": {"from": "2020-01-01", "to": "2020-01-02"}})
    assert answer.status == 422
    assert "no picture in white light" in answer.json["causes"][0]["text"]
    wrong = desk.post("/api/films/make", {"film": {"days": 3, "size_px": 20}})
    assert [cause["field"] for cause in wrong.json["causes"]] == ["film.size_px"]


def test_a_film_is_made_kept_played_forgotten_and_brought_back(desk: Client, built: Path) -> None:
    before = kept(built)
    assert desk.post("/api/films/make", {"film": SHORT}).status == 200
    until(lambda: not queue(desk))
    assert kept(built) == [*before, {"style": "daily", **SHORT}]
    (listed,) = (one for one in desk.get("/api/films").json["films"] if one["film"]["days"] == 1)
    assert not listed["late"]
    assert desk.get(f"/api/films/{listed['name']}/film").body[4:8] == b"ftyp"  # ISO/IEC 14496-12, 4.3
    assert desk.get(f"/api/films/{listed['name']}/still").body[:2] == b"\xff\xd8"
    assert (built / "site" / "films" / f"{listed['name']}.mp4").is_file()
    text = (built / "archive.toml").read_text()
    made_from = desk.get("/api/films").json["made_from"]
    found = desk.post("/api/films/forget", {"made_from": made_from, "name": listed["name"]}).json
    assert kept(built) == before
    assert found["undo"] == "film forgotten: The last day observed"
    desk.post("/api/films/undo")
    assert (built / "archive.toml").read_text() == text


def test_a_change_goes_before_a_film_and_cancel_leaves_nothing(desk: Client, built: Path) -> None:
    making, before = built / ".northlimb" / "making", (built / "archive.toml").read_text()
    job = desk.post("/api/films/make", {"film": LONG}).json["id"]
    assert desk.post("/api/films/make", {"film": LONG}).status == 422
    until(lambda: any(one["total"] > 1000 for one in queue(desk)))
    assert encoders(desk)
    found = desk.get("/api/days/2026-06-04/notes").json
    answer = desk.post("/api/days/2026-06-04/notes", {"made_from": found["made_from"], "text": "Clear."})
    assert answer.status == 200
    assert [one["id"] for one in queue(desk)] == [job]  # of which minutes are left
    until(lambda: any(one["total"] > 1000 for one in queue(desk)))  # it has begun again
    desk.post(f"/api/films/{job}/cancel")
    assert queue(desk) == []
    until(lambda: not encoders(desk))
    assert not making.exists()
    assert (built / "archive.toml").read_text() == before


def test_a_film_only_to_be_saved_is_not_kept_and_goes_with_the_desk(built: Path) -> None:
    before = (built / "archive.toml").read_text()
    with desk_of(built) as desk:
        desk.enter()
        job = desk.post("/api/films/make", {"film": SHORT, "keep": False}).json["id"]
        (made,) = until(lambda: [one for one in queue(desk) if one["state"] == "done"])
        assert {"film", "clip", "still", "frames"} <= set(made["parts"])
        assert desk.get(f"/api/films/{job}/film").body[4:8] == b"ftyp"
        assert desk.get(f"/api/films/{job}/..").status == 422
        assert desk.post("/api/quit").status == 200
        assert desk.process.wait(120) == 0
    assert (built / "archive.toml").read_text() == before


def test_the_form_offers_all_that_the_command_does() -> None:
    ways = {"folder", "out", "scheduler", "as_json", "is_list", "forget"}
    options = {option.name: option for option in film.params if option.name not in ways}
    names = {str(field.alias or name): name for name, field in FilmSettings.model_fields.items()}
    assert set(names.values()) == set(options)
    assert {f"film.{name}" for name in names} == set(re.findall(r'name="(film\.\w+)"', TEMPLATE.read_text()))
    every = FilmSettings.model_validate(
        {"rotation": 2295, "style": "corotating", "band": "white", "all_pictures": True, "pace_s": 2.0,
         "reach_days": 2.0, "size_px": 512, "look": "warm", "caption": "date", "grid": True, "axis": True,
         "group_names": True, "view": "disc", "longitude_deg": 120.0},
    )  # fmt: skip
    for asked in (every, FilmSettings.model_validate({"from": "2026-06-01", "to": "2026-06-02"}, strict=False)):
        words = film_command(Path("sun"), asked, None)[1:]
        known = film.make_context("film", words, resilient_parsing=True).params
        for name, value in asked.model_dump(exclude_none=True).items():
            given = known[name]
            assert (given.date() if name in ("first", "last") else given) == value
    assert isinstance(film, click.Command)
