"""`add --publish`: the rest of the evening in one go."""

from __future__ import annotations

from dataclasses import dataclass

from archive.building import build_with_film
from archive.built import Built
from archive.delivery.publication import PublishRequest, PublishResult, publish
from archive.disk import Folder
from archive.execution.executor import IN_THIS_PROCESS, Executor
from archive.execution.progress import Progress
from archive.records.settings import FilmSettings

__all__ = ["EveningResult", "build_film_publish"]

_WEEK = FilmSettings(days=7)


@dataclass(frozen=True)
class EveningResult:
    """The site with its film of the last week, and where it went."""

    built: Built
    published: PublishResult


def build_film_publish(files: Folder, *, on_progress: Progress, executor: Executor = IN_THIS_PROCESS) -> EveningResult:
    """Build the site with the film of the last week, and publish it to the first target of `archive.toml`.

    Raises
    ------
    ArchiveError
        As `build` and `publish` do; `check_target` reports beforehand a target that would not accept the site.
    """
    built = build_with_film(files.path, _WEEK, on_progress=on_progress, executor=executor)
    return EveningResult(built, publish(files, PublishRequest(), on_progress=on_progress))
