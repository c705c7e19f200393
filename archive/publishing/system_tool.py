"""The system's own programs, run without questions: what they answer, and their faults in one line."""

from __future__ import annotations

import os
import subprocess
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from archive.errors import PublishError

__all__ = ["ToolAnswer", "run_tool"]

_FAULTS = ("denied", "fatal:", "rejected", "failed", "no space", "quota", "refused", "not ")


@dataclass(frozen=True)
class ToolAnswer:
    """How a program ended, what it wrote, the line of its complaints that tells the cause, and all of them."""

    status: int
    out: bytes
    complaint: str
    complaints: str


def run_tool(
    words: Sequence[str], *, place: str, given: bytes = b"", environment: Mapping[str, str] | None = None
) -> ToolAnswer:
    """Run a program and wait for it.

    Raises
    ------
    PublishError
        The system does not have it.
    """
    # Plain English, for the complaints are looked at; what else is set (keys, agents, proxies) stays.
    own = {**os.environ, "LC_ALL": "C", **(environment or {})}
    try:
        done = subprocess.run(list(words), input=given, capture_output=True, env=own, check=False)
    except FileNotFoundError:
        raise PublishError(f"{place}: needs the program {words[0]}, which is not on this system; install it") from None
    lines = [line.strip() for line in done.stderr.decode("utf-8", "replace").splitlines() if line.strip()]
    return ToolAnswer(done.returncode, done.stdout, _telling(lines), "\n".join(lines))


def _telling(lines: Sequence[str]) -> str:
    """Return the line that names the cause: the first that speaks of a fault, or the last."""
    for line in lines:
        if any(sign in line.lower() for sign in _FAULTS):
            return line
    return lines[-1] if lines else "no reason given"
