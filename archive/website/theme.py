"""The observer's own face of the site: templates in place of ours, and a style sheet after ours.

A theme is the folder ``theme`` of an archive. ``NAME.html`` in it stands in for our template of that name, which it can
extend as ``original/NAME.html``; ``style.css`` is added at the end of ours. Else nothing in it is read but what these
templates include.
"""

from __future__ import annotations

import difflib
import hashlib
import traceback
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from archive.errors import SettingsError

__all__ = ["ADVICE", "NO_THEME", "Theme", "clear_mistakes", "read_theme", "templates_dir"]

ADVICE = "mend it, or remove it to have the original back"


@dataclass(frozen=True)
class Theme:
    """A folder of templates, None where there is none, a style sheet to add, and digests of the other files."""

    folder: Path | None
    style: bytes = b""
    digests: tuple[tuple[str, str], ...] = ()


NO_THEME = Theme(None)


def templates_dir() -> Path:
    """Find our templates: inside the package where it was installed from a wheel, beside it in a checkout."""
    package = Path(__file__).resolve().parent.parent
    installed = package / "site_templates"
    return installed if installed.is_dir() else package.parent / "site_templates"


def read_theme(folder: Path | None) -> Theme:
    """Read a theme; a folder that is not there is none.

    Raises
    ------
    SettingsError
        A file has the ending of a template and no template's name.
    """
    if folder is None or not folder.is_dir():
        return NO_THEME
    known = {path.name for path in templates_dir().glob("*.html")}
    unknown = [path for path in sorted(folder.glob("*.html")) if path.name not in known]
    if unknown:
        raise SettingsError(*(_unknown_words(path, known) for path in unknown))
    style = folder / "style.css"
    # Of any ending and in any folder below: a template may include what it likes.
    files = [path for path in sorted(folder.rglob("*")) if path.is_file() and path != style]
    digests = tuple((path.relative_to(folder).as_posix(), _digest(path)) for path in files)
    return Theme(folder, b"\n" + style.read_bytes() if style.is_file() else b"", digests)


def _digest(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _unknown_words(path: Path, known: set[str]) -> str:
    near = difflib.get_close_matches(path.name, sorted(known), 1)
    meant = f"did you mean {near[0]}?" if near else f"known are {', '.join(sorted(known))}"
    return f"{path}: there is no template of this name to stand in for; {meant}"


@contextmanager
def clear_mistakes(theme: Theme) -> Iterator[None]:
    """Tell a mistake in a template of the theme in one line: the file, the line, what is wrong, what to do.

    Raises
    ------
    SettingsError
        In place of whatever Jinja or the template raised; a fault of our own is raised as it is.
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
    return f"{error}".splitlines()[0] if f"{error}" else type(error).__name__


def _is_theirs(theme: Theme, filename: str) -> bool:
    return theme.folder is not None and Path(filename).parent == theme.folder


def _refuse(theme: Theme, name: str, line: int, words: str, error: Exception) -> None:
    if theme.folder is not None and (theme.folder / name).is_file():
        raise SettingsError(f"{theme.folder / name}: line {line}: {words}; {ADVICE}") from error


def _refuse_not_text(theme: Theme, error: UnicodeDecodeError) -> None:
    for path in sorted(theme.folder.glob("*.html")) if theme.folder is not None else ():
        if path.read_bytes() == error.object:
            raise SettingsError(f"{path}: not text in UTF-8 ({error.reason}); save it as UTF-8") from error
