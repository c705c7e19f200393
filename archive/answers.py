"""Answers that follow from their inputs alone, kept so that one new picture in a long archive asks few questions anew.

An answer is found again by a digest of all it was made from, and of this program's own code; so it can be missing, but
never out of date. Answers are derived: the file may go, and one that is damaged, or cannot be written, is made anew.
"""

from __future__ import annotations

import hashlib
import importlib.metadata
import sys
from collections.abc import Callable
from contextlib import suppress
from functools import cache
from pathlib import Path
from typing import Any, TypeVar

import msgspec

from archive.computer_key import CHECK_BYTES, keyed_check
from archive.disk import Folder, read_own, walk_named
from archive.errors import FolderError

__all__ = ["NO_ANSWERS", "Answers", "mark_of"]

_Answer = TypeVar("_Answer")

_MARK_BYTES = 16
# What the answers are made with, besides our own code.
_LIBRARIES = ("numpy", "scipy", "jinja2", "markdown-it-py", "nh3", "msgspec")
_OUR_FILES = (".py", ".html", ".css", ".js", ".svg")


def mark_of(inputs: object) -> bytes:
    """Return a digest of values: equal for equal ones, else different.

    Parameters
    ----------
    inputs : object
        Made of plain values, dataclasses and paths.
    """
    return hashlib.blake2b(_encoder.encode(inputs), digest_size=_MARK_BYTES).digest()


def _plain(value: Any) -> object:
    """What the encoder does not know: texts of a kind of their own, such as markup, paths, and numbers of numpy."""
    if isinstance(value, str):
        return str.__str__(value)
    if isinstance(value, Path):
        return str(value)
    return value.item()


_encoder = msgspec.msgpack.Encoder(enc_hook=_plain, order="deterministic")


class Answers:
    """Answers of one kind of question, kept in a file.

    Parameters
    ----------
    folder : Folder or None
        Of derived things; None keeps nothing.
    file : str
        Where in it the answers are kept.
    inputs : object
        What all answers are made from, besides their own inputs.
    """

    def __init__(self, folder: Folder | None = None, file: str = "", inputs: object = None) -> None:
        self._folder, self._file = folder, file
        self._before = {} if folder is None else _read(folder, file)
        self._asked: dict[bytes, msgspec.Raw] = {}
        self._shared = b"" if folder is None else mark_of([_code_mark(), inputs])

    def get(self, inputs: object, kind: type[_Answer]) -> _Answer | None:
        """Return the kept answer to these inputs, None where there is none.

        Parameters
        ----------
        inputs : object
            Everything that the answer depends on, see `mark_of`.
        kind : type
            Of the answer: plain values, dataclasses, tuples and lists of them.
        """
        mark = self._mark(inputs)
        kept = self._before.get(mark)
        if kept is None:
            return None
        try:
            answer = msgspec.msgpack.decode(kept, type=kind)
        except (msgspec.MsgspecError, RecursionError):
            return None
        self._asked[mark] = kept
        return answer

    def put(self, inputs: object, answer: object) -> None:
        """Note an answer, which must depend on nothing but the inputs."""
        if self._folder is not None:
            self._asked[self._mark(inputs)] = msgspec.Raw(_encoder.encode(answer))

    def of(self, inputs: object, kind: Any, make: Callable[[], _Answer]) -> _Answer:
        """Return the kept answer to these inputs, or one made and noted now; it may be None."""
        kept: list[_Answer] | None = self.get(inputs, list[kind])
        if kept is None:
            kept = [make()]
            self.put(inputs, kept)
        return kept[0]

    def _mark(self, inputs: object) -> bytes:
        return b"" if self._folder is None else mark_of([self._shared, inputs])

    def keep(self) -> None:
        """Keep the answers that were asked for, and no other; where that cannot be, nothing is kept."""
        if self._folder is None or self._asked.keys() == self._before.keys():
            return
        body = msgspec.msgpack.encode(self._asked)
        with suppress(OSError, FolderError):
            self._folder.write(self._file, keyed_check(self._file.encode(), body) + body)


NO_ANSWERS = Answers()


def _read(folder: Folder, file: str) -> dict[bytes, msgspec.Raw]:
    """Read what is kept; nothing where the file is not there, or is not as it was written on this computer."""
    try:
        data = folder.read(file)
        check, body = data[:CHECK_BYTES], data[CHECK_BYTES:]
        if keyed_check(file.encode(), body) != check:
            return {}
        return msgspec.msgpack.decode(body, type=dict[bytes, msgspec.Raw])
    except (OSError, msgspec.MsgspecError, RecursionError):
        return {}


@cache
def _code_mark() -> bytes:
    """Return a digest of this program: its code and templates, and the libraries that its answers depend on."""
    package = Path(__file__).resolve().parent
    folders = [folder for folder in (package, package.parent / "site_templates") if folder.is_dir()]
    ours = [path for folder in folders for path in walk_named(folder) if path.suffix in _OUR_FILES]
    digest = hashlib.blake2b(sys.version.encode(), digest_size=_MARK_BYTES)
    for path in ours:
        digest.update(path.relative_to(package.parent).as_posix().encode() + b"\0" + read_own(path))
    for name in _LIBRARIES:
        digest.update(f"{name} {importlib.metadata.version(name)}\n".encode())
    return digest.digest()
