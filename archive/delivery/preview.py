"""`preview`: the site shown on this computer, and built again whenever the archive changes."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Generator, Mapping
from dataclasses import dataclass
from pathlib import Path

from archive.building import build
from archive.built import Built
from archive.disk import Folder, Stamp
from archive.errors import ArchiveError
from archive.execution.executor import executor_at
from archive.execution.progress import Progress
from archive.publishing.local_server import local_server
from archive.records.group_names import GROUP_NAMES_FILE
from archive.records.stamps import archive_stamps
from archive.site_folder import site_files, site_folder

__all__ = ["PreviewEvent", "Refused", "Serving", "preview"]

# Files are looked at one by one: that works on every system and on network drives, and a look at ten years of
# pictures takes a quarter of a second.
_PAUSE_S = 0.5
_LOOKING_SHARE = 0.1  # of the time, at most
# What was refused is tried again by itself, for its cause may lie elsewhere: another run that was writing, a full disk.
_AGAIN_AFTER_S = 3.0

Stamps = Mapping[str, Stamp]


@dataclass(frozen=True)
class Serving:
    """The site can be looked at."""

    site_dir: Path
    address: str


@dataclass(frozen=True)
class Refused:
    """The archive changed, but no site could be made of it; the one before is still shown."""

    causes: tuple[str, ...]


PreviewEvent = Serving | Built | Refused


def preview(
    files: Folder, *, site_dir: Path | None, port: int, new_progress: Callable[[], Progress]
) -> Generator[PreviewEvent, None, None]:
    """Build the site, serve it, and build it again whenever settings, records, notes or pictures change, for ever.

    Close the generator to stop serving. Each build shows a progress of its own.

    Yields
    ------
    Serving, then Built or Refused for each change; the same refusal is not reported twice.

    Raises
    ------
    ArchiveError
        The port is taken, or the first build is refused.
    """
    with local_server(site_files(files.path, site_folder(files.path, site_dir)), port) as server:
        seen = _stamps(files)
        built = _build(files, site_dir, new_progress())
        threading.Thread(target=server.serve_forever, daemon=True).start()
        try:
            yield Serving(built.site_dir, server.address)
            refused: Refused | None = None
            while True:
                seen = _changed(files, seen, patience_s=None if refused is None else _AGAIN_AFTER_S)
                event = _built_again(files, site_dir, new_progress())
                if isinstance(event, Built):
                    server.renew()
                if event != refused:
                    yield event
                refused = event if isinstance(event, Refused) else None
        finally:
            server.shutdown()


def _stamps(files: Folder) -> Stamps:
    """Return the stamps of all that the observer may write, but for the names of groups, which a build adds to."""
    return {file: stamp for file, stamp in archive_stamps(files).items() if file != GROUP_NAMES_FILE}


def _build(files: Folder, site_dir: Path | None, on_progress: Progress) -> Built:
    with executor_at(None) as executor:
        return build(files.path, site_dir=site_dir, on_progress=on_progress, executor=executor)


def _built_again(files: Folder, site_dir: Path | None, on_progress: Progress) -> Built | Refused:
    try:
        return _build(files, site_dir, on_progress)
    except ArchiveError as error:
        return Refused(error.causes)
    except OSError as error:
        where = error.filename or files.path
        return Refused((f"{where}: {error.strerror or error}; check permissions and free space",))


def _changed(files: Folder, seen: Stamps, *, patience_s: float | None) -> Stamps:
    """Wait until files differ from those seen and are at rest: what is being copied is not read half.

    Without a change return after `patience_s` all the same; None waits for ever.
    """
    started, before = time.monotonic(), seen
    while True:
        looked = time.monotonic()
        now = _stamps(files)
        if now == before and (now != seen or (patience_s is not None and looked - started > patience_s)):
            return now
        before = now
        time.sleep(max(_PAUSE_S, (time.monotonic() - looked) / _LOOKING_SHARE))
