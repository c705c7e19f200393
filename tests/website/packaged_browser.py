"""A real browser for the tests: Debian's Chromium, driven through packages of npm where those are at hand.

``NORTHLIMB_NODE_MODULES`` names a folder ``node_modules`` with puppeteer-core and axe-core (and vnu-jar and lighthouse
for the tests that say so); `.ci/run` makes one. Without it these tests are skipped.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
NODE = shutil.which("node")
MODULES = os.environ.get("NORTHLIMB_NODE_MODULES", "")

in_driven_browser = pytest.mark.skipif(
    not (CHROMIUM and NODE and (Path(MODULES) / "puppeteer-core").is_dir()),
    reason="needs Chromium, node, and NORTHLIMB_NODE_MODULES with puppeteer-core and axe-core: not tried in a browser",
)


def needs_package(name: str) -> pytest.MarkDecorator:
    """Skip where a package of npm is not at hand."""
    there = bool(MODULES) and (Path(MODULES) / name).is_dir()
    return pytest.mark.skipif(not there, reason=f"NORTHLIMB_NODE_MODULES holds no {name}")


def look(visits: Sequence[dict[str, Any]]) -> list[dict[str, Any]]:
    """Visit pages one after the other; see look.mjs for what can be asked and what is found."""
    asked = {"chromium": CHROMIUM, "modules": MODULES, "visits": list(visits)}
    script = Path(__file__).with_name("look.mjs")
    done = subprocess.run(
        [str(NODE), str(script)], input=json.dumps(asked), capture_output=True, text=True, timeout=180, check=False
    )
    assert done.returncode == 0, done.stderr
    found: list[dict[str, Any]] = json.loads(done.stdout)
    return found
