"""An archive of three days, measured once, and a desk of it for each module that asks."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from website.browser import Browser, browser

from archive.commands.main import main
from desk.desk_client import Client, desk_of, small_archive


@pytest.fixture(scope="session")
def measured(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The archive as it lies when `show` has measured its pictures; not to be changed."""
    root = small_archive(tmp_path_factory.mktemp("desk") / "sun")
    assert main(["show", str(root), "2026-06-04"]) == 0
    return root


@pytest.fixture(scope="module")
def sun(measured: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    return Path(shutil.copytree(measured, tmp_path_factory.mktemp("copy") / "sun"))


@pytest.fixture(scope="session")
def built(measured: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The archive with its site, but no film; tests leave it with other films, notes and targets."""
    root = Path(shutil.copytree(measured, tmp_path_factory.mktemp("built") / "sun"))
    assert main(["build", str(root), "--no-films"]) == 0
    return root


@pytest.fixture(scope="session")
def started(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Browser]:
    """A browser."""
    with browser(tmp_path_factory.mktemp("profile")) as one:
        yield one


@pytest.fixture(scope="module")
def client(sun: Path) -> Iterator[Client]:
    """A desk whose page was let in."""
    with desk_of(sun) as started:
        started.enter()
        yield started
