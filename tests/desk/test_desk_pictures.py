"""A picture at the desk: each correction is in the plain record at once, and is undone, also after a restart."""

from __future__ import annotations

import shutil
import tomllib
from pathlib import Path

import numpy as np
import pytest

from archive.records.record import Record
from archive.records.toml_edits import with_values
from desk.desk_client import PICTURE, RECORD, Client, desk_of

ANGLE_DEG = 12.5


@pytest.fixture
def before(sun: Path) -> str:
    return (sun / RECORD).read_text()


def undo_all(client: Client, identifier: str = PICTURE) -> None:
    while client.get(f"/api/pictures/{identifier}").json["undo"]:
        assert client.post(f"/api/pictures/{identifier}/undo").status == 200


def test_north_stated_turns_places_and_is_left_to_the_program_again(client: Client, sun: Path, before: str) -> None:
    found = client.get(f"/api/pictures/{PICTURE}").json
    angle_deg = found["orientation"]["north_angle_deg"] + 90.0
    turned = client.correct(PICTURE, action="north", north_angle_deg=angle_deg, mirrored=False)
    record = tomllib.loads((sun / RECORD).read_text())
    assert record["north_angle_deg"] == pytest.approx(angle_deg, abs=0.005)
    assert record["mirrored"] is False
    assert turned["orientation"]["status"] == "solved"
    # With north 90 degrees further counter-clockwise, what was west is north.
    first, then = found["spots"][0], turned["spots"][0]
    west = np.cos(np.radians(first["latitude_deg"])) * np.sin(np.radians(first["meridian_deg"]))
    north = np.sin(np.radians(then["latitude_deg"]))
    assert abs(abs(north) - abs(west)) < 0.1
    left = client.correct(PICTURE, action="leave north")
    assert "north_angle_deg" not in tomllib.loads((sun / RECORD).read_text())
    assert left["orientation"] == found["orientation"]
    undo_all(client)
    assert (sun / RECORD).read_text() == before


def test_a_spot_that_is_none_leaves_the_count(client: Client, sun: Path, before: str) -> None:
    found = client.get(f"/api/pictures/{PICTURE}").json
    (number,) = [at for at, spot in enumerate(found["spots"]) if spot["status"] == "counted"][:1]
    now = client.correct(PICTURE, action="dust", spots=[number])
    (speck,) = tomllib.loads((sun / RECORD).read_text())["dust"]
    spot = found["spots"][number]
    assert np.hypot(speck["x_px"] - spot["x_px"], speck["y_px"] - spot["y_px"]) < 0.1
    assert now["counts"]["spots"] == found["counts"]["spots"] - 1
    assert now["spots"][number]["status"] == "dust"
    again = client.correct(PICTURE, action="spot after all", spots=[number])
    assert again["counts"] == found["counts"]
    undo_all(client)
    assert (sun / RECORD).read_text() == before


def test_groups_are_gathered_joined_renamed_and_go_back(client: Client, sun: Path, before: str) -> None:
    found = client.get(f"/api/pictures/{PICTURE}").json
    names = [group["name"] for group in found["groups"]]
    whole = max(range(len(names)), key=lambda at: found["groups"][at]["spots"])
    members = [at for at, spot in enumerate(found["spots"]) if spot["group"] == whole]
    parted = client.correct(PICTURE, action="gather", spots=members[:1])
    assert len(parted["groups"]) == len(names) + 1
    assert all(group["by_hand"] and group["sure"] for group in parted["groups"])
    assert parted["spot_area_msh"] == pytest.approx(found["spot_area_msh"], rel=0.01)
    one, other = parted["spots"][members[0]]["group"], parted["spots"][members[-1]]["group"]
    assert one != other
    joined = client.correct(PICTURE, action="join", group=one, other=other)
    assert sorted(group["spots"] for group in joined["groups"]) == sorted(group["spots"] for group in found["groups"])
    number = joined["spots"][members[0]]["group"]
    renamed = client.correct(PICTURE, action="rename", group=number, name="AR 1117")
    assert "AR 1117" in [group["name"] for group in renamed["groups"]]
    missed = client.correct(PICTURE, action="add spot", x_px=found["disc"]["x_px"], y_px=found["disc"]["y_px"])
    assert missed["counts"]["spots"] == found["counts"]["spots"] + 1
    at_middle = missed["groups"][-1]
    assert (at_middle["by_hand"], at_middle["spots"], at_middle["sure"]) == (True, 1, True)
    assert at_middle["latitude_deg"] == pytest.approx(
        found["sun"]["b0_deg"], abs=0.05
    )  # B0 is that of the disc's centre
    measured = client.correct(PICTURE, action="groups as measured")
    assert measured["counts"] == found["counts"]
    undo_all(client)
    assert (sun / RECORD).read_text() == before


def test_a_count_by_hand_gives_r_of_ten_groups_and_spots(client: Client, sun: Path, before: str) -> None:
    counted = client.correct(PICTURE, action="count", counts={"groups": 3, "spots": 17})
    assert counted["counts"]["relative_number"] == 47.0  # R = k (10 g + s), k = 1
    undo_all(client)
    assert (sun / RECORD).read_text() == before


