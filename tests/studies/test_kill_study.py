"""Commands killed in the midst of their work lose nothing; see `killed_commands` for what must hold.

A dozen kills by default; 300 where the environment variable NORTHLIMB_STUDY is `full`.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

FULL = os.environ.get("NORTHLIMB_STUDY") == "full"
CHECKOUT = Path(__file__).resolve().parents[2]

pytestmark = [
    pytest.mark.study,
    pytest.mark.skipif(
        sys.platform != "linux", reason="needs fork, signals and folders that are exchanged in one step"
    ),
]


def test_killed_at_any_moment_nothing_is_lost_and_the_next_run_finishes(tmp_path: Path) -> None:
    kills = 300 if FULL else 12
    answer = subprocess.run(
        [sys.executable, "-m", "studies.killed_commands", str(tmp_path), str(kills), "20260603"],
        env={**os.environ, "PYTHONPATH": f"{CHECKOUT}{os.pathsep}{CHECKOUT / 'tests'}", "OMP_NUM_THREADS": "1"},
        capture_output=True,
        text=True,
        check=False,
    )
    assert answer.returncode == 0, answer.stderr
    told = json.loads(answer.stdout)
    print(answer.stdout)
    assert told["faults"] == []
    assert told["kills"] == kills
    assert sum(number for end, number in told["ends"].items() if end.endswith("killed")) > 0.6 * kills
