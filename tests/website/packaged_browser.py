"""A real browser for the tests: Debian's Chromium, driven through packages of npm where those are at hand.

``NORTHLIMB_NODE_MODULES`` names a folder ``node_modules`` with puppeteer-core and axe-core (and vnu-jar and lighthouse
for the tests that say so); `.ci/run` makes one. Without it these tests are skipped.
"""

from __future__ import annotations

import atexit
import json
import os
import select
import shutil
import subprocess
from collections.abc import Sequence
from functools import cache
from pathlib import Path
from typing import Any

import pytest

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
NODE = shutil.which("node")
MODULES = os.environ.get("NORTHLIMB_NODE_MODULES", "")
_PATIENCE_S = 180.0

in_driven_browser = pytest.mark.skipif(
    not (CHROMIUM and NODE and (Path(MODULES) / "puppeteer-core").is_dir()),
    reason="needs Chromium, node, and NORTHLIMB_NODE_MODULES with puppeteer-core and axe-core: not tried in a browser",
)


def needs_package(name: str) -> pytest.MarkDecorator:
    """Skip where a package of npm is not at hand."""
    there = bool(MODULES) and (Path(MODULES) / name).is_dir()
    return pytest.mark.skipif(not there, reason=f"NORTHLIMB_NODE_MODULES holds no {name}")


def look(visits: Sequence[dict[str, Any]]) -> list[dict[str, Any]]:
    """Visit pages one after the other, with nothing remembered from before; see look.mjs for what can be asked."""
    process = _started()
    assert process.stdin is not None
    assert process.stdout is not None
    process.stdin.write(json.dumps(list(visits)) + "\n")
    process.stdin.flush()
    ready, _, _ = select.select([process.stdout], [], [], _PATIENCE_S)
    answer = process.stdout.readline() if ready else ""
    if not answer:
        process.kill()
        _started.cache_clear()
    assert answer, "the browser does not answer"
    told = json.loads(answer)
    assert "failed" not in told, told["failed"]
    found: list[dict[str, Any]] = told["found"]
    return found


@cache
def _started() -> subprocess.Popen[str]:
    """One browser for all tests of this process, which ends with it."""
    process = subprocess.Popen(
        [str(NODE), str(Path(__file__).with_name("look.mjs")), str(CHROMIUM), MODULES],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    atexit.register(_ended, process)
    return process


def _ended(process: subprocess.Popen[str]) -> None:
    process.communicate(timeout=20)
