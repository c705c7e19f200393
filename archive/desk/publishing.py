"""The page of publishing: targets in forms, what they may receive, and what is under way with them."""

from __future__ import annotations

from typing import Any

from pydantic import Field

from archive.delivery.trust import asked_of
from archive.desk.answers import answer, plain_causes
from archive.desk.app import NothingForm, Routes, asked, changed
from archive.desk.desk import Desk
from archive.desk.plain_words import told
from archive.desk.publish_queue import Deed, GivenLogin
from archive.desk.target_form import LOGINS, TargetForm, address_of, form_of_target, settings_of
from archive.errors import FactsError, PublishError
from archive.execution.progress import silent
from archive.publishing.address import Address
from archive.publishing.credentials import find_login
from archive.publishing.keyring_logins import forget_login, kept_login, keyring_name
from archive.records.grants import allow, is_allowed, target_grant
from archive.records.history import read_history, text_digest
from archive.records.settings import SETTINGS_NAME, TargetSettings, find_named, read_settings
from archive.records.toml_files import TomlModel, load_toml
from archive.upkeep.editing import SETTINGS_SUBJECT, edit_settings, read_text, redo, undo

__all__ = ["publish_routes"]

_WORDS = "target "
_NOT_ALLOWED = "not allowed yet: this archive may not send there until you allow it on this page, or by northlimb trust"


class _TargetForm(TomlModel):
    """A target as filled in; `former` is the name of the one that it takes the place of."""

    made_from: str
    former: str | None = None
    target: TargetForm


class _NamedForm(TomlModel):
    made_from: str
    name: str = Field(max_length=200)


class _AllowForm(TomlModel):
    """What the user saw and allows, by its digests."""

    digests: tuple[str, ...] = Field(max_length=1000)


class _DeedForm(TomlModel):
    name: str = Field(max_length=200)
    user: str | None = Field(default=None, max_length=255)
    password: str | None = Field(default=None, max_length=4000)
    keep_password: bool = False
    adopt: bool = False
    read_back: bool = True


class _ForgetForm(TomlModel):
    name: str = Field(max_length=200)