def test_changes_undo_and_redo_after_a_restart(measured: Path, tmp_path: Path) -> None:
    sun = Path(shutil.copytree(measured, tmp_path / "sun"))
    before = (sun / RECORD).read_text()
    with desk_of(sun) as first:
        first.enter()
        first.correct(PICTURE, action="count", counts={"groups": 3, "spots": 17})
        first.correct(PICTURE, action="north", north_angle_deg=ANGLE_DEG, mirrored=False)
    changed = (sun / RECORD).read_text()
    with desk_of(sun) as second:
        second.enter()
        undo_all(second)
        assert (sun / RECORD).read_text() == before
        for _ in range(2):
            assert second.post(f"/api/pictures/{PICTURE}/redo").status == 200
        assert (sun / RECORD).read_text() == changed
        (sun / RECORD).write_text(changed + "# by hand\n")
        assert second.get(f"/api/pictures/{PICTURE}").json["undo"] is None
        assert second.post(f"/api/pictures/{PICTURE}/undo").status == 409


def test_another_time_moves_the_files_and_is_undone(client: Client, sun: Path, before: str) -> None:
    made_from = client.get(f"/api/pictures/{PICTURE}").json["made_from"]
    moved = client.post(f"/api/pictures/{PICTURE}/time", {"made_from": made_from, "time": "2026-06-04T09:07:00Z"}).json
    assert moved["id"] == "2026-06-04T0907Z"
    assert not (sun / RECORD).exists()
    back = client.post(f"/api/pictures/{moved['id']}/undo").json
    assert back["id"] == PICTURE
    assert (sun / RECORD).read_text() == before
    assert client.post(f"/api/pictures/{PICTURE}/redo").json["id"] == moved["id"]
    client.post(f"/api/pictures/{moved['id']}/undo")
    assert (sun / RECORD).read_text() == before


def test_notes_are_kept_shown_and_undone(client: Client, sun: Path) -> None:
    file = sun / "2026/2026-06-04/notes.md"
    before, day = file.read_text(), PICTURE[:10]
    found = client.get(f"/api/days/{day}/notes").json
    kept = client.post(
        f"/api/days/{day}/notes", {"made_from": found["made_from"], "text": "A *calm* day <b>x</b>"}
    ).json
    assert file.read_text() == "A *calm* day <b>x</b>\n"
    assert "<em>calm</em>" in kept["html"]
    assert "<b>" not in kept["html"]
    assert client.post(f"/api/days/{day}/notes", {"made_from": found["made_from"], "text": "over it"}).status == 409
    assert client.post(f"/api/pictures/{PICTURE}/undo", {"of": "notes"}).json["text"] == before
    assert file.read_text() == before


def test_an_observation_is_taken_out_and_put_back(client: Client, sun: Path, before: str) -> None:
    assert client.post(f"/api/pictures/{PICTURE}/remove").json == {"removed": PICTURE}
    assert client.get("/api/archive").json["removed"] == [PICTURE]
    assert client.post(f"/api/pictures/{PICTURE}/put-back").status == 200
    assert (sun / RECORD).read_text() == before


def test_the_disc_of_the_day_before_comes_north_up(client: Client) -> None:
    assert client.get(f"/api/pictures/{PICTURE}").json["other"]["id"] == "2026-06-03T1830Z"
    answer = client.get(f"/api/pictures/{PICTURE}/neighbour")
    assert answer.headers["content-type"] == "image/avif"
    assert answer.body[4:12] == b"ftypavif"


def test_a_correction_is_on_the_disk_when_it_is_told(client: Client, sun: Path) -> None:
    client.get(f"/api/pictures/{PICTURE}")
    client.correct(PICTURE, action="count", counts={"groups": 2, "spots": 5})
    assert tomllib.loads((sun / RECORD).read_text())["counts"] == {"groups": 2, "spots": 5}
    undo_all(client)


def test_edits_by_key_keep_every_comment() -> None:
    text = (
        "time = 2026-06-04T09:05:00Z # mine\nseeing = 3.0 # 1 to 5\n\n[picture] # the original\n"
        f'file = "2026/2026-06-04/0905Z.png"\nsha256 = "{"0" * 64}"\n\n[[dust]] # hot pixel\nx_px = 1.0\ny_px = 2.0\n'
    )
    specks = [{"x_px": 1.0, "y_px": 2.0}, {"x_px": 5.0, "y_px": 6.0}]
    changed = with_values(text, {"seeing": 4.0, "dust": specks, "groups": []}, Record, name="record")
    for comment in ("# mine", "# 1 to 5", "# the original", "# hot pixel"):
        assert comment in changed
    assert tomllib.loads(changed)["groups"] == []
    assert [speck["x_px"] for speck in tomllib.loads(changed)["dust"]] == [1.0, 5.0]
    assert with_values(changed, {"seeing": 3.0, "dust": specks[:1], "groups": None}, Record, name="record") == text
