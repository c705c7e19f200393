"""The site's theme: templates that replace built-in ones, and an additional style sheet.

A theme is the folder ``theme`` of an archive. ``NAME.html`` in it stands in for our template of that name, which it can
extend as ``original/NAME.html``; ``style.css`` is added at the end of ours, and the messages of ``locale/LANG.po`` come
before ours. Else nothing in it is read but what these templates include.
"""

from __future__ import annotations

import difflib
import hashlib
import traceback
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from archive.disk import Folder, read_own, walk_named
from archive.errors import SettingsError
from archive.language import known_language
from archive.templates_folder import templates_dir
from archive.theme_files import theme_files

__all__ = [
    "ADVICE",
    "NO_THEME",
    "Theme",
    "clear_mistakes",
    "our_templates",
    "read_theme",
]

ADVICE = "correct it, or remove it to restore the original"
_STYLE = "style.css"


@dataclass(frozen=True)
class Theme:
    """Where a theme lies, None where there is none, a style sheet to add, and its other files as they were read."""

    folder: Path | None
    style: bytes = b""
    files: tuple[tuple[str, bytes], ...] = ()

    @property
    def digests(self) -> tuple[tuple[str, str], ...]:
        """What the files hold, for telling whether pages must be made again."""
        return tuple((name, hashlib.sha256(data).hexdigest()) for name, data in self.files)

    def catalogue(self, tag: str) -> bytes:
        """Its own catalogue of messages of a language, empty where there is none."""
        return dict(self.files).get(f"locale/{known_language(tag)}.po", b"")


NO_THEME = Theme(None)


def read_theme(files: Folder | None) -> Theme:
    """Read a theme; a folder that is not there is none, and links in it are passed over.

    Raises
    ------
    SettingsError
        A file has the ending of a template and no template's name; or the theme is larger than any theme needs to be.
    """
    found = {} if files is None else {name: files.read(name) for name in theme_files(files)}
    if files is None or not found:
        return NO_THEME
    folder, known = files.path, {name for name, _ in our_templates()}
    unknown = [folder / name for name in found if "/" not in name and name.endswith(".html") and name not in known]
    if unknown:
        raise SettingsError(*(_unknown_words(path, known) for path in unknown))
    style = found.pop(_STYLE, b"")
    # Of any ending and in any folder below: a template may include what it likes.
    return Theme(folder, b"\n" + style if style else b"", tuple(found.items()))


def our_templates() -> list[tuple[str, str]]:
    """Our own templates: names and texts. Those in folders below are not of the site."""
    ours = [path for path in walk_named(templates_dir()) if path.parent == templates_dir() and path.suffix == ".html"]
    return [(path.name, read_own(path).decode()) for path in ours]


def _unknown_words(path: Path, known: set[str]) -> str:
    near = difflib.get_close_matches(path.name, sorted(known), 1)
    meant = f"did you mean {near[0]}?" if near else f"known are {', '.join(sorted(known))}"
    return f"{path}: no built-in template has this name; {meant}"


@contextmanager
def clear_mistakes(theme: Theme) -> Iterator[None]:
    """Report a mistake in a template of the theme in one line: the file, the line, what is wrong, what to do.

    Raises
    ------
    SettingsError
        In place of whatever Jinja or the template raised; other exceptions are not changed.
    """
    import jinja2

    try:
        yield
    except jinja2.TemplateSyntaxError as error:
        _refuse(theme, error.name or "", error.lineno, error.message or "", error)
        raise
    except Exception as error:
        steps = [step for step in traceback.extract_tb(error.__traceback__) if _is_theirs(theme, step.filename)]
        if steps:
            _refuse(theme, Path(steps[-1].filename).name, steps[-1].lineno or 0, _words(error), error)
        if isinstance(error, UnicodeDecodeError):
            _refuse_not_text(theme, error)
        raise


def _words(error: Exception) -> str:
    import jinja2

    if isinstance(error, jinja2.TemplateNotFound):
        return f"there is no template {error.name!r}"
    return f"{error}".splitlines()[0].rstrip(".") if f"{error}" else type(error).__name__


def _is_theirs(theme: Theme, filename: str) -> bool:
    return theme.folder is not None and Path(filename).parent == theme.folder


def _refuse(theme: Theme, name: str, line: int, words: str, error: Exception) -> None:
    if theme.folder is not None and name in dict(theme.files):
        raise SettingsError(f"{theme.folder / name}: line {line}: {words}; {ADVICE}") from error


def _refuse_not_text(theme: Theme, error: UnicodeDecodeError) -> None:
    for name, data in theme.files:
        if theme.folder is not None and data == error.object:
            raise SettingsError(
                f"{theme.folder / name}: not text in UTF-8 ({error.reason}); save it as UTF-8"
            ) from error