class _Publishing:
    """What the page of publishing asks of a desk."""

    def __init__(self, desk: Desk) -> None:
        self._desk, self._files = desk, desk.files

    def view(self) -> dict[str, Any]:
        """Return the targets, what this archive asks to be allowed, and what can be undone."""
        text = read_text(self._files, SETTINGS_NAME) or ""
        undone, redone = read_history(self._files, SETTINGS_SUBJECT).offered(text)
        return {
            "made_from": text_digest(text),
            "targets": [self._target(entry) for entry in read_settings(self._files).targets],
            "asks": self._asks(),
            "keyring": keyring_name(),
            "undo": told(undone) if undone and undone.startswith(_WORDS) else None,
            "redo": told(redone) if redone and redone.startswith(_WORDS) else None,
        }

    def _target(self, entry: TargetSettings) -> dict[str, Any]:
        address = address_of(entry)
        form = form_of_target(entry)
        wanted = LOGINS.get(form["kind"])
        last = self._desk.publishing.last(entry.name)
        return {
            "form": form,
            "place": entry.url or entry.folder,
            "right": address is not None,
            "allowed": is_allowed(self._files, target_grant(self._files, entry)),
            "asks_for": wanted,
            "login": None if address is None or wanted is None else _source(address, entry.name, wanted),
            "last": None if last is None else self._without_paths(last),
        }

    def _without_paths(self, last: dict[str, Any]) -> dict[str, Any]:
        roots = self._desk.roots
        causes = [{**cause, "text": plain_causes([cause["text"]], roots)[0]} for cause in last["causes"]]
        return {**last, "causes": causes, "warnings": plain_causes(last["warnings"], roots)}

    def _asks(self) -> list[dict[str, str]]:
        """Return what this archive would do beyond its folder and may not yet, in the words of `northlimb trust`."""
        found = asked_of(self._files, ("target", "theme", "site-files"))
        missing = [grant for grant in found.grants if grant not in found.allowed]
        # Whole, for it is what the user agrees to; only what lies in the archive is named within it.
        return [
            {"kind": grant.kind, "words": told(grant.words.replace(f"{self._files.path}/", "")), "digest": grant.digest}
            for grant in missing
        ]

    def allow(self, asked: _AllowForm) -> dict[str, Any]:
        """Allow what the user has seen; what has changed since is seen first."""
        grants = asked_of(self._files).grants
        allow(self._files, tuple(grant for grant in grants if grant.digest in asked.digests))
        return self.view()

    def keep(self, asked: _TargetForm) -> dict[str, Any]:
        """Add a target, or change one.

        What was typed in here is allowed with it; a target that came with the archive stays as it was.
        """
        entry = settings_of(asked.target)
        written = load_toml(self._files, SETTINGS_NAME).get("targets", [])
        is_trusted = True
        if asked.former is None:
            entries = [*written, entry]
        else:
            former = find_named(read_settings(self._files).targets, asked.former, what="target")
            is_trusted = is_allowed(self._files, target_grant(self._files, former))
            stays = {"limit_mb": former.limit_mb} if former.limit_mb else {}  # the form does not ask for it
            entries = [entry | stays if one.get("name") == former.name else one for one in written]
            self._desk.publishing.forget(former.name)
        self._edit(entries, asked.made_from, f"target {asked.target.name} changed")
        if is_trusted:
            kept = find_named(read_settings(self._files).targets, asked.target.name, what="target")
            allow(self._files, (target_grant(self._files, kept),))
        return self.view()

    def remove(self, asked: _NamedForm) -> dict[str, Any]:
        """Take a target out of the settings; what is there stays there."""
        written = load_toml(self._files, SETTINGS_NAME).get("targets", [])
        stays = [one for one in written if one.get("name") != asked.name]
        if len(stays) == len(written):
            raise FactsError("no such target")
        self._desk.publishing.forget(asked.name)
        self._edit(stays, asked.made_from, f"target {asked.name} taken out")
        return self.view()

    def _edit(self, targets: list[dict[str, Any]], made_from: str, words: str) -> None:
        changes = {"targets": targets or None}
        with self._desk.changing():
            edit_settings(self._files, changes, made_from=made_from, words=words, on_progress=silent)

    def step(self, *, forward: bool) -> dict[str, Any]:
        """Undo the last change of a target, or do it again."""
        if self.view()["redo" if forward else "undo"] is None:
            raise FactsError("no target was changed last")
        with self._desk.changing():
            (redo if forward else undo)(self._files, SETTINGS_SUBJECT, on_progress=silent)
        return self.view()

    def ask(self, deed: Deed, asked: _DeedForm) -> dict[str, Any]:
        """Have something done with a target."""
        entry = find_named(read_settings(self._files).targets, asked.name, what="target")
        if not is_allowed(self._files, target_grant(self._files, entry)):
            raise FactsError(f"target {entry.name}: {_NOT_ALLOWED}")
        address = address_of(entry)
        if address is None:
            raise FactsError(f"target {entry.name}: its address makes no sense; open its form and fill it in anew")
        login = None
        if asked.password:
            login = GivenLogin(asked.user, asked.password, kept=asked.keep_password)
        job = self._desk.publishing.ask(deed, entry.name, address, login, adopt=asked.adopt, read_back=asked.read_back)
        return {"id": job}

    def forget_password(self, asked: _ForgetForm) -> dict[str, Any]:
        """Take a target's password out of the keyring."""
        address = address_of(find_named(read_settings(self._files).targets, asked.name, what="target"))
        if address is not None:
            forget_login(address)
        return self.view()


def _source(address: Address, name: str, wanted: str) -> str | None:
    """Return where the login of a target would come from without being asked for."""
    if wanted == "keys":
        return "keyring" if kept_login(address) else None
    try:
        return find_login(address, name).source
    except PublishError:  # of ~/.netrc, which is told when it is tried
        return None


def publish_routes(desk: Desk) -> Routes:
    """Return what the page of publishing asks for."""
    page = _Publishing(desk)

    def deed(what: Deed) -> Any:
        return lambda _, form: page.ask(what, form)

    def cancel(name: str, _: NothingForm) -> dict[str, str]:
        desk.publishing.jobs.cancel(name)
        return {"status": "cancelled"}

    return [
        asked("/api/publishing", lambda _: answer(page.view())),
        changed("/api/publishing/target", _TargetForm, lambda _, form: page.keep(form)),
        changed("/api/publishing/remove", _NamedForm, lambda _, form: page.remove(form)),
        changed("/api/publishing/allow", _AllowForm, lambda _, form: page.allow(form)),
        changed("/api/publishing/undo", NothingForm, lambda _, form: page.step(forward=False)),
        changed("/api/publishing/redo", NothingForm, lambda _, form: page.step(forward=True)),
        changed("/api/publishing/forget-password", _ForgetForm, lambda _, form: page.forget_password(form)),
        *(changed(f"/api/publishing/{what}", _DeedForm, deed(what)) for what in ("try", "look", "send", "check")),
        changed("/api/publishing/{job}/cancel", NothingForm, cancel),
    ]
