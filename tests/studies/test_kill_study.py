"""Commands that are killed, or refused by the disk, in the midst of their work: nothing is lost, the next run finishes.

What must hold is told in `killed_commands` and `refused_commands`. Four kills and a dozen bad disks by default; 300
kills where the environment variable NORTHLIMB_STUDY is `full`, some of them by the clock.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest

FULL = os.environ.get("NORTHLIMB_STUDY") == "full"
CHECKOUT = Path(__file__).resolve().parents[2]
IN_MEMORY = Path("/dev/shm")  # where the reduced study does not wait for a disk

pytestmark = [
    pytest.mark.study,
    pytest.mark.skipif(sys.platform != "linux", reason="needs fork, signals and exchanged folders"),
]


def test_stopped_at_any_moment_nothing_is_lost_and_the_next_run_finishes(tmp_path: Path) -> None:
    quick = IN_MEMORY if IN_MEMORY.is_dir() and not FULL else tmp_path
    with TemporaryDirectory(dir=quick) as scratch:
        answer = subprocess.run(
            [sys.executable, "-m", "studies.stopped_commands", scratch, *(["full"] if FULL else [])],
            env={
                **os.environ,
                "PYTHONPATH": f"{CHECKOUT}{os.pathsep}{CHECKOUT / 'tests'}",
                "OMP_NUM_THREADS": "1",
                "PYTHONDONTWRITEBYTECODE": "1",
            },
            capture_output=True,
            text=True,
            check=False,
        )
    assert answer.returncode == 0, answer.stderr
    print(answer.stdout)
    told = json.loads(answer.stdout)
    killed, refused = told["killed"], told["refused"]
    assert killed["faults"] == []
    assert killed["kills"] == (300 if FULL else 4)
    assert sum(number for end, number in killed["ends"].items() if end.endswith("killed")) > 0.6 * killed["kills"]
    assert refused["faults"] == []
    assert refused["disks"] >= 15
    assert refused["refused"] > 0.6 * refused["disks"]  # the disks were bad indeed
