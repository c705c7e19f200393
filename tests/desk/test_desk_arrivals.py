"""Pictures dropped at the desk: received as they come, told what would be filed, filed as `add` files them."""

from __future__ import annotations

import shutil
import socket
import threading
import time
import tomllib
from collections.abc import Iterator
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest

from archive.desk import looking
from archive.desk.arrivals import Arrivals
from archive.desk.looking import Glance, PictureWorker
from archive.desk.plain_words import without_command_words
from archive.records.folder import open_folder
from desk.desk_client import SAMPLE, Answer, Client, desk_of
from desk.test_desk_safety import all_files

NEW = SAMPLE / "2026/2026-06-06/1135Z.jpg"
NAME = "20260606T113500Z.jpg"
PATIENCE_S = 60.0


@pytest.fixture
def desk(measured: Path, tmp_path: Path) -> Iterator[tuple[Client, Path]]:
    root = Path(shutil.copytree(measured, tmp_path / "sun"))
    with desk_of(root) as started:
        started.enter()
        yield started, root


def drop(client: Client, name: str, data: bytes) -> Answer:
    headers = {**client.own_headers(), "content-type": "application/octet-stream"}
    return client.raw("POST", f"/api/arrivals/new?name={name}", data, headers)


def looked(client: Client) -> list[Any]:
    """All that wait, once each has been looked at."""
    end = time.monotonic() + PATIENCE_S
    while True:
        found: list[Any] = client.get("/api/arrivals").json["arrivals"]
        if all(one["state"] == "looked" for one in found):
            return found
        assert time.monotonic() < end, found
        time.sleep(0.1)


def test_a_dropped_picture_tells_limb_time_and_north_and_is_filed_as_it_came(desk: tuple[Client, Path]) -> None:
    client, root = desk
    before = all_files(root)
    assert drop(client, NAME, NEW.read_bytes()).status == 200
    (card,) = looked(client)
    assert card["remedies"] == ["facts"]  # the archive has two instruments
    card = client.post(f"/api/arrivals/{card['id']}/state", {"instrument": "Doorstep refractor"}).json
    assert all_files(root) == before  # nothing reaches the archive before
    assert card["time_utc"] == "2026-06-06T11:35:00Z"
    assert card["causes"] == []
    assert card["disc"]["radius_px"] == pytest.approx(260.0, rel=0.1)
    assert card["orientation"]["north_angle_deg"] is not None
    assert client.get(f"/api/arrivals/{card['id']}/image").body[4:12] == b"ftypavif"
    (filed,) = client.post("/api/arrivals/file", {"ids": [card["id"]]}).json["filed"]
    assert (filed["status"], filed["id"]) == ("added", "2026-06-06T1135Z")
    original = root / "2026/2026-06-06/1135Z.jpg"
    assert sha256(original.read_bytes()).digest() == sha256(NEW.read_bytes()).digest()
    assert tomllib.loads(original.with_suffix(".toml").read_text())["picture"]["original_name"] == NAME
    assert client.get("/api/arrivals").json["arrivals"] == []
    drop(client, "again.jpg", NEW.read_bytes())
    (card,) = looked(client)
    assert card["known_as"] == "2026/2026-06-06/1135Z.jpg"


def test_a_picture_without_a_time_offers_to_set_it_and_survives_a_restart(desk: tuple[Client, Path]) -> None:
    client, root = desk
    drop(client, "evening.jpg", NEW.read_bytes())
    (card,) = looked(client)
    assert card["remedies"] == ["time"]
    assert client.post(f"/api/arrivals/{card['id']}/state", {"time": "next week"}).status == 422
    stated = {"time": "2026-06-06T12:35", "instrument": "Doorstep refractor"}
    told = client.post(f"/api/arrivals/{card['id']}/state", stated).json
    assert told["time_utc"] == "2026-06-06T11:35:00Z"  # the archive's zone, an hour ahead of UTC in June
    client.post("/api/quit")
    client.process.wait(20)
    with desk_of(root) as again:
        again.enter()
        (card,) = looked(again)
        assert card["time_utc"] == "2026-06-06T11:35:00Z"
        (filed,) = again.post("/api/arrivals/file", {"ids": [card["id"]]}).json["filed"]
        assert filed["id"] == "2026-06-06T1135Z"


def test_what_is_no_disc_can_be_kept_as_a_further_picture(desk: tuple[Client, Path]) -> None:
    client, root = desk
    drawing = (SAMPLE.parent / "site_templates/static/touch-icon.png").read_bytes()
    drop(client, "20260604%20set-up.png", drawing)
    drop(client, "notes.txt", b"no picture at all")
    first, second = sorted(looked(client), key=lambda one: one["name"])
    assert first["causes"]
    if "extra" in first["remedies"]:
        told = client.post(f"/api/arrivals/{first['id']}/state", {"kept": "extra", "caption": "The set-up"}).json
        assert told["causes"] == []
        (filed,) = client.post("/api/arrivals/file", {"ids": [first["id"]]}).json["filed"]
        assert filed["status"] == "added"
        assert "The set-up" in (root / "2026/2026-06-04/notes.md").read_text()
    assert second["causes"]
    assert all(str(root) not in cause for cause in second["causes"])
    assert client.post(f"/api/arrivals/{second['id']}/leave-out").status == 200


