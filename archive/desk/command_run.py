"""A command run for the desk in a process of its own: how far it is, what it answers, and how to stop it."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
import threading
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from typing import IO, Any

__all__ = ["CommandRun", "Outcome", "stop"]

_STOP_S = 10.0
_PROGRESS = re.compile(r"(.+): (\d+) of (\d+)")
_CAUSE, _WARNING, _MISUSE = "northlimb: ", "warning: ", "Error: "
_STOPPED = 130
_DEFECT = "a defect of northlimb; the terminal says more"
_MOST_CAUSES = 5

OnProgress = Callable[[str, int, int], None]


@dataclass(frozen=True)
class Outcome:
    """How a command ended: its exit status, its answer, and the lines that it printed on standard error."""

    status: int
    answer: Mapping[str, Any] = field(default_factory=dict)
    causes: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()


class CommandRun:
    """One command, started at once. `environment` is added to that of the desk, and shown to nobody."""

    def __init__(
        self, words: Sequence[str], *, on_progress: OnProgress, environment: Mapping[str, str] | None = None
    ) -> None:
        self._on_progress, self._out = on_progress, b""
        self._process = subprocess.Popen(
            [sys.executable, "-m", "archive", *words],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            env={**os.environ, "NORTHLIMB_PROGRESS": "1", **(environment or {})},
        )

    def stop(self) -> None:
        """End it, from any thread; what it had under way it clears up itself."""
        stop(self._process)

    def outcome(self) -> Outcome:
        """Wait for its end, telling how far it is meanwhile."""
        assert self._process.stdout is not None
        assert self._process.stderr is not None
        reading = threading.Thread(target=self._read, args=(self._process.stdout,), daemon=True)
        reading.start()
        with self._process.stderr as told:
            lines = list(self._not_of_progress(told))
        reading.join()
        status = self._process.wait()
        causes = [_without(line, _CAUSE, _MISUSE) for line in lines if line.startswith((_CAUSE, _MISUSE))]
        if status > 0 and status != _STOPPED and not causes:
            print("\n".join(lines), file=sys.stderr)
            causes = [_DEFECT]
        warnings = tuple(_without(line, _WARNING) for line in lines if line.startswith(_WARNING))
        return Outcome(status, self._answer(), tuple(causes[:_MOST_CAUSES]), warnings)

    def _read(self, stream: IO[bytes]) -> None:
        with stream:
            self._out = stream.read()

    def _not_of_progress(self, told: IO[bytes]) -> Any:
        for data in told:
            line = data.decode("utf-8", "replace").rstrip()
            found = _PROGRESS.fullmatch(line)
            if found is None:
                yield line
            else:
                self._on_progress(found[1], int(found[2]), int(found[3]))

    def _answer(self) -> Mapping[str, Any]:
        with suppress(ValueError):
            found = json.loads(self._out)
            if isinstance(found, dict):
                return found
        return {}


def _without(line: str, *beginnings: str) -> str:
    for beginning in beginnings:
        line = line.removeprefix(beginning)
    return line


def stop(process: subprocess.Popen[bytes]) -> None:
    """End a command; whatever the instant, what it had finished stays, and the next one does the rest."""
    with suppress(OSError):
        process.terminate()
    with suppress(subprocess.TimeoutExpired):
        process.wait(_STOP_S)
        return
    with suppress(OSError):
        process.kill()
