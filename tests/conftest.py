"""What all tests share."""

from __future__ import annotations

import gc
import os
import shutil
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

# The folders of tests lie in memory where there is room: no test cuts the power, so none waits for a disk, and still
# every call to it is made. `PYTEST_DEBUG_TEMPROOT` puts them elsewhere.
_IN_MEMORY, _ROOM_BYTES = Path("/dev/shm"), 6e9
if _IN_MEMORY.is_dir() and shutil.disk_usage(_IN_MEMORY).free > _ROOM_BYTES:
    os.environ.setdefault("PYTEST_DEBUG_TEMPROOT", str(_IN_MEMORY))

# Keys and what archives are allowed are kept in the user's configuration folder: tests leave that of whoever runs them
# alone, and all of a run share one, as a user's commands do.
_CONFIGURATION = tempfile.TemporaryDirectory(prefix="northlimb-tests-")
os.environ["XDG_CONFIG_HOME"] = _CONFIGURATION.name
# Also where Python is told to write no bytecode it is written beside the sources, as Git ignores it: else each worker,
# and each of the many processes that tests start, would compile all of the program and of the tests.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
sys.dont_write_bytecode = False
# As where the command is started (`archive/start.py`).
gc.set_threshold(50_000, 20, 100)
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

# Rooms with the longest modules come first, so that the processors end together: a module is tested by one of them.
_LONGEST_FIRST = ("website", "whole", "studies", "publishing", "disc")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    rank = {room: number for number, room in enumerate(_LONGEST_FIRST)}
    items.sort(key=lambda item: rank.get(item.path.parent.name, len(rank)))  # modules stay whole, and in their order


@pytest.fixture(autouse=True, scope="module")
def _a_processor_each(request: pytest.FixtureRequest) -> Iterator[None]:
    """Where tests run side by side the command keeps to one processor, but in modules that say `ALL_PROCESSORS`."""
    with pytest.MonkeyPatch.context() as patch:
        if "PYTEST_XDIST_WORKER" in os.environ and not getattr(request.module, "ALL_PROCESSORS", False):
            patch.setenv("PYTHON_CPU_COUNT", "1")
        yield


@pytest.fixture(autouse=True, scope="module")
def _films_without_av1(request: pytest.FixtureRequest) -> Iterator[None]:
    """As with an encoder that lacks AV1, which takes most of a short film's time, but in modules that say `AV1`."""
    with pytest.MonkeyPatch.context() as patch:
        if not getattr(request.module, "AV1", False):
            patch.setattr("archive.films.film.has_av1", lambda: False)
        yield
