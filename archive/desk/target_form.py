"""A target in a form: its address taken apart, and put together again from what was filled in."""

from __future__ import annotations

import ipaddress
from collections.abc import Mapping
from contextlib import suppress
from typing import Any, Literal
from urllib.parse import quote, unquote, urlsplit

from pydantic import Field

from archive.errors import FactsError, PublishError
from archive.publishing.address import Address, TargetOptions, parse_address
from archive.records.settings import TargetSettings
from archive.records.toml_files import TomlModel

__all__ = ["LOGINS", "TargetForm", "TargetKind", "address_of", "form_of_target", "settings_of"]

TargetKind = Literal[
    "folder", "zip", "sftp", "rsync+ssh", "ftps", "webdavs", "webdav", "s3", "git+ssh", "git+https", "git+file"
]
# What the desk asks for to log in at each kind of host; the others use keys and helpers of the system.
LOGINS: Mapping[str, Literal["password", "keys"]] = {
    "sftp": "password", "ftps": "password", "webdavs": "password", "webdav": "password", "s3": "keys",
}  # fmt: skip
_OF_THIS_COMPUTER = ("folder", "zip")
# In place of what is not looked at yet, for each part is checked by itself.
_GOOD = {"host": "example.org", "user": None, "port": None, "path": "sun"}
_MOST_KEPT = 100


class TargetForm(TomlModel):
    """What is filled in for a target; what its kind does not have is left out."""

    name: str = Field(max_length=200)
    kind: TargetKind
    folder: str | None = Field(default=None, max_length=1000)
    host: str | None = Field(default=None, max_length=300)
    port: int | None = Field(default=None, ge=1, le=65535)
    user: str | None = Field(default=None, max_length=255)
    path: str | None = Field(default=None, max_length=1000)
    endpoint: str | None = Field(default=None, max_length=300)
    region: str | None = Field(default=None, max_length=100)
    branch: str | None = Field(default=None, max_length=200)
    keep: tuple[str, ...] = Field(default=(), max_length=_MOST_KEPT)


def address_of(entry: TargetSettings) -> Address | None:
    """Return a target's address; None where it is written so that nothing can be sent there."""
    with suppress(PublishError, ValueError):
        options = TargetOptions(entry.branch, entry.endpoint, entry.region, entry.keep)
        return parse_address(entry.url or entry.folder or "", options)
    return None


def form_of_target(entry: TargetSettings) -> dict[str, Any]:
    """Return what the form of a target holds."""
    form: dict[str, Any] = {"name": entry.name, "keep": list(entry.keep)}
    if entry.url is None:
        kind = "zip" if (entry.folder or "").lower().endswith(".zip") else "folder"
        return {**form, "kind": kind, "folder": entry.folder}
    with suppress(ValueError):
        parts = urlsplit(entry.url)
        branch = {"branch": parts.fragment or entry.branch} if parts.scheme.startswith("git+") else {}
        return {
            **form,
            "kind": parts.scheme,
            "host": unquote(parts.hostname or "") if parts.scheme != "s3" else unquote(parts.netloc),
            "port": parts.port,
            "user": unquote(parts.username) if parts.username else None,
            "path": unquote(parts.path).removeprefix("/") if parts.path.startswith("/~/") else unquote(parts.path),
            **branch,
            "endpoint": entry.endpoint,
            "region": entry.region,
        }
    return {**form, "kind": entry.url.partition(":")[0]}


def settings_of(form: TargetForm) -> dict[str, Any]:
    """Return the table of a target in `archive.toml`.

    Raises
    ------
    FactsError
        A part that cannot be, by the name of its field.
    """
    entry: dict[str, Any] = {"name": form.name}
    if not form.name:
        raise FactsError("name: missing; give the target a name, such as web")
    if form.kind in _OF_THIS_COMPUTER:
        entry["folder"] = _place(form)
    else:
        entry["url"] = _url(form)
    of_kind = {"s3": ("endpoint", "region"), "git": ("branch",)}.get(form.kind.partition("+")[0], ())
    entry |= {key: value for key in of_kind if (value := getattr(form, key))}
    kept = [name for name in form.keep if name]
    return entry | ({"keep": kept} if kept else {})


def _place(form: TargetForm) -> str:
    place = form.folder or ""
    if not place:
        raise FactsError("folder: missing; write the path of a folder of this computer")
    if "://" in place:
        raise FactsError("folder: is an address; choose its kind above")
    if (form.kind == "zip") != place.lower().endswith(".zip"):
        raise FactsError("folder: must end in .zip" if form.kind == "zip" else "folder: ends in .zip; choose Zip file")
    return place


def _url(form: TargetForm) -> str:
    """Put an address together, each part looked at by itself so that a mistake names its field."""
    given = {"host": form.host, "user": form.user, "port": form.port, "path": form.path}
    parts: dict[str, Any] = {**_GOOD, "branch": None, "endpoint": form.endpoint}
    if form.kind == "git+file":
        parts["host"] = ""
        del given["host"], given["user"], given["port"]
    if form.kind == "s3":
        del given["user"], given["port"]
    if form.kind == "webdav":
        parts["host"] = "127.0.0.1"
    for field, value in given.items():
        parts[field] = value
        _check(form, parts, field)
    if form.kind.startswith("git+"):
        parts["branch"] = form.branch
        _check(form, parts, "branch")
    return _composed(form.kind, parts)


def _check(form: TargetForm, parts: Mapping[str, Any], field: str) -> None:
    if field == "host" and not parts["host"]:
        raise FactsError(f"host: missing; {'name the bucket' if form.kind == 's3' else 'write it like example.org'}")
    try:
        parse_address(_composed(form.kind, parts), TargetOptions(branch=parts["branch"]))
    except PublishError as error:
        raise FactsError(f"{field}: {error.causes[0].partition(': ')[2]}") from None
    except ValueError as error:
        raise FactsError(f"{field}: cannot be part of an address ({error})") from None


def _composed(kind: TargetKind, parts: Mapping[str, Any]) -> str:
    host = quote(parts["host"] or "", safe="")
    with suppress(ValueError):
        host = f"[{ipaddress.IPv6Address((parts['host'] or '').strip('[]'))}]"
    user = f"{quote(parts['user'], safe='')}@" if parts["user"] else ""
    port = f":{parts['port']}" if parts["port"] else ""
    path = quote((parts["path"] or "").lstrip("/"), safe="/~")
    return f"{kind}://{user}{host}{port}/{path}"
