"""Which files are meant: as named, or the pictures of a folder; and what in it is passed over, and why."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path, PurePath

from archive.disk import names_in_named, open_named
from archive.errors import FactsError
from archive.reading import FORMATS, HEAD_BYTES, foreign_advice, picture_kind

__all__ = ["Chosen", "chosen_files"]

_MOST_NAMED = 10
_DEEPEST = 20
_PICTURE_NAMES = frozenset(
    {".png", ".jpg", ".jpeg", ".tif", ".tiff", ".fits", ".fit", ".fts", ".webp", ".heic", ".heif", ".avif", ".bmp"}
)
_NO_PICTURE = "no pictures"
_A_FOLDER = "folders; --recursive takes their pictures too"
_AN_ARCHIVE = "an archive of its own"
_TOO_DEEP = f"folders more than {_DEEPEST} deep; name them"


@dataclass
class Chosen:
    """The files to be added, and for each folder what in it is passed over, by the reason."""

    files: list[Path] = field(default_factory=list)
    passed_over: dict[Path, dict[str, list[str]]] = field(default_factory=dict)

    def lines(self) -> Iterator[tuple[Path, str]]:
        """Yield each folder with a line for each reason for which something in it is passed over."""
        for folder, reasons in self.passed_over.items():
            for reason, names in reasons.items():
                more = f" and {len(names) - _MOST_NAMED} more" if len(names) > _MOST_NAMED else ""
                yield folder, f"{folder}: passed over: {', '.join(names[:_MOST_NAMED])}{more} ({reason})"


def chosen_files(pictures: Sequence[Path], *, recursive: bool) -> Chosen:
    """Return files as named, but for notes of others that are, and the pictures of folders in order of name.

    Parameters
    ----------
    pictures : sequence of Path
        Files or folders.
    recursive : bool
        Whether the folders in a folder are looked into as well; links to folders are not followed.

    Raises
    ------
    FactsError
        A folder holds no picture.
    """
    chosen = Chosen()
    named = [path.name for path in pictures]
    for path in pictures:
        if not _is_folder(path):
            # A shell names the notes beside the pictures too.
            if not (len(named) > 1 and _is_note(path.name, named)):
                chosen.files.append(path)
            continue
        before = len(chosen.files)
        _look_into(path, chosen, depth=_DEEPEST if recursive else 0)
        if len(chosen.files) == before:
            deeper = "" if recursive or _A_FOLDER not in chosen.passed_over.get(path, ()) else "add --recursive, or "
            raise FactsError(f"{path}: no pictures ({FORMATS}) in this folder; {deeper}name the pictures")
    return chosen


def _look_into(folder: Path, chosen: Chosen, *, depth: int) -> None:
    """Take the pictures of a folder, whatever their names; hidden files that are none are not spoken of."""
    names = names_in_named(folder)
    over: dict[str, list[str]] = {}
    inner: list[Path] = []
    for name in names:
        path, hidden = folder / name, name.startswith(".")
        if _is_folder(path):
            if hidden:
                continue
            reason = _why_not_into(path, depth)
            if reason is None:
                inner.append(path)
            else:
                over.setdefault(reason, []).append(f"{name}/")
        elif _is_picture(path, by_name=not hidden):
            chosen.files.append(path)
        elif not hidden and not _is_note(name, names):
            over.setdefault(_what_else(path), []).append(name)
    if over:
        chosen.passed_over[folder] = over
    for path in inner:
        _look_into(path, chosen, depth=depth - 1)


def _why_not_into(folder: Path, depth: int) -> str | None:
    if (folder / "archive.toml").is_file():
        return _AN_ARCHIVE
    if depth <= 0:
        return _A_FOLDER
    if folder.is_symlink():
        return "a link to a folder; name it"
    return _TOO_DEEP if depth == 1 else None


def _is_picture(path: Path, *, by_name: bool) -> bool:
    """Return whether a file is a picture by its content, or its name (then it is refused later, with the reason).

    A dangling link, a pipe or a device is not.
    """
    if by_name and path.suffix.lower() in _PICTURE_NAMES:
        return path.is_file()
    head = _head(path)
    return picture_kind(head) is not None and foreign_advice(head, path.name) is None


def _what_else(path: Path) -> str:
    """Return what a file is that is no picture."""
    return foreign_advice(_head(path), path.name) or _NO_PICTURE


def _head(path: Path) -> bytes:
    try:
        with open_named(path) as stream:
            return stream.read(HEAD_BYTES)
    except OSError:
        return b""


def _is_note(name: str, names: Collection[str]) -> bool:
    """Return whether a name is that of a note beside a picture."""
    note = PurePath(name)
    return note.suffix.lower() == ".toml" and any(
        other != name and PurePath(other).stem == note.stem for other in names
    )


def _is_folder(path: Path) -> bool:
    """Return whether this is a folder; False, too, for a name that the system refuses, to be refused as a picture."""
    try:
        return path.is_dir()
    except (OSError, ValueError):
        return False
