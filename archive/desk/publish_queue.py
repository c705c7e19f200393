"""Targets tried, looked at, brought up to date and read back: each by the command, one after the other."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

from archive.desk.job_queue import Command, Job, JobQueue
from archive.desk.site import SiteKeeper
from archive.errors import PublishError
from archive.publishing.address import Address
from archive.publishing.credentials import password_variable
from archive.publishing.keyring_logins import keep_login

__all__ = ["Deed", "GivenLogin", "PublishQueue"]

Deed = Literal["try", "look", "send", "check"]

# Words of the refusals, and the field of the form that each is about.
_FIELDS = {
    "password": ("refused the login", "(status 401)", "refused the keys", "no keys found"),
    "host": (
        "no such host",
        "known_hosts",
        "another key than before",
        "certificate",
        "connection failed",
        "NoSuchBucket",
    ),
    "adopt": ("--adopt",),
    "path": ("check the path", "check the URL"),
}
_MOST_NAMES = 200


@dataclass(frozen=True)
class GivenLogin:
    """A user and a password as typed for one time; `kept` where they are to go into the keyring once they were good."""

    user: str | None
    password: str = field(repr=False)
    kept: bool

    def environment(self, kind: str, target: str) -> dict[str, str]:
        """Return what a command finds them in."""
        if kind == "s3":
            return {"AWS_ACCESS_KEY_ID": self.user or "", "AWS_SECRET_ACCESS_KEY": self.password}
        user = {"NORTHLIMB_USER": self.user} if self.user else {}
        return {password_variable(target): self.password, **user}


class PublishQueue:
    """What is under way with the targets, and what each was found to be last."""

    def __init__(self, root: Path, site: SiteKeeper, on_change: Callable[[], None]) -> None:
        self._root = root
        self.jobs = JobQueue(site, on_change, ready=lambda: site.state.state not in ("waiting", "building"))
        self._last: dict[str, dict[str, Any]] = {}

    def ask(
        self, deed: Deed, target: str, address: Address, login: GivenLogin | None, *, adopt: bool, read_back: bool
    ) -> str:
        """Have something done with a target; returns the job's id.

        Raises
        ------
        FactsError
            It is under way already.
        """
        environment = {} if login is None else login.environment(address.kind, target)
        there = (*(("--adopt",) if adopt else ()), "--", str(self._root), target)
        checking = ("publish", "--json", f"--check={target}", "--", str(self._root))
        calls: dict[Deed, dict[str, tuple[str, ...]]] = {
            "try": {"try": ("publish", "--json", "--try", *there)},
            "look": {"look": ("publish", "--json", "--dry-run", *there)},
            "send": {"send": ("publish", "--json", *there), **({"check": checking} if read_back else {})},
            "check": {"check": checking},
        }
        commands = [Command(name, call, environment) for name, call in calls[deed].items()]
        self._last.pop(target, None)

        def on_end(job: Job) -> bool:
            if login is not None and login.kept and job.state == "done":
                job.warnings += _kept(address, login)
            self._last[target] = _found(job)
            return False

        return self.jobs.add(
            {"target": target, "deed": deed}, lambda _: commands, on_end=on_end, uses_site=deed != "try"
        )

    def last(self, target: str) -> dict[str, Any] | None:
        """Return what was found last at a target, in this run of the desk."""
        return self._last.get(target)

    def forget(self, target: str) -> None:
        """Forget it, where the target is another now."""
        self._last.pop(target, None)


def _kept(address: Address, login: GivenLogin) -> tuple[str, ...]:
    try:
        keep_login(address, login.user or address.user, login.password)
    except PublishError as error:
        return error.causes
    return ()


def _found(job: Job) -> dict[str, Any]:
    causes = [{"field": _field(cause), "text": cause} for cause in job.causes]
    answers = {step: _shortened(answer) for step, answer in job.answers.items()}
    return {
        "deed": job.about["deed"],
        "step": job.step,
        "ok": job.state == "done",
        "causes": causes,
        "warnings": list(job.warnings),
        "answers": answers,
    }


def _field(cause: str) -> str | None:
    return next((field for field, words in _FIELDS.items() if any(one in cause for one in words)), None)


def _shortened(answer: Mapping[str, Any]) -> dict[str, Any]:
    """Return the figures of an answer, and the first names of its lists with their numbers: ten years have 100,000."""
    shown = {key: answer[key] for key in ("report", "checked") if key in answer}
    lists = {key: answer[key] for key in ("send", "remove", "missing", "changed") if key in answer}
    counts = {f"{key}_count": len(value) for key, value in lists.items()}
    return {**shown, **{key: value[:_MOST_NAMES] for key, value in lists.items()}, **counts}
