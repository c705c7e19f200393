"""Servers shared by a module's tests, and the environment of their users."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import pytest

from archive.commands.main import main
from archive.site_tree import place
from publishing import servers
from publishing.sites import make_archive

_MAKERS = {
    "ssh": servers.ssh_server,
    "ftps": servers.ftps_server,
    "webdavs": servers.webdav_server,
    "s3": servers.s3_server,
}


@pytest.fixture(scope="module")
def hosts(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Callable[[str], servers.Host]]:
    """Servers by name, started when first asked for and stopped at the end of the module."""
    known: dict[str, servers.Host] = {}
    with ExitStack() as stack:

        def host(name: str) -> servers.Host:
            if name not in known:
                known[name] = stack.enter_context(_MAKERS[name](tmp_path_factory.mktemp(name)))
            return known[name]

        yield host


@pytest.fixture
def enter(monkeypatch: pytest.MonkeyPatch) -> Callable[[dict[str, str]], None]:
    """Make the environment that of a server's user; nothing of the machine's own agent or settings plays a part."""

    def make(environment: dict[str, str]) -> None:
        for variable in ("SSH_AUTH_SOCK", "NORTHLIMB_USER", "NORTHLIMB_PASSWORD", "AWS_PROFILE", "AWS_CA_BUNDLE"):
            monkeypatch.delenv(variable, raising=False)
        for variable, value in environment.items():
            monkeypatch.setenv(variable, value)

    return make


@pytest.fixture
def archive(tmp_path: Path) -> Path:
    return make_archive(tmp_path / "my-sun")


@pytest.fixture
def told(capsys: pytest.CaptureFixture[str]) -> Callable[..., tuple[int, Any]]:
    """Run `publish --json` and return its exit status and answer; no password may be in what it prints."""

    def run(*words: object) -> tuple[int, Any]:
        capsys.readouterr()
        status = main(["publish", *map(str, words), "--json"])
        printed = capsys.readouterr()
        assert servers.PASSWORD not in printed.out + printed.err
        return status, json.loads(printed.out)

    return run


@pytest.fixture
def short_waits(monkeypatch: pytest.MonkeyPatch) -> None:
    """The pauses between attempts, which are a matter of seconds, made short; their number stays."""
    monkeypatch.setattr(place, "_WAITS_S", tuple(wait_s / 20 for wait_s in place._WAITS_S))
