"""No damaged or invented input breaks a reader, keeps it busy or fills the memory; see `hostile_input`.

A hundred inputs a reader by default; 5,000 where the environment variable NORTHLIMB_STUDY is `full`.
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
from studies.hostile_input import fault_of, readers
from studies.hostile_seeds import seeds_of

FULL = os.environ.get("NORTHLIMB_STUDY") == "full"
CHECKOUT = Path(__file__).resolve().parents[2]
INPUTS, LIMIT_S = (5000, 10) if FULL else (100, 10)
NAMES = (
    "png",
    "jpeg",
    "tiff",
    "fits",
    "webp",
    "avif",
    "heif",
    "bmp",
    "exif",
    "xmp",
    "name",
    "record",
    "settings",
    "group-names",
    "checksums",
    "notes",
    "kept",
    "value",
    "table",
)

pytestmark = [
    pytest.mark.study,
    pytest.mark.skipif(sys.platform != "linux", reason="limits memory by RLIMIT_AS and reads /proc"),
]


def faults(reader: str, inputs: int) -> list[str]:
    """What went wrong: a fault told, or a process that ended or hung at an input."""
    first, found = 0, []
    while first < inputs:
        command = [sys.executable, "-m", "studies.hostile_input", reader, str(first), str(inputs), str(LIMIT_S)]
        environment = {**os.environ, "PYTHONPATH": f"{CHECKOUT}{os.pathsep}{CHECKOUT / 'tests'}"}
        answer = subprocess.run(command, env=environment, capture_output=True, text=True, check=False)
        lines = answer.stdout.splitlines()
        found += [f"{reader} {line}" for line in lines if line.startswith("fault")]
        if lines and lines[-1] == "done":
            break
        reached = [int(line.split()[1]) for line in lines if line.startswith("at ")]
        assert reached, answer.stderr
        found.append(f"{reader} {reached[-1]}: the process ended with {answer.returncode}")  # -14: the alarm, a hang
        first = reached[-1] + 1
    return found


@pytest.mark.parametrize("reader", NAMES)
def test_the_reader_answers_or_refuses_clearly(reader: str) -> None:
    assert faults(reader, INPUTS) == []


@pytest.mark.parametrize("reader", sorted(set(NAMES) - {"kept", "name"}))
def test_what_is_damaged_was_whole(reader: str) -> None:
    """Damage to what is refused anyway would find nothing."""
    from archive.errors import ArchiveError

    read = readers()[reader]
    for seed in seeds_of(reader):
        try:
            read(seed)
        except ArchiveError as error:
            pytest.fail(str(error))


def test_the_study_sees_what_it_looks_for() -> None:
    def fill(_: bytes) -> None:
        raise ArchiveError("not enough") from MemoryError()

    from archive.errors import ArchiveError

    assert fault_of(lambda _: 1 / 0, b"").startswith("ZeroDivisionError")
    assert fault_of(fill, b"").startswith("memory ran out")
    assert fault_of(lambda data: data, b"") is None
