"""Who to say one is at a host, and the password: from the environment, ~/.netrc or the keyring, never the archive."""

from __future__ import annotations

import os
import re
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

from archive.disk import read_named
from archive.errors import PublishError
from archive.publishing.address import Address
from archive.publishing.keyring_logins import kept_login
from archive.publishing.netrc_file import NetrcMistake, netrc_entry

__all__ = ["Login", "find_login", "password_variable"]

_PASSWORD = "NORTHLIMB_PASSWORD"  # the variable's name, not a password
_USER = "NORTHLIMB_USER"

Source = Literal["environment", "netrc", "keyring"]


@dataclass(frozen=True)
class Login:
    """A user and a password, which no message shows; None where nothing names them. `source` is where it was found."""

    user: str | None
    password: str | None = field(repr=False)
    source: Source | None = None


def find_login(address: Address, target_name: str | None) -> Login:
    """Find user and password for a host.

    In this order: the environment's ``NORTHLIMB_PASSWORD_NAME`` for a target called ``name``, ``NORTHLIMB_PASSWORD``
    (and the same with ``USER``), then ``~/.netrc`` (or the file that ``NETRC`` names), where that has an entry for the
    machine, then what was put into the system's keyring at the desk. A user in the URL stands.

    Raises
    ------
    PublishError
        ~/.netrc makes no sense.
    """
    user = address.user or _from_environment(_USER, target_name)
    password = _from_environment(_PASSWORD, target_name)
    if password is not None:
        return Login(user, password, "environment")
    found = _from_netrc(address)
    if found is not None and user in (None, found.user):
        return found
    kept = kept_login(address)
    if kept is not None and user in (None, kept[0]):
        return Login(*kept, "keyring")
    return Login(user, None)


def password_variable(target_name: str) -> str:
    """Return the variable of the environment that holds a target's own password."""
    return _own_variable(_PASSWORD, target_name)


def _own_variable(variable: str, target_name: str) -> str:
    return f"{variable}_{re.sub(r'[^A-Z0-9]', '_', target_name.upper())}"


def _from_environment(variable: str, target_name: str | None) -> str | None:
    own = _own_variable(variable, target_name) if target_name else variable
    return os.environ.get(own) or os.environ.get(variable)


def _from_netrc(address: Address) -> Login | None:
    path = Path(os.environ.get("NETRC") or "~/.netrc").expanduser()
    if not path.is_file():
        return None
    try:
        entry = netrc_entry(read_named(path).decode("utf-8"), address.host)
    except NetrcMistake as mistake:
        raise PublishError(
            f"{path}: line {mistake.line} makes no sense; a password with spaces stands in double quotes; "
            f"mend it, or set {_PASSWORD}"
        ) from None
    except (OSError, UnicodeDecodeError):
        raise PublishError(f"{path}: cannot be read; fix it, or set {_PASSWORD}") from None
    return None if entry is None else Login(entry.user or None, entry.password, "netrc")
