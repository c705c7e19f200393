"""`new` on a terminal: it asks for what was left out, and says where unknown will do."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

pty = pytest.importorskip("pty", reason="needs a terminal of Unix")

_WHOLE = {
    "title": "Sun over the quay", "observer": "A. Teal", "site": "Quay,52.1,-1.3", "time-zone": "Europe/London",
    "instrument": "Doorstep", "mount": "unknown",
}  # fmt: skip
_PATIENCE_S = 60.0


def _new_on_a_terminal(folder: Path, given: dict[str, str], lines: str = "") -> tuple[int, str]:
    """Run `new` with a terminal for its input, type lines, and return the exit status and what it asked."""
    ours, theirs = pty.openpty()
    words = [word for name, value in given.items() for word in (f"--{name}", value)]
    command = [sys.executable, "-m", "archive", "new", str(folder), *words]
    try:
        with subprocess.Popen(command, stdin=theirs, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE) as process:
            os.write(ours, lines.encode())
            try:
                _, told = process.communicate(timeout=_PATIENCE_S)
            except subprocess.TimeoutExpired:
                process.kill()
                raise
    finally:
        os.close(ours)
        os.close(theirs)
    return process.returncode, told.decode()


def test_mirroring_and_camera_angle_are_asked_for_where_the_mount_is_unknown(tmp_path: Path) -> None:
    given = {name: value for name, value in _WHOLE.items() if name != "mount"}
    status, told = _new_on_a_terminal(tmp_path / "sun", given, "\nyes\n-12.5\n")
    assert status == 0, told
    settings = (tmp_path / "sun/archive.toml").read_text(encoding="utf-8")
    assert 'mount = "unknown"' in settings
    assert 'mirrored = "yes"' in settings
    assert "camera_angle_deg = -12.5" in settings
    for question in ("Mount (unknown is fine", "mirror images (unknown is fine", "unknown is fine: it is learned"):
        assert question in told


def test_enter_leaves_all_three_unknown(tmp_path: Path) -> None:
    given = {name: value for name, value in _WHOLE.items() if name != "mount"}
    status, told = _new_on_a_terminal(tmp_path / "sun", given, "\n\n\n")
    assert status == 0, told
    settings = (tmp_path / "sun/archive.toml").read_text(encoding="utf-8")
    assert 'mirrored = "unknown"' in settings
    assert "camera_angle_deg" not in settings


def test_a_command_that_is_whole_asks_nothing(tmp_path: Path) -> None:
    status, told = _new_on_a_terminal(tmp_path / "sun", _WHOLE)
    assert (status, "unknown is fine" in told) == (0, False)
