"""The desk killed at any instant of its corrections: what it confirmed is there, and everything can be read."""

from __future__ import annotations

import http.client
import os
import random
import shutil
import threading
import time
import tomllib
from pathlib import Path

import pytest

from archive.commands.main import main
from desk.desk_client import PICTURE, RECORD, Client, desk_of

KILLS = 200 if os.environ.get("NORTHLIMB_STUDY") == "full" else 3


def count_on_and_on(client: Client, confirmed: list[int], started: threading.Event) -> None:
    """State counts one higher each time, and note each that was confirmed."""
    spots = 1
    try:
        while True:
            started.set()
            client.correct(PICTURE, action="count", counts={"groups": 1, "spots": spots})
            confirmed.append(spots)
            spots += 1
    except (OSError, http.client.HTTPException, AssertionError, ValueError):
        return


@pytest.mark.study
def test_a_killed_desk_loses_nothing_that_it_confirmed(measured: Path, tmp_path: Path) -> None:
    sun = Path(shutil.copytree(measured, tmp_path / "sun"))
    chance, original = random.Random(7), (sun / RECORD).read_text()
    for _ in range(KILLS):
        confirmed: list[int] = []
        started = threading.Event()
        with desk_of(sun) as desk:
            desk.enter()
            desk.get(f"/api/pictures/{PICTURE}")
            worker = threading.Thread(target=count_on_and_on, args=(desk, confirmed, started))
            worker.start()
            started.wait(20)
            time.sleep(0.1 + 0.5 * chance.random())
            desk.process.kill()
            worker.join(60)
        record = tomllib.loads((sun / RECORD).read_text())
        now = record.get("counts", {"spots": 0})["spots"]
        assert now in ((confirmed or [0])[-1], (confirmed or [0])[-1] + 1)
        with desk_of(sun) as again:
            again.enter()
            while again.get(f"/api/pictures/{PICTURE}").json["undo"]:
                assert again.post(f"/api/pictures/{PICTURE}/undo").status == 200
        assert (sun / RECORD).read_text() == original
    assert main(["verify", str(sun)]) == 0
