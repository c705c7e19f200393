"""The site kept up to date in the background, and shown from another origin than the desk's.

It is built by the command itself in a process of its own. A correction does not wait for it: a build that stands in the
way is stopped, which loses nothing, and begins again once the hand rests.
"""

from __future__ import annotations

import json
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from typing import Literal

from archive.building import site_is_older
from archive.desk.command_run import stop
from archive.disk import Folder
from archive.errors import ArchiveError
from archive.publishing.local_server import LocalServer, local_server
from archive.site_folder import site_files, site_folder

__all__ = ["SiteKeeper", "SiteState"]

_REST_S = 4.0
_STOP_S = 10.0


@dataclass(frozen=True)
class SiteState:
    """What becomes of the site; the causes of a refusal, and what the last build said is to be looked at."""

    state: Literal["none", "older", "in order", "waiting", "building", "refused"] = "none"
    causes: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()


class SiteKeeper:
    """Builds the site of one archive after changes, and serves it for a look."""

    def __init__(self, files: Folder, on_change: Callable[[], None]) -> None:
        self._files, self._on_change = files, on_change
        self.state = SiteState()
        self._lock = threading.Lock()
        self._process: subprocess.Popen[bytes] | None = None
        self._due_s: float | None = None
        self._hands = 0
        self._closed = False
        self._server: LocalServer | None = None
        self._wake = threading.Condition(self._lock)
        self._thread = threading.Thread(target=self._keep, daemon=True)
        self._thread.start()
        threading.Thread(target=self._first_look, daemon=True).start()

    @contextmanager
    def standing_aside(self, *, changes: bool = True) -> Iterator[None]:
        """Keep builds out of the way meanwhile; the site is due afterwards where the archive changed."""
        with self._lock:
            self._hands += 1
            process = self._process
        if process is not None:
            stop(process)
        try:
            yield
        finally:
            with self._wake:
                self._hands -= 1
                if changes or process is not None:
                    self._due_s = time.monotonic() + _REST_S
                    self._set(replace(self.state, state="waiting"))
                self._wake.notify_all()

    def ask(self) -> None:
        """Have the site built at once."""
        with self._wake:
            self._due_s = time.monotonic()
            self._set(replace(self.state, state="waiting"))
            self._wake.notify_all()

    def preview(self) -> str:
        """Return the address at which the site can be looked at.

        Raises
        ------
        ArchiveError
            There is no site yet, or no port is free.
        """
        with self._lock:
            if self._server is None:
                site = site_files(self._files.path, site_folder(self._files.path, None))
                if not site.is_file("index.html"):
                    raise ArchiveError("the site is not built yet; build it first")
                self._server = local_server(site, 0)
                threading.Thread(target=self._server.serve_forever, daemon=True).start()
            return self._server.address

    def close(self) -> None:
        """Stop what is under way."""
        with self._wake:
            self._closed = True
            process, server = self._process, self._server
            self._wake.notify_all()
        if process is not None:
            stop(process)
        if server is not None:
            server.shutdown()
            server.server_close()
        self._thread.join(_STOP_S)

    def _keep(self) -> None:
        while True:
            with self._wake:
                while not self._closed and not self._is_due():
                    self._wake.wait(None if self._due_s is None or self._hands else self._left_s())
                if self._closed:
                    return
                self._due_s = None
                self._process = process = _build(self._files)
                self._set(replace(self.state, state="building"))
            out, told = process.communicate()
            with self._wake:
                self._process = None
                self._done(process.returncode, out, told)
                if self._server is not None:
                    self._server.renew()

    def _is_due(self) -> bool:
        return self._due_s is not None and not self._hands and self._left_s() <= 0.0

    def _left_s(self) -> float:
        return 0.0 if self._due_s is None else self._due_s - time.monotonic()

    def _done(self, status: int, out: bytes, told: bytes) -> None:
        if self._due_s is not None or self._hands:
            return  # it was stopped for a change, and comes again
        lines = told.decode("utf-8", "replace").splitlines()
        causes = tuple(line.removeprefix("northlimb: ") for line in lines if ": " in line)[-5:]
        warnings = _warnings_in(out) if status == 0 else self.state.warnings
        self._set(SiteState("in order" if status == 0 else "refused", () if status == 0 else causes, warnings))

    def _first_look(self) -> None:
        """Find out whether the site is older than the archive, before anything was changed here."""
        place = site_folder(self._files.path, None)
        with suppress(ArchiveError, OSError):
            if site_files(self._files.path, place).is_file("index.html"):
                state = SiteState("older" if site_is_older(self._files.path, place) else "in order")
                with self._lock:
                    if self.state.state == "none":
                        self._set(state)

    def _set(self, state: SiteState) -> None:
        self.state = state
        self._on_change()


def _build(files: Folder) -> subprocess.Popen[bytes]:
    return subprocess.Popen(
        [sys.executable, "-m", "archive", "build", "--no-films", "--json", str(files.path)],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )


def _warnings_in(out: bytes) -> tuple[str, ...]:
    try:
        return tuple(str(warning) for warning in json.loads(out)["warnings"])
    except (ValueError, LookupError, TypeError):
        return ()
