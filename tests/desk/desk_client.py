"""The desk as it is used: the command started, its pages' questions asked over loopback."""

from __future__ import annotations

import http.client
import json
import os
import shutil
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

SAMPLE = Path(__file__).parents[2] / "sample_archive"
DAYS = ("2026-06-03", "2026-06-04", "2026-06-05")
PICTURE = "2026-06-04T0905Z"
RECORD = "2026/2026-06-04/0905Z.toml"


def small_archive(root: Path) -> Path:
    """Copy three days of the sample archive."""
    shutil.copytree(SAMPLE, root, ignore=lambda folder, names: [
        name for name in names if len(name) == 10 and name[4] == "-" and name not in DAYS
    ])  # fmt: skip
    lines = (root / "checksums.sha256").read_text().splitlines(keepends=True)
    (root / "checksums.sha256").write_text("".join(line for line in lines if any(day in line for day in DAYS)))
    return root


@dataclass
class Answer:
    status: int
    headers: dict[str, str]
    body: bytes

    @property
    def json(self) -> Any:
        return json.loads(self.body)


@dataclass
class Client:
    """Asks one desk; with the token once it was let in."""

    address: str
    process: subprocess.Popen[str]
    token: str = ""
    stream: http.client.HTTPConnection | None = None

    @property
    def origin(self) -> str:
        return self.address.partition("/#")[0]

    @property
    def port(self) -> int:
        return int(self.origin.rpartition(":")[2])

    def raw(self, method: str, path: str, body: bytes | None = None, headers: dict[str, str] | None = None) -> Answer:
        """Ask with just these headers, besides Host where none is given."""
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=60)
        try:
            connection.request(method, path, body, headers or {})
            answer = connection.getresponse()
            found = {name.lower(): value for name, value in answer.getheaders()}
            return Answer(answer.status, found, answer.read())
        finally:
            connection.close()

    def own_headers(self) -> dict[str, str]:
        return {"northlimb-desk": self.token, "origin": self.origin, "sec-fetch-site": "same-origin"}

    def get(self, path: str) -> Answer:
        return self.raw("GET", path, None, self.own_headers())

    def post(self, path: str, form: object = None) -> Answer:
        data = json.dumps({} if form is None else form).encode()
        return self.raw("POST", path, data, {**self.own_headers(), "content-type": "application/json"})

    def events(self) -> Any:
        """What the open pages are told now; like a page's, its stream stays open, or the desk would end."""
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=60)
        connection.request("GET", "/api/events", None, self.own_headers())
        told = json.loads(connection.getresponse().readline().removeprefix(b"data: "))
        if self.stream is not None:
            self.stream.close()
        self.stream = connection
        return told

    def enter(self) -> None:
        self.token = self.post("/api/enter", {"secret": self.address.partition("#")[2]}).json["token"]

    def correct(self, identifier: str, **asked: object) -> Any:
        """Make a correction of a picture as it is now; returns the picture as it is then."""
        made_from = self.get(f"/api/pictures/{identifier}").json["made_from"]
        answer = self.post(f"/api/pictures/{identifier}/correct", {"made_from": made_from, **asked})
        assert answer.status == 200, answer.body
        return answer.json


@contextmanager
def desk_of(root: Path, environment: Mapping[str, str] | None = None) -> Iterator[Client]:
    """A desk that was started by the command; it is ended at the end, where it has not ended itself."""
    process = subprocess.Popen(
        [sys.executable, "-m", "archive", "desk", str(root), "--no-open", "--json"],
        stdout=subprocess.PIPE, text=True, stdin=subprocess.DEVNULL, env={**os.environ, **(environment or {})},
    )  # fmt: skip
    assert process.stdout is not None
    lines = []
    for line in process.stdout:
        lines.append(line)
        if line == "}\n":
            break
    client = Client(json.loads("".join(lines))["address"], process)
    try:
        yield client
    finally:
        if client.stream is not None:
            client.stream.close()
        if process.poll() is None:
            process.terminate()
        process.wait(60)
        process.stdout.close()


def until(found: Callable[[], Any], *, patience_s: float = 300.0) -> Any:
    """Wait until something is so, and return it."""
    end = time.monotonic() + patience_s
    while not (there := found()):
        assert time.monotonic() < end
        time.sleep(0.05)
    return there
