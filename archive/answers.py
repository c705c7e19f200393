"""Answers that follow from their inputs alone, kept so that one new picture in a long archive asks few questions anew.

An answer is found again by a digest of all it was made from, and of this program's own code; so it can be missing, but
never out of date. Answers are derived: the file may go, and one that is damaged, or cannot be written, is made anew.
"""

from __future__ import annotations

import hashlib
import importlib.metadata
import sys
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any, TypeVar

import msgspec

from archive.disk import sync_folder

__all__ = ["NO_ANSWERS", "Answers", "mark_of"]

_Answer = TypeVar("_Answer")
_Other = TypeVar("_Other")

_MARK_BYTES = 16
_CHECK_BYTES = 32
# What the answers are made with, besides our own code.
_LIBRARIES = ("numpy", "scipy", "jinja2", "markdown-it-py", "nh3", "msgspec")
_OUR_FILES = (".py", ".html", ".css", ".js", ".svg")


def mark_of(inputs: object) -> bytes:
    """Return a digest of values: equal for equal ones, else different.

    Parameters
    ----------
    inputs : object
        Made of plain values, dataclasses, arrays, paths and checked tables.
    """
    return hashlib.blake2b(_encoder.encode(inputs), digest_size=_MARK_BYTES).digest()


def _plain(value: Any) -> object:
    """What the encoder does not know: arrays, numbers of numpy, paths, texts of a kind of their own, checked tables."""
    if hasattr(value, "dtype"):
        return [value.shape, value.dtype.str, value.tobytes()]
    if isinstance(value, str):
        return str.__str__(value)
    if isinstance(value, Path):
        return str(value)
    if hasattr(value, "model_fields"):
        return vars(value)
    if hasattr(value, "items"):
        return dict(value)
    raise TypeError(f"{type(value)} has no mark")


_encoder = msgspec.msgpack.Encoder(enc_hook=_plain, order="deterministic")


class _None:
    """Stands for no answer, where an answer may be None."""


_NONE = _None()


class Answers:
    """Answers of one kind of question, kept in a file.

    Parameters
    ----------
    file : Path or None
        None keeps nothing.
    inputs : object
        What all answers are made from, besides their own inputs.
    """

    def __init__(self, file: Path | None = None, inputs: object = None) -> None:
        self._file = file
        self._before = {} if file is None else _read(file)
        self._asked: dict[bytes, msgspec.Raw] = {}
        self._shared = b"" if file is None else mark_of([_code_mark(), inputs])

    def get(self, inputs: object, kind: type[_Answer]) -> _Answer | None:
        """Return the kept answer to these inputs, None where there is none.

        Parameters
        ----------
        inputs : object
            Everything that the answer depends on, see `mark_of`.
        kind : type
            Of the answer: plain values, dataclasses, tuples and lists of them.
        """
        return self._found(self._mark(inputs), kind, None)

    def put(self, inputs: object, answer: object) -> None:
        """Note an answer, which must depend on nothing but the inputs."""
        if self._file is not None:
            self._asked[self._mark(inputs)] = msgspec.Raw(_encoder.encode(answer))

    def of(self, inputs: object, kind: Any, make: Callable[[], _Answer]) -> _Answer:
        """Return the kept answer to these inputs, or one made and noted now."""
        answer = self._found(self._mark(inputs), kind, _NONE)
        if isinstance(answer, _None):
            answer = make()
            self.put(inputs, answer)
        return answer

    def _found(self, mark: bytes, kind: Any, otherwise: _Other) -> Any | _Other:
        kept = self._before.get(mark)
        if kept is None:
            return otherwise
        try:
            answer = msgspec.msgpack.decode(kept, type=kind)
        except (msgspec.MsgspecError, RecursionError):
            return otherwise
        self._asked[mark] = kept
        return answer

    def _mark(self, inputs: object) -> bytes:
        return b"" if self._file is None else mark_of([self._shared, inputs])

    def keep(self) -> None:
        """Keep the answers that were asked for, and no other; where that cannot be, nothing is kept."""
        if self._file is None or self._asked.keys() == self._before.keys():
            return
        body = msgspec.msgpack.encode(self._asked)
        part = self._file.with_name(f".{self._file.name}.part")
        try:
            self._file.parent.mkdir(parents=True, exist_ok=True)
            with part.open("wb") as stream:
                stream.write(hashlib.blake2b(body, digest_size=_CHECK_BYTES).digest())
                stream.write(body)
            part.replace(self._file)
            sync_folder(self._file.parent)
        except OSError:
            return


NO_ANSWERS = Answers()


def _read(file: Path) -> dict[bytes, msgspec.Raw]:
    """Read what is kept; nothing where the file is not there, or is not as it was written."""
    try:
        data = file.read_bytes()
        check, body = data[:_CHECK_BYTES], memoryview(data)[_CHECK_BYTES:]
        if hashlib.blake2b(body, digest_size=_CHECK_BYTES).digest() != check:
            return {}
        return msgspec.msgpack.decode(body, type=dict[bytes, msgspec.Raw])
    except (OSError, msgspec.MsgspecError, RecursionError):
        return {}


@cache
def _code_mark() -> bytes:
    """Return a digest of this program: its code and templates, and the libraries that its answers depend on."""
    package = Path(__file__).resolve().parent
    folders = [folder for folder in (package, package.parent / "site_templates") if folder.is_dir()]
    ours = [path for folder in folders for path in sorted(folder.rglob("*")) if path.suffix in _OUR_FILES]
    digest = hashlib.blake2b(sys.version.encode(), digest_size=_MARK_BYTES)
    for path in ours:
        digest.update(path.relative_to(package.parent).as_posix().encode() + b"\0" + path.read_bytes())
    for name in _LIBRARIES:
        digest.update(f"{name} {importlib.metadata.version(name)}\n".encode())
    return digest.digest()
