"""A command that runs long, in a process of its own: how far it has come, and what it answered.

One runs at a time. What only reads stands aside for a change of the archive and begins again afterwards, so that no
correction waits for it; what writes is waited for.
"""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Literal

from archive.desk.answers import plain_causes
from archive.desk.site import SiteKeeper
from archive.disk import Folder
from archive.errors import FactsError
from archive.execution.progress import OFTEN

__all__ = ["Job", "JobState", "Jobs", "job_view"]

_REST_S = 2.0
_STOP_S = 10.0
_MOST_CAUSES = 20
# Such as "verifying: 12 of 365".
_PROGRESS = re.compile(r"(.+): (\d+) of (\d+)")


@dataclass(frozen=True)
class Job:
    """A command to be run: its name here, its words without the folder's, and whether it writes into the archive."""

    name: str
    words: tuple[str, ...]
    writes: bool = False


@dataclass(frozen=True)
class JobState:
    """What became of the last job; `what`, `done` and `total` tell how far it is, `answer` is the command's own."""

    name: str = ""
    state: Literal["none", "running", "waiting", "done", "refused", "stopped"] = "none"
    what: str = ""
    done: int = 0
    total: int = 0
    causes: tuple[str, ...] = ()
    answer: dict[str, Any] = field(default_factory=dict)


def job_view(state: JobState, roots: Iterable[Path]) -> dict[str, Any]:
    """Return how far a job is, without its answer and without paths."""
    return {
        "name": state.name, "state": state.state, "what": state.what, "done": state.done, "total": state.total,
        "causes": plain_causes(state.causes, roots),
    }  # fmt: skip


class Jobs:
    """Runs commands on one archive."""

    def __init__(self, files: Folder, site: SiteKeeper, on_change: Callable[[], None]) -> None:
        self._files, self._site, self._on_change = files, site, on_change
        self.state = JobState()
        self._wake = threading.Condition()
        self._process: subprocess.Popen[bytes] | None = None
        self._job: Job | None = None
        self._hands, self._rests_until_s = 0, 0.0
        self._stopped = False
        self._thread: threading.Thread | None = None

    def start(self, job: Job, on_done: Callable[[JobState], None] = lambda state: None) -> None:
        """Begin a job; `on_done` is called with its end.

        Raises
        ------
        FactsError
            Another one is under way.
        """
        with self._wake:
            if self._job is not None:
                raise FactsError("something is under way already; wait for it, or stop it")
            self._job, self._stopped = job, False
            self.state = JobState(job.name, "running")
            self._thread = threading.Thread(target=self._run, args=(job, on_done), daemon=True)
            self._thread.start()
        self._on_change()

    def stop(self) -> None:
        """Stop the job that is under way; what it had begun is left as after Ctrl-C."""
        with self._wake:
            self._stopped = True
            process = self._process
            self._wake.notify_all()
        if process is not None:
            _interrupt(process)

    def close(self) -> None:
        """Stop, and wait for the end."""
        self.stop()
        if self._thread is not None:
            self._thread.join(_STOP_S)
        if self._process is not None:
            with suppress(OSError):
                self._process.kill()

    @contextmanager
    def standing_aside(self) -> Iterator[None]:
        """Keep a job that only reads out of the way meanwhile."""
        with self._wake:
            self._hands += 1
            process = self._process if self._job is not None and not self._job.writes else None
        if process is not None:
            _interrupt(process)
        try:
            yield
        finally:
            with self._wake:
                self._hands -= 1
                self._rests_until_s = time.monotonic() + _REST_S
                self._wake.notify_all()

    def _run(self, job: Job, on_done: Callable[[JobState], None]) -> None:
        found = JobState(job.name, "stopped")
        with self._site.standing_aside(changes=job.writes):
            while self._may_run(job):
                process = self._started(job)
                status, out, told = self._followed(process)
                with self._wake:
                    self._process = None
                    aside = self._rests_until_s > time.monotonic() or self._hands > 0
                    if self._stopped or not (aside and status and not job.writes):
                        found = JobState(job.name, "stopped") if self._stopped else _ended(job, status, out, told)
                        break
        on_done(found)
        with self._wake:
            self._job = None
        self._set(found)

    def _may_run(self, job: Job) -> bool:
        """Wait until no hand is at work; returns whether the job is still wanted."""
        with self._wake:
            while not self._stopped and not job.writes and self._waits_s() > 0.0:
                self._set(replace(self.state, state="waiting"))
                self._wake.wait(self._waits_s())
            return not self._stopped

    def _waits_s(self) -> float:
        return 3600.0 if self._hands else self._rests_until_s - time.monotonic()

    def _started(self, job: Job) -> subprocess.Popen[bytes]:
        command, *options = job.words
        process = subprocess.Popen(
            [sys.executable, "-m", "archive", command, str(self._files.path), *options, "--json"],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            env={**os.environ, OFTEN: "1"},
        )
        with self._wake:
            self._process = process
            self._set(JobState(job.name, "running"))
            asked_to_go = self._stopped or (self._hands and not job.writes)
        if asked_to_go:
            _interrupt(process)
        return process

    def _followed(self, process: subprocess.Popen[bytes]) -> tuple[int, bytes, list[str]]:
        """Read what a command says until its end; returns its status, its answer, and lines that are no progress."""
        assert process.stdout is not None
        assert process.stderr is not None
        out: list[bytes] = []
        reader = threading.Thread(target=lambda: out.append(process.stdout.read()))  # type: ignore[union-attr]
        reader.start()
        told = []
        for data in process.stderr:
            line = data.decode("utf-8", "replace").strip()
            if found := _PROGRESS.fullmatch(line):
                self._set(replace(self.state, what=found[1], done=int(found[2]), total=int(found[3])))
            elif line:
                told.append(line)
        reader.join()
        process.stdout.close()
        process.stderr.close()
        return process.wait(), b"".join(out), told

    def _set(self, state: JobState) -> None:
        self.state = state
        self._on_change()


def _ended(job: Job, status: int, out: bytes, told: Sequence[str]) -> JobState:
    try:
        answer = json.loads(out)
    except ValueError:
        answer = {}
    lines = tuple(line.removeprefix("northlimb: ") for line in told)[-_MOST_CAUSES:]
    # A `verify` that finds something ends with 1 as well, and tells what.
    if not isinstance(answer, dict) or (status and "causes" in answer) or not answer:
        causes = answer.get("causes", lines) if isinstance(answer, dict) else lines
        return JobState(job.name, "refused", causes=tuple(map(str, causes)) or ("ended without an answer",))
    return JobState(job.name, "done", answer=answer)


def _interrupt(process: subprocess.Popen[bytes]) -> None:
    """Ask a command to end as Ctrl-C does, so that it clears up what it had begun."""
    with suppress(OSError):
        if sys.platform == "win32":
            process.terminate()
        else:
            process.send_signal(signal.SIGINT)
