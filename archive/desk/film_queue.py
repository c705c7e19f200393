"""Films made one after the other by the command itself, for the site or only to be saved."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from pathlib import Path

from archive.desk.job_queue import Command, Job, JobQueue
from archive.desk.site import SiteKeeper
from archive.disk import Folder
from archive.errors import FactsError
from archive.records.settings import FilmSettings
from archive.stages.film_words import film_words
from archive.stages.films import film_stem

__all__ = ["FILM_PARTS", "FilmQueue", "film_command"]

# What follows the stem of a film's files.
FILM_PARTS = {
    "film": ".mp4",
    "smaller": "-av1.mp4",
    "clip": "-loop.mp4",
    "still": ".jpg",
    "frames": ".json",
}
# The options of the command that are not called like the key of a film's settings.
_OPTIONS = {
    "first": "from", "last": "to", "pace_s": "pace", "reach_days": "reach", "size_px": "size",
    "longitude_deg": "longitude", "hold_s": "hold",
}  # fmt: skip


def film_command(root: Path, span: FilmSettings, out: Path | None) -> list[str]:
    """Return the words that `northlimb` is called with for a film."""
    words = ["film", str(root)]
    for key, value in span.model_dump(exclude_none=True).items():
        option = f"--{_OPTIONS.get(key, key).replace('_', '-')}"
        if value is not False:
            words += [option] if value is True else [option, str(value)]
    return words if out is None else [*words, "--out", str(out)]


class FilmQueue:
    """The films that were asked for at the desk; those that are only to be saved stay until it ends."""

    def __init__(self, files: Folder, site: SiteKeeper, on_change: Callable[[], None]) -> None:
        self._files = files
        self.jobs = JobQueue(site, on_change)
        self._own = tempfile.TemporaryDirectory(prefix="northlimb-desk-")

    def ask(self, span: FilmSettings, *, keep: bool) -> str:
        """Have a film made; returns the job's id.

        Raises
        ------
        FactsError
            It is being made already, or there are too many.
        """

        def commands(job: str) -> list[Command]:
            folder = self._own_folder(job)
            if not keep:
                folder.make_folder()
            out = None if keep else folder.path / f"{film_stem(span)}.mp4"
            return [Command("film", tuple(film_command(self._files.path, span, out)))]

        about = {"words": film_words(span), "name": film_stem(span), "keep": keep}
        return self.jobs.add(about, commands, on_end=self._note_parts, changes_site=keep)

    def _note_parts(self, job: Job) -> bool:
        """Note which files of a film there are to save; one for the site is there, and needs no more."""
        if job.state == "done" and not job.about["keep"]:
            names, stem = set(self._own_folder(job.id).names()), job.about["name"]
            job.about["parts"] = [part for part, ending in FILM_PARTS.items() if f"{stem}{ending}" in names]
        return job.state == "refused" or not job.about["keep"]

    def cancel(self, name: str) -> None:
        """Take a film out of the list; nothing of one that is being made stays."""
        self.jobs.cancel(name)
        Folder(Path(self._own.name)).remove_tree(name)

    def own_file(self, name: str, part: str) -> bytes:
        """Return a file of a film that was made only to be saved.

        Raises
        ------
        FactsError
            There is none.
        """
        job = self.jobs.get(name)
        if part not in job.about.get("parts", ()):
            raise FactsError("no such file of a film")
        return self._own_folder(name).read(f"{job.about['name']}{FILM_PARTS[part]}", most_bytes=None)

    def close(self) -> None:
        """Stop what is under way, and remove what was not for the site."""
        self.jobs.close()
        self._own.cleanup()

    def _own_folder(self, job: str) -> Folder:
        return Folder(Path(self._own.name)).below(job)