def test_a_broken_and_a_slow_upload_leave_nothing_half(desk: tuple[Client, Path]) -> None:
    client, root = desk
    data = NEW.read_bytes()
    head = "".join(
        f"{name}: {value}\r\n"
        for name, value in {
            "Host": f"127.0.0.1:{client.port}",
            **client.own_headers(),
            "content-type": "application/octet-stream",
            "content-length": str(len(data)),
        }.items()
    )
    request = f"POST /api/arrivals/new?name={NAME} HTTP/1.1\r\n{head}\r\n".encode()
    with socket.create_connection(("127.0.0.1", client.port)) as broken:
        broken.sendall(request + data[: len(data) // 2])
    with socket.create_connection(("127.0.0.1", client.port), timeout=30) as slow:
        slow.sendall(request)
        for at in range(0, len(data), 4000):
            slow.sendall(data[at : at + 4000])
            time.sleep(0.01)
        assert client.get("/api/archive").status == 200  # others are answered meanwhile
        assert slow.recv(20).startswith(b"HTTP/1.1 200")
    (card,) = looked(client)
    assert card["size_bytes"] == len(data)
    folders = list((root / ".northlimb-work/arrivals").iterdir())
    assert [folder.name for folder in folders] == [card["id"]]


def test_a_study_that_fails_is_the_card_s_one_line(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    def fails(data: bytes, name: str) -> None:
        raise IndexError("index 12 is out of bounds")

    monkeypatch.setattr(looking, "study", fails)
    picture = tmp_path / NAME
    picture.write_bytes(NEW.read_bytes())
    found = looking._glance(picture, NAME)
    assert "a defect of northlimb (IndexError)" in str(found)
    assert "Leave it out" in str(found)


class _FailingWorker(PictureWorker):
    """Fails in a way that nothing foresees."""

    def look(self, path: Path, name: str) -> Glance:
        raise ZeroDivisionError("not foreseen")


def test_a_card_ends_whatever_happens_and_can_be_left_out(tmp_path: Path) -> None:
    shutil.copy(SAMPLE / "archive.toml", tmp_path)
    done = threading.Event()
    arrivals = Arrivals(open_folder(tmp_path), _FailingWorker(), done.set)
    try:
        identifier, part = arrivals.new(NAME)
        (tmp_path / part).write_bytes(b"x")
        arrivals.received(identifier, part, 1)
        assert done.wait(20)
        (card,) = arrivals.view()
        assert card["state"] == "looked"
        (cause,) = card["causes"]
        assert "ZeroDivisionError" in cause
        arrivals.leave_out(identifier)
        assert arrivals.view() == []
    finally:
        arrivals.close()


def test_what_is_doubtful_is_told_before_filing_and_without_options(desk: tuple[Client, Path]) -> None:
    client, _ = desk
    drop(client, "05.06.2026%20233500.jpg", NEW.read_bytes())  # day, month, year; at that hour it is night there
    (card,) = looked(client)
    card = client.post(f"/api/arrivals/{card['id']}/state", {"instrument": "Doorstep refractor"}).json
    assert any("is read as day, month, year" in doubt for doubt in card["doubts"]), card
    assert any("below the horizon" in doubt for doubt in card["doubts"]), card
    (filed,) = client.post("/api/arrivals/file", {"ids": [card["id"]]}).json["filed"]
    assert filed["status"] == "added", filed
    assert set(filed["warnings"]) <= set(card["doubts"])
    for line in (*card["doubts"], *filed["warnings"]):
        assert "--" not in line
        assert "northlimb " not in line


@pytest.mark.parametrize(
    ("told", "plain"),
    [
        ("x: a day; give --time if that is wrong", "x: a day"),
        ("no time; give it with --time 2026-06-03T09:15:00Z", "no time"),
        ("give --site with one of: Quay, Hill", "choose one of: Quay, Hill"),
        (
            "--time 2030-01-01T00:00:00Z is in the future; correct it",
            "time 2030-01-01T00:00:00Z is in the future; correct it",
        ),
        (
            "once more; if it is a copy, take one of the two out with `northlimb remove FOLDER 2026-06-04T0905Z`",
            "once more; if it is a copy, take one of the two out",
        ),
    ],
)
def test_lines_of_commands_lose_their_options(told: str, plain: str) -> None:
    assert without_command_words(told) == plain


@pytest.mark.parametrize(
    ("name", "cleaned"),
    [
        ("..%2F..%2Fevil.png", "evil.png"),
        ("C%3A%5Cpictures%5Csun.jpg", "sun.jpg"),
        ("%00%01a%3Cb%3E.png", "__a_b_.png"),
        ("archive.toml", "archive.toml.picture"),
        (".hidden", "hidden.picture"),
        ("", "picture.picture"),
    ],
)
def test_names_lead_nowhere(client: Client, name: str, cleaned: str) -> None:
    answer = drop(client, name, b"x")
    assert answer.json["name"] == cleaned
    client.post(f"/api/arrivals/{answer.json['id']}/leave-out")


def test_too_large_and_empty_files_are_refused(client: Client) -> None:
    headers = {**client.own_headers(), "content-type": "application/octet-stream"}
    assert client.raw("POST", "/api/arrivals/new?name=a.png", b"", headers).status == 422
    with socket.create_connection(("127.0.0.1", client.port), timeout=30) as connection:
        lines = [f"{name}: {value}" for name, value in {**headers, "content-length": str(10**12)}.items()]
        head = "\r\n".join(["POST /api/arrivals/new?name=a.png HTTP/1.1", f"Host: 127.0.0.1:{client.port}", *lines])
        connection.sendall(head.encode() + b"\r\n\r\n")
        assert connection.recv(20).startswith(b"HTTP/1.1 413")
