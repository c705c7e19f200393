"""A keyring in a file, by the interface that the library documents for keyrings of one's own."""

from __future__ import annotations

import json
import os
from pathlib import Path

from keyring.backend import KeyringBackend


class FileKeyring(KeyringBackend):
    """Stands where a system has its own, in the file that `NORTHLIMB_TESTS_KEYRING` names."""

    priority = 5
    name = "a file of the tests"

    def get_password(self, service: str, username: str) -> str | None:
        found = _read().get(f"{service} {username}")
        return None if found is None else str(found)

    def set_password(self, service: str, username: str, password: str) -> None:
        _path().write_text(json.dumps({**_read(), f"{service} {username}": password}))

    def delete_password(self, service: str, username: str) -> None:
        _path().write_text(json.dumps({key: one for key, one in _read().items() if key != f"{service} {username}"}))


def _path() -> Path:
    return Path(os.environ["NORTHLIMB_TESTS_KEYRING"])


def _read() -> dict[str, object]:
    return dict(json.loads(_path().read_text())) if _path().is_file() else {}
