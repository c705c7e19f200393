"""Looking after an archive at the desk: what needs attention, verify and restore, second copies, reports, shifts."""

from __future__ import annotations

import csv
import http.client
import io
import json
import shutil
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from website.invented import content as invented_content

from archive.commands.main import main
from archive.desk.attention import attention_view
from archive.desk.job_queue import Command, JobQueue
from archive.desk.site import SiteKeeper
from archive.records.folder import open_folder
from archive.stages.archive import opened_archive
from archive.stages.findings import keep_findings
from archive.stages.gathered import Gathered
from desk.desk_client import DAYS, PICTURE, Client, desk_of
from desk.test_desk_safety import all_files

PATIENCE_S = 60.0
ORIGINAL = "2026/2026-06-04/0905Z.jpg"


@pytest.fixture
def desk(measured: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[tuple[Client, Path]]:
    monkeypatch.setenv("HOME", str(tmp_path))  # where the choice of folders begins
    root = Path(shutil.copytree(measured, tmp_path / "sun"))
    with desk_of(root) as started:
        started.enter()
        yield started, root


def ended(client: Client) -> Any:
    """The page once what is under way has ended."""
    end = time.monotonic() + PATIENCE_S
    while True:
        jobs = heard(client)["upkeep"]
        if not any(job["state"] in ("waiting", "working") for job in jobs):
            assert jobs == []
            return client.get("/api/upkeep").json
        assert time.monotonic() < end, jobs
        time.sleep(0.1)


def heard(client: Client) -> Any:
    """What the stream of an open page begins with."""
    connection = http.client.HTTPConnection("127.0.0.1", client.port, timeout=60)
    connection.request("GET", "/api/events", headers=client.own_headers())
    line = connection.getresponse().readline()
    connection.close()
    return json.loads(line.removeprefix(b"data: "))


def begun(client: Client, address: str, **form: object) -> None:
    answer = client.post(f"/api/upkeep/{address}", form)
    assert answer.status == 200, answer.body


def test_a_damaged_original_is_named_and_comes_back_from_the_second_copy(desk: tuple[Client, Path]) -> None:
    client, root = desk
    before = all_files(root)
    (own, *_) = client.post("/api/upkeep/folders", {}).json["folders"]
    begun(client, "copy", folder=own["id"])
    copied = ended(client)
    (copy,) = copied["copies"]
    bag = root.parent / copy["name"]
    # RFC 8493, section 2: payload below data/, and a manifest of it.
    assert (bag / "data" / ORIGINAL).read_bytes() == (root / ORIGINAL).read_bytes()
    assert f"  data/{ORIGINAL}\n" in (bag / "manifest-sha256.txt").read_text()
    data = bytearray((root / ORIGINAL).read_bytes())
    data[len(data) // 2] ^= 1
    (root / ORIGINAL).write_bytes(data)
    begun(client, "verify", copies=[copy["id"]])
    found = ended(client)["verified"]
    assert not found["clean"]
    assert found["kinds"] == [{"words": "not the bytes that were filed", "files": [ORIGINAL], "count": 1}]
    assert found["whole_copies"] == [{"file": ORIGINAL, "from": copy["name"]}]
    begun(client, "verify", then="restore", copies=[copy["id"]])
    found = ended(client)["verified"]
    assert found["clean"]
    assert found["restored"] == [ORIGINAL]
    assert all_files(root) == before
    assert len(list((root / "removed").rglob("0905Z.jpg"))) == 1  # the damaged one stays
    assert str(root) not in str(client.get("/api/upkeep").json)


def test_folders_are_named_by_numbers_that_were_shown(client: Client) -> None:
    assert client.post("/api/upkeep/folders", {"folder": "999"}).status == 422
    assert client.post("/api/upkeep/folders", {"folder": "../.."}).status == 422
    assert client.post("/api/upkeep/copy", {"folder": "999"}).status == 422
    assert client.post("/api/upkeep/verify", {"copies": ["0"]}).status == 422


def test_what_runs_long_stands_aside_for_a_change_and_begins_again(measured: Path, tmp_path: Path) -> None:
    root = Path(shutil.copytree(measured, tmp_path / "sun"))
    site = SiteKeeper(open_folder(root), lambda: None)
    jobs = JobQueue(site, lambda: None)
    endless = Command("desk", ("desk", str(root), "--no-open"))  # which runs until it is stopped
    name = jobs.add({"name": "desk"}, lambda _: [endless], on_end=lambda job: True)
    try:
        first = running(jobs)
        with jobs.standing_aside():
            first.wait(PATIENCE_S)
        second = running(jobs, other=first)
        jobs.cancel(name)
        second.wait(PATIENCE_S)
        assert jobs.view() == []
    finally:
        jobs.close()
        site.close()


def running(jobs: JobQueue, other: object = None) -> Any:
    """The process of a job, once it is another one."""
    end = time.monotonic() + PATIENCE_S
    while jobs._running is None or jobs._running[1]._process is other:
        assert time.monotonic() < end
        time.sleep(0.05)
    return jobs._running[1]._process


def test_what_needs_attention_is_told_by_kind_and_a_wrong_clock_offers_its_shift(sun: Path, tmp_path: Path) -> None:
    invented = invented_content(tmp_path / "invented")
    one, *others = invented.entries
    unknown = replace(one.observation.orientation, status="unknown", disputes=("spots +3.0, sky +9.0 deg",))
    told = replace(
        one,
        observation=replace(
            one.observation, orientation=unknown, counts=None, remarks=("spots are not counted because it is small",)
        ),
        warnings=("Spots are not counted because it is small.", "Its spots fit better about 2 hours earlier."),
    )
    clock = (
        "the pictures of 5 days all fit better 2 hours earlier: was the clock right? `northlimb amend FOLDER "
        "--shift -2h30m --from 2026-06-01 --to 2026-06-07 --instrument 'Doorstep refractor'` moves them, and "
        "`northlimb amend FOLDER --undo` moves them back"
    )
    gathered = Gathered(
        invented.info, (told, *others), (), (), (), None, (), invented.derotation, (clock, f"{PICTURE}: look at it")
    )
    files = open_folder(sun)
    assert not attention_view(files)["known"]
    with opened_archive(sun) as archive:
        keep_findings(archive.store, gathered)
    found = attention_view(files)
    kinds = {kind["kind"]: kind["pictures"] for kind in found["kinds"]}
    mine = {kind: [one["words"] for one in shown if one["id"] == told.observation.id] for kind, shown in kinds.items()}
    assert mine == {
        "north unknown": [""],
        "contradictions": ["spots +3.0, sky +9.0 deg"],
        "not counted": ["it is small"],
        "other": ["Its spots fit better about 2 hours earlier."],
    }
    shift, named = found["said"][:2]
    assert shift["shift"] == {
        "shift_s": -9000, "first": "2026-06-01", "last": "2026-06-07", "instrument": "Doorstep refractor",
    }  # fmt: skip
    assert "northlimb amend" not in shift["words"]
    assert named["id"] == PICTURE


def test_a_month_is_shown_and_saved_as_the_command_prints_it(
    client: Client, sun: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert client.get("/api/upkeep").json["months"] == ["2026-06"]
    found = client.get("/api/reports/2026-06").json
    assert [row["day"] for row in found["report"]["rows"] if row["relative_number"] is not None] == list(DAYS)
    assert main(["report", str(sun), "--month", "2026-06", "--format", "csv"]) == 0
    assert capsys.readouterr().out == found["csv"]
    assert main(["report", str(sun), "--month", "2026-06"]) == 0
    assert capsys.readouterr().out == f"{found['text']}\n"
    rows = list(csv.DictReader(io.StringIO(found["csv"])))
    groups = [row["groups"] for row in found["report"]["rows"]]
    assert [row["groups"] for row in rows] == ["" if one is None else str(one) for one in groups]
    assert client.get("/api/reports/2026-13").status == 404
    assert client.get("/api/reports/2025-06").status == 422


def test_the_others_are_shifted_as_shown_and_back_and_again(desk: tuple[Client, Path]) -> None:
    client, root = desk
    before = all_files(root)
    made_from = client.get(f"/api/pictures/{PICTURE}").json["made_from"]
    right = client.post(f"/api/pictures/{PICTURE}/time", {"made_from": made_from, "time": "2026-06-04T07:05:00Z"})
    assert right.json["id"] == "2026-06-04T0705Z"
    asked = {"first": "2026-06-03", "without": ["2026-06-04T0705Z"]}
    shown = client.post("/api/shift/look", asked).json["pictures"]
    ids = [one["id"] for one in shown]
    assert "2026-06-04T0705Z" not in ids
    assert len(ids) == 3
    form = {"shift_s": -7200, "ids": ids, "words": "some by -2 h"}
    moved = client.post("/api/shift", form).json
    assert moved["undo"] == "some by -2 h"
    assert moved["moved"].keys() == set(ids)
    after = all_files(root)
    assert client.post("/api/shift", form).status == 422  # those names are no longer there
    assert all_files(root) == after
    back = client.post("/api/shift/undo").json
    assert (back["undo"], back["redo"]) == (None, "some by -2 h")
    client.post(f"/api/pictures/{right.json['id']}/undo")
    assert all_files(root) == before
    client.post(f"/api/pictures/{PICTURE}/redo")
    assert client.post("/api/shift/redo").json["undo"] == "some by -2 h"
    assert all_files(root) == after
