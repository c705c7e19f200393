"""The key of this computer and user: derived data in an archive is trusted only where it was signed with it.

An archive may come from somebody else with everything that was derived in it. A check that anybody can make would let
another computer's values, pictures and pages pass for ours; this one takes a secret that lies outside all archives, in
the user's configuration folder. Without that folder a key of this run alone is used: then nothing kept is believed.
"""

from __future__ import annotations

import hashlib
import os
import secrets
from contextlib import suppress
from functools import cache
from pathlib import Path

from archive.disk import TEMPORARY_SUFFIX, Folder, make_named_folder

__all__ = ["CHECK_BYTES", "keyed_hash", "user_folder"]

CHECK_BYTES = 16
_KEY_NAME, _KEY_BYTES = "key", 32


def user_folder() -> Folder:
    """Return the user's configuration folder for this program, which need not be there."""
    import click

    return Folder(Path(click.get_app_dir("northlimb")))


def keyed_hash(*parts: bytes) -> bytes:
    """Return a keyed hash of bytes that only this user on this computer can make."""
    digest = hashlib.blake2b(digest_size=CHECK_BYTES, key=_key())
    for part in parts:
        digest.update(len(part).to_bytes(8, "little") + part)
    return digest.digest()


@cache
def _key() -> bytes:
    folder = user_folder()
    return _read(folder) or _made(folder) or secrets.token_bytes(_KEY_BYTES)


def _read(folder: Folder) -> bytes | None:
    try:
        key = folder.read(_KEY_NAME, most_bytes=_KEY_BYTES)
    except OSError:
        return None
    return key if len(key) == _KEY_BYTES else None


def _made(folder: Folder) -> bytes | None:
    """Make the key; where two runs make one at the same time, both take the one that stays."""
    part = f"{_KEY_NAME}-{os.getpid()}{TEMPORARY_SUFFIX}"
    with suppress(OSError):
        make_named_folder(folder.path, mode=0o700)
        folder.remove(part)
        with folder.create(part, mode=0o600) as stream:
            stream.write(secrets.token_bytes(_KEY_BYTES))
            stream.flush()
            os.fsync(stream.fileno())
        if not _is_first(folder, part) and _read(folder) is None:
            folder.rename(part, _KEY_NAME)  # over a damaged one, or where a file cannot have two names
        folder.remove(part)
        folder.sync()
    return _read(folder)


def _is_first(folder: Folder, part: str) -> bool:
    """Give a whole key its name; False where there is one already: a link, unlike a rename, replaces none."""
    try:
        return folder.link(part, _KEY_NAME)
    except FileExistsError:
        return False
