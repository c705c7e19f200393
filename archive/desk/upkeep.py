"""Looking after an archive: what needs attention, verified and restored, a second copy, a month's report."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from typing import Any, Literal

from pydantic import Field

from archive.desk.answers import Refusal, answer
from archive.desk.app import Routes, asked, changed
from archive.desk.attention import attention_view
from archive.desk.folders import FolderChooser
from archive.desk.job_queue import Command, Job, JobQueue
from archive.desk.second_copies import forget_copy, read_copies, remember_copy, searched_folder
from archive.desk.site import SiteKeeper
from archive.desk.verified import verified_view
from archive.disk import Folder
from archive.errors import FactsError
from archive.execution.progress import silent
from archive.records.places import places
from archive.records.settings import read_settings
from archive.records.toml_files import TomlModel
from archive.reports.series import month_span, series_report
from archive.reports.series_table import report_csv, report_text

__all__ = ["Upkeep", "upkeep_routes"]

_MONTH = re.compile(r"\d{4}-(?:0[1-9]|1[0-2])")


class VerifyForm(TomlModel):
    """Whether to look alone, to put right from within, or to bring whole copies back; and in which copies to look."""

    then: Literal["look", "repair", "restore"] = "look"
    copies: tuple[str, ...] = Field(default=(), max_length=20)


class FolderForm(TomlModel):
    """A folder by its number; none for where to begin."""

    folder: str | None = Field(default=None, max_length=9)


class JobForm(TomlModel):
    """What is under way, by its id."""

    job: str = Field(max_length=40)


class Upkeep:
    """What the page for looking after an archive asks for; what runs long is in `jobs`, by the commands themselves."""

    def __init__(self, files: Folder, site: SiteKeeper, on_change: Callable[[], None]) -> None:
        self._files, self.jobs = files, JobQueue(site, on_change)
        self._roots = [files.path, files.path.resolve()]
        self._chooser = FolderChooser()
        self._verified: Callable[[], dict[str, Any]] | None = None

    def view(self) -> dict[str, Any]:
        """Return what `verify` found last, the second copies, and the months with pictures."""
        months = {place.day[:7] for place in places(self._files)}
        return {
            "verified": None if self._verified is None else self._verified(),
            "copies": [self._copy_view(path) for path in read_copies(self._files.path)],
            "months": sorted(months, reverse=True),
        }

    def _copy_view(self, path: Path) -> dict[str, Any]:
        return {
            "id": self._chooser.number(path),
            "name": path.name,
            "in": path.parent.name or str(path.parent.anchor),
            "there": path.is_dir(),
        }

    def verify(self, asked: VerifyForm) -> dict[str, Any]:
        """Begin to verify."""
        known = read_copies(self._files.path)
        copies = [self._chooser.path(number) for number in asked.copies]
        if any(copy not in known for copy in copies):
            raise FactsError("copies: not one of the second copies; choose it first")
        words = [word for copy in copies for word in ("--against", str(searched_folder(copy)))]
        words += {"look": [], "repair": ["--repair"], "restore": ["--restore", "--yes"]}[asked.then]
        self._start("verify", *words, on_end=self._on_verified, changes=asked.then != "look")
        return self.view()

    def _start(self, name: str, *words: str, on_end: Callable[[Job], bool], changes: bool = False) -> None:
        if any(job["state"] in ("waiting", "working") for job in self.jobs.view()):
            raise FactsError("something is under way already; wait for it, or stop it")
        for job in self.jobs.view():  # what was refused before
            self.jobs.cancel(job["id"])
        command = Command(name, (name, str(self._files.path), *words, "--json"))
        self.jobs.add({"name": name}, lambda _: [command], on_end=on_end, changes_site=changes)

    def _on_verified(self, job: Job) -> bool:
        answer = job.answers.get("verify", {})
        # Where something is not as filed the command ends as refused, and tells what.
        if "checked" in answer:
            copies = {str(searched_folder(path)): path.name for path in read_copies(self._files.path)}
            self._verified = partial(verified_view, answer, copies, self._roots, datetime.now(UTC))
        return "checked" not in answer

    def copy(self, asked: FolderForm) -> dict[str, Any]:
        """Begin to make a second copy, as a bag in a folder of its own, in the folder that was chosen."""
        place = self._chooser.path(asked.folder or "")
        title = re.sub(r"[^\w ()+,@=-]", "_", read_settings(self._files).title).strip(" .")[:80]
        stem = f"{title or 'archive'} {datetime.now(UTC):%Y-%m-%d}"
        names = (stem if number == 1 else f"{stem} ({number})" for number in range(1, 1000))
        bag = next(path for path in (place / name for name in names) if not path.exists())

        def on_end(job: Job) -> bool:
            if job.state == "done":
                remember_copy(self._files.path, bag)
            return job.state != "done"

        self._start("export", "--bag", str(bag), on_end=on_end)
        return self.view()

    def add_copy(self, asked: FolderForm) -> dict[str, Any]:
        """Remember a folder as a second copy, made by whatever means."""
        path = self._chooser.path(asked.folder or "")
        own = self._files.path.resolve()
        if own == path.resolve() or own in path.resolve().parents:
            raise FactsError("folder: the archive itself; choose a copy that lies elsewhere")
        remember_copy(self._files.path, path)
        return self.view()

    def forget_copy(self, asked: FolderForm) -> dict[str, Any]:
        """Ask no more after a copy."""
        forget_copy(self._files.path, self._chooser.path(asked.folder or ""))
        return self.view()

    def folders(self, asked: FolderForm) -> dict[str, Any]:
        """Return a folder of this computer, to choose from."""
        return self._chooser.view(asked.folder)

    def cancel(self, asked: JobForm) -> dict[str, Any]:
        """Stop what is under way, or take what was refused out of the list."""
        self.jobs.cancel(asked.job)
        return self.view()

    def attention(self) -> dict[str, Any]:
        """Return what needs attention."""
        return attention_view(self._files)

    def report(self, month: str) -> dict[str, Any]:
        """Return a month's report: as it is shown, and as it is saved."""
        if not _MONTH.fullmatch(month):
            raise Refusal(404, "no such month")
        found = series_report(self._files, month_span(month), on_progress=silent)
        return {"report": found, "text": report_text(found), "csv": report_csv(found)}


