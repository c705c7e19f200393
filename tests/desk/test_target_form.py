"""Targets in forms: every kind is put together and taken apart again, and a mistake names its field."""

from __future__ import annotations

from typing import Any

import pytest

from archive.desk.target_form import TargetForm, TargetKind, address_of, form_of_target, settings_of
from archive.errors import FactsError
from archive.records.settings import TargetSettings

HOST = {"host": "sun.example.org", "port": 2222, "user": "ob@server", "path": "/srv/my sun#1"}
FORMS: dict[TargetKind, dict[str, Any]] = {
    "folder": {"folder": "../web/sun"},
    "zip": {"folder": "sun.zip"},
    "sftp": {**HOST, "path": "~/www"},
    "rsync+ssh": {**HOST, "host": "2001:db8::7"},
    "ftps": HOST,
    "webdavs": HOST,
    "webdav": {**HOST, "host": "127.0.0.1"},
    "s3": {"host": "my-bucket", "path": "/sun", "endpoint": "https://objects.example.org", "region": "north-1"},
    "git+ssh": {**HOST, "user": "git", "path": "/sun.git", "branch": "pages"},
    "git+https": {"host": "git.example.org", "path": "/sun.git", "branch": "main"},
    "git+file": {"path": "/srv/git/sun.git", "branch": "pages"},
}


@pytest.mark.parametrize("kind", FORMS)
def test_a_target_is_put_together_and_taken_apart_again(kind: TargetKind) -> None:
    form = TargetForm(name="web", kind=kind, keep=("stats",), **FORMS[kind])
    entry = TargetSettings.model_validate({**settings_of(form), "keep": ("stats",)})
    address = address_of(entry)
    assert address is not None
    assert {"rsync+ssh": "rsync"}.get(kind, kind.partition("+")[0]) == address.kind
    again = {key: value for key, value in form_of_target(entry).items() if value not in (None, "")}
    assert again == {"name": "web", "kind": kind, "keep": ["stats"], **FORMS[kind]}


@pytest.mark.parametrize(
    ("kind", "change", "field"),
    [
        ("sftp", {"host": None}, "host"),
        ("sftp", {"host": "-oProxyCommand=x"}, "host"),
        ("sftp", {"host": "sun.example.org/x"}, "host"),
        ("sftp", {"user": "-x"}, "user"),
        ("sftp", {"path": "/"}, "path"),
        ("sftp", {"path": "/srv/../etc"}, "path"),
        ("webdav", {"host": "sun.example.org"}, "host"),
        ("git+ssh", {"branch": "a..b"}, "branch"),
        ("s3", {"host": "a bucket"}, "host"),
        ("folder", {"folder": None}, "folder"),
        ("folder", {"folder": "sun.zip"}, "folder"),
        ("zip", {"folder": "sun"}, "folder"),
    ],
)
def test_a_mistake_names_its_field(kind: TargetKind, change: dict[str, Any], field: str) -> None:
    with pytest.raises(FactsError, match=f"^{field}: "):
        settings_of(TargetForm(name="web", kind=kind, **{**FORMS[kind], **change}))
