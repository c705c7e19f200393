"""What is derived and kept: files that carry a check of this computer, so that nothing else is believed.

Damage, and what was derived elsewhere, is then told from what was written here. Values carry the check themselves;
pictures and films, which others read too, are named with their digests in a list that carries it.
"""

from __future__ import annotations

import hashlib
from collections.abc import Collection

import msgspec

from archive.computer_key import keyed_check
from archive.disk import Folder, Stamp, stamp_of
from archive.errors import FolderError

__all__ = ["checked", "checked_words", "is_sealed", "seal"]


def checked(words: bytes, name: str) -> bytes:
    """Return the content of the file `name`: a line with the check of its words, and these."""
    return _check(words, name) + b"\n" + words


def checked_words(content: bytes, name: str) -> bytes:
    """Return the words of a file that `checked` made under that name.

    Raises
    ------
    ValueError
        They are not what was written, or were not written on this computer.
    """
    check, _, words = content.partition(b"\n")
    if check != _check(words, name):
        raise ValueError("damaged, or kept by another computer")
    return words


def _check(words: bytes, name: str) -> bytes:
    return keyed_check(name.encode(), words).hex().encode("ascii")


class _Sealed(msgspec.Struct, frozen=True):
    sha256: str
    stamp: Stamp


class _Seal(msgspec.Struct, frozen=True):
    key: str
    files: dict[str, _Sealed]


def seal(folder: Folder, seal_file: str, files: Collection[str], *, key: str) -> None:
    """Note, in a file of its own, what files hold that were just made, and what they were made from.

    Parameters
    ----------
    folder : Folder
    seal_file : str
        Removed before the files are made, written when they are whole.
    files : collection of str
        Names in the same folder.
    key : str
        Changes exactly when the files would.
    """
    found = {}
    for file in files:
        with folder.open(file) as stream:
            found[file] = _Sealed(hashlib.file_digest(stream, "sha256").hexdigest(), _stamp(folder, file))
    _write(folder, seal_file, _Seal(key, found))


def is_sealed(folder: Folder, seal_file: str, files: Collection[str], *, key: str) -> bool:
    """Whether all these files are there as they were sealed, made from what `key` says.

    Files whose stamps are as they were are not read; where an archive was copied they are, once.
    """
    try:
        found = msgspec.json.decode(checked_words(folder.read(seal_file), seal_file), type=_Seal)
        if found.key != key or not set(files) <= found.files.keys():
            return False
        touched = _touched(folder, {file: found.files[file] for file in files})
        if any(_digest(folder, file) != found.files[file].sha256 for file in touched):
            return False
        if touched:
            seal(folder, seal_file, found.files, key=key)
    except (OSError, ValueError, RecursionError, FolderError):  # gone, damaged, or of another computer
        return False
    return True


def _touched(folder: Folder, sealed: dict[str, _Sealed]) -> list[str]:
    """Files whose stamps are not those that were noted; asked for a folder at a time, which is fastest."""
    there: dict[str, dict[str, Stamp]] = {}
    touched = []
    for file, one in sealed.items():
        within, _, name = file.rpartition("/")
        if within not in there:
            there[within] = {name: stamp_of(status) for name, status in folder.statuses(within).items()}
        if there[within].get(name) != one.stamp:
            touched.append(file)
    return touched


def _stamp(folder: Folder, file: str) -> Stamp:
    status = folder.status(file)
    if status is None:
        raise FileNotFoundError(file)
    return stamp_of(status)


def _digest(folder: Folder, file: str) -> str:
    with folder.open(file) as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def _write(folder: Folder, seal_file: str, found: _Seal) -> None:
    folder.write(seal_file, checked(msgspec.json.encode(found), seal_file))
