"""Derived values and blobs, kept under a name and found by what they were made from."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping
from types import TracebackType
from typing import Any, Self, TypeVar

import msgspec

from archive.disk import Folder, StoredFile
from archive.model.blob import Blob
from archive.store.blobs import BlobFolder, StoredBlob
from archive.store.code import code_digest
from archive.store.database import Database, Row
from archive.store.digest import digest, encoded

__all__ = ["Store", "made_from"]

_Value = TypeVar("_Value")
Maker = Callable[..., Any]

_BLOBS = "blobs"
# A row that is there while blobs are added: what is found with it was stopped, and may have left blobs of no value.
_ADDING = ("store", "adding blobs")


class Store:
    """Everything that is derived in an archive.

    A value has a maker (the function that makes it), a name (what it is of: a picture, a day, a page), and a digest of
    what it is made from: its inputs, the code of its maker with all that this imports, and the libraries used. It is
    found only where that digest is the same, so that it may be missing and can never be out of date; a new value takes
    the place of the one of the same maker and name. What is not ours, or is damaged, counts as missing.

    Parameters
    ----------
    folder : Folder or None
        Of derived things; it need not be there. None keeps nothing.
    """

    def __init__(self, folder: Folder | None) -> None:
        self._database = None if folder is None else Database(folder)
        self._blobs = None if folder is None else BlobFolder(folder.below(_BLOBS))
        self._adds_blobs = False

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    # Values

    def get(self, make: Maker, name: str, inputs: object, kind: type[_Value]) -> _Value | None:
        """Return the kept value, or None where there is none made from these inputs.

        Parameters
        ----------
        make : callable
            The function that makes the value: all that it does follows from its code and its arguments.
        name : str
            What the value is of, among those of this maker.
        inputs : object
            Everything that the value depends on besides code: plain values, dataclasses, arrays.
        kind : type
            Of the value, see `msgspec`.
        """
        row = None if self._database is None else self._database.get(_label(make), name)
        return None if row is None or row.key != made_from(make, inputs) else _decoded(row.value, kind)

    def get_all(self, make: Maker, inputs: Mapping[str, object], kind: type[_Value]) -> dict[str, _Value]:
        """Return those of many kept values that are made from these inputs, by name; faster than one by one."""
        rows = {} if self._database is None else self._database.get_all(_label(make), inputs)
        fitting = {name: row for name, row in rows.items() if row.key == made_from(make, inputs[name])}
        decoded = {name: _decoded(row.value, kind) for name, row in fitting.items()}
        return {name: value for name, value in decoded.items() if value is not None}

    def latest(self, make: Maker, name: str, kind: type[_Value]) -> _Value | None:
        """Return the value that was kept last under a name, whatever it was made from."""
        row = None if self._database is None else self._database.get(_label(make), name)
        return None if row is None else _decoded(row.value, kind)

    def put(self, make: Maker, name: str, inputs: object, value: object, *, blobs: Iterable[Blob] = ()) -> None:
        """Keep a value, which holds these blobs; nothing where the archive cannot be written to."""
        if self._database is None:
            return
        held = tuple(dict.fromkeys(blob.sha256 for blob in blobs))
        self._database.put(_label(make), name, Row(made_from(make, inputs), encoded(value), held))

    def derive(self, make: Maker, name: str, inputs: object, kind: Any, call: Callable[[], _Value]) -> _Value:
        """Return the kept value, or one made now by `call` and kept; it may be None."""
        kept: list[_Value] | None = self.get(make, name, inputs, list[kind])
        if kept is None:
            kept = [call()]
            self.put(make, name, inputs, kept)
        return kept[0]

    def derive_all(
        self, make: Maker, inputs: Mapping[str, object], kind: Any, call: Callable[[str], _Value]
    ) -> dict[str, _Value]:
        """Return many values as `derive` does, `call` given the name; faster than one by one."""
        kept: dict[str, list[_Value]] = self.get_all(make, inputs, list[kind])
        for name in inputs:
            if name not in kept:
                kept[name] = [call(name)]
                self.put(make, name, inputs[name], kept[name])
        return {name: kept[name][0] for name in inputs}

    def forget(self, make: Maker, *, keep: Collection[str]) -> None:
        """Remove the values of a maker whose names are not among these."""
        if self._database is None:
            return
        known = set(keep)
        for name in self._database.names(_label(make)):
            if name not in known:
                self._database.remove(_label(make), name)

    def forget_makers(self, *, keep: Collection[Maker]) -> None:
        """Remove the values of all makers but these: of functions that no longer exist."""
        if self._database is None:
            return
        known = {_ADDING[0], *map(_label, keep)}
        for maker in self._database.makers():
            if maker not in known:
                for name in self._database.names(maker):
                    self._database.remove(maker, name)

    # Blobs

    def add_blob(self, data: bytes) -> Blob:
        """Keep bytes; they stay as long as a value holds them, which is put before the next `commit`.

        Raises
        ------
        FolderError
            The system refuses.
        """
        return self._blobs_to_add().add(data)

    def take_blob(self, file: StoredFile) -> Blob:
        """Keep a file, which is moved; see `add_blob`."""
        return self._blobs_to_add().take(file)

    def read_blob(self, blob: Blob) -> bytes:
        """Return the bytes of a blob.

        Raises
        ------
        DamagedBlobError
            It is gone or holds something else: see `check_blobs`.
        """
        return self.stored(blob).read()

    def stored(self, blob: Blob) -> StoredBlob:
        """Return a blob with its place, unread."""
        return self._blob_folder().stored(blob)

    def check_blobs(self) -> None:
        """Read every blob that a value holds; remove those that are damaged, and the values that hold them."""
        if self._database is None:
            return
        blobs = self._blob_folder()
        for sha256 in sorted(self._database.count_blobs()):
            if not blobs.is_whole(Blob(sha256, 0)):
                self.drop(Blob(sha256, 0))
        self.commit()

    def drop(self, blob: Blob) -> None:
        """Remove a damaged blob and all values that hold it."""
        if self._database is None:
            return
        for maker, name in self._database.holders(blob.sha256):
            self._database.remove(maker, name)
        self._blob_folder().remove(blob.sha256)

    def _blob_folder(self) -> BlobFolder:
        if self._blobs is None:
            raise ValueError("a store without a folder keeps no blobs")
        return self._blobs

    def _blobs_to_add(self) -> BlobFolder:
        """Return the blobs; from the first one added to the end it is marked that some may be held by no value."""
        blobs = self._blob_folder()
        if not self._adds_blobs and self._database is not None:
            self._database.put(*_ADDING, Row(b"", b""))
            self._database.commit()
            self._adds_blobs = True
        return blobs

    def clear_interrupted(self) -> None:
        """Remove blobs that no value holds, where a run that was stopped may have left some.

        Only for who writes the archive alone: another run may be about to keep a value for the blobs that it added.
        """
        database = self._database
        if database is not None and database.can_write and not self._adds_blobs:
            if database.lost or database.get(*_ADDING) is not None:
                self._blob_folder().sweep(database.count_blobs())
                database.remove(*_ADDING)

    # The end

    def commit(self) -> None:
        """Bring what was put to the disk, and remove blobs that no value holds any more."""
        if self._database is not None:
            for sha256 in self._database.commit():
                self._blob_folder().remove(sha256)

    def close(self) -> None:
        """Commit, and let go of the files."""
        self.commit()
        if self._database is not None:
            if self._adds_blobs:
                self._database.remove(*_ADDING)
                self.commit()
            self._database.close()


def _decoded(value: bytes, kind: type[_Value]) -> _Value | None:
    try:
        return msgspec.msgpack.decode(value, type=kind)
    except (msgspec.MsgspecError, RecursionError):
        return None


def _label(make: Maker) -> str:
    return f"{make.__module__.partition('.')[2]}.{make.__qualname__}"


def made_from(make: Maker, inputs: object) -> bytes:
    return digest([code_digest(make), inputs])