_ASKED: Mapping[str, Callable[[Upkeep, str], Any]] = {
    "/api/upkeep": lambda upkeep, _: upkeep.view(),
    "/api/attention": lambda upkeep, _: upkeep.attention(),
    "/api/reports/{month}": Upkeep.report,
}
_CHANGED: Mapping[str, tuple[type[TomlModel], Callable[[Upkeep, Any], Any]]] = {
    "/api/upkeep/verify": (VerifyForm, Upkeep.verify),
    "/api/upkeep/copy": (FolderForm, Upkeep.copy),
    "/api/upkeep/copies/add": (FolderForm, Upkeep.add_copy),
    "/api/upkeep/copies/forget": (FolderForm, Upkeep.forget_copy),
    "/api/upkeep/folders": (FolderForm, Upkeep.folders),
    "/api/upkeep/cancel": (JobForm, Upkeep.cancel),
}


def upkeep_routes(upkeep: Upkeep) -> Routes:
    """Return what the page for looking after an archive asks for."""

    def ask(what: Callable[[Upkeep, str], Any], name: str) -> Any:
        return answer(what(upkeep, name))

    def do(what: Callable[[Upkeep, Any], Any], _: str, form: Any) -> Any:
        return what(upkeep, form)

    return [
        *(asked(address, partial(ask, what)) for address, what in _ASKED.items()),
        *(changed(address, form, partial(do, what)) for address, (form, what) in _CHANGED.items()),
    ]
