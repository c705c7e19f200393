"""The archive that a command works on, with all that the stages need for it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

from archive.disk import Folder, Stamp
from archive.execution.executor import IN_THIS_PROCESS, Executor
from archive.execution.progress import Progress, silent
from archive.model.choices import FilmMaking
from archive.records.archive_files import derived_files, files_of
from archive.records.settings import Settings, read_settings
from archive.records.stamps import ListedFiles, archive_stamps
from archive.store import Store

if TYPE_CHECKING:
    from archive.stages.studies import KeptStudy

__all__ = ["Archive", "opened_archive"]


@dataclass(frozen=True)
class Archive:
    """An archive's folder and settings, its store of derived data, the executor, and whom to report progress to.

    `films` says whether those that are out of date are made. `studied` are the studies of originals that a stage has
    asked for, by their checksums: several stages do.
    """

    root: Path
    settings: Settings
    store: Store
    executor: Executor = IN_THIS_PROCESS
    on_progress: Progress = silent
    films: FilmMaking = "made"
    studied: dict[str, KeptStudy] = field(default_factory=dict, repr=False, compare=False)

    @property
    def files(self) -> Folder:
        """The archive's folder, below which files are reached."""
        return files_of(self.root)

    @cached_property
    def stamps(self) -> Mapping[str, Stamp]:
        """The stamps of all that the observer may write, as they were when this was first asked for."""
        return archive_stamps(self.files)

    @cached_property
    def listed(self) -> ListedFiles:
        """The names of those files."""
        return ListedFiles(self.stamps)

    def with_settings_read(self) -> Archive:
        """Return the archive with its settings read again, after they were changed."""
        return replace(self, settings=read_settings(self.files))


@contextmanager
def opened_archive(
    root: Path,
    *,
    executor: Executor = IN_THIS_PROCESS,
    on_progress: Progress = silent,
    films: FilmMaking = "made",
) -> Iterator[Archive]:
    """Open an archive's settings and store; what is derived meanwhile is kept at the end.

    Raises
    ------
    SettingsError
        `archive.toml` has mistakes, or a newer program has made the archive.
    """
    settings = read_settings(files_of(root))  # first: an archive of a newer program is not read
    with Store(derived_files(root)) as store:
        yield Archive(root, settings, store, executor, on_progress, films)
