"""Gather the messages of the code, the templates and the scripts into every catalogue; translations are kept.

Run ``PYTHONPATH=.:tests python tests/catalogues.py``. It prints how many messages each catalogue has, and how many are
still without words.
"""

from __future__ import annotations

import io
import sys
from collections.abc import Callable, Iterable, Iterator
from functools import cache
from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.extract import extract_javascript, extract_python
from babel.messages.pofile import read_po, write_po
from jinja2.ext import babel_extract
from said_lines import messages_said, names_of_keys

from archive.language.catalogues import LANGUAGES, Part
from archive.language.recognition import LINE
from archive.templates_folder import templates_dir

ROOT = Path(__file__).resolve().parent.parent
LOCALE = templates_dir() / "locale"
FOLDERS: dict[Part, Path] = {"site": LOCALE, "desk": LOCALE / "desk"}
KEYWORDS = {
    "_": None,
    "gettext": None,
    "gettext_noop": None,
    "ngettext": (1, 2),
    "pgettext": ((1, "c"), 2),
}
COMMENT_TAGS = ["Translators:", "NOTE:"]
_HEADER = "# Words of the pages, films and desk. tests/catalogues.py gathers the messages; fill in what is empty."
# Lines of a header that say when and by whom, which would differ from run to run.
_LEFT_OUT = (
    "Project-Id-Version",
    "Report-Msgid-Bugs-To",
    "POT-Creation-Date",
    "PO-Revision-Date",
    "Last-Translator",
    "Language-Team",
    "Generated-By",
)

Found = Iterable[tuple[int, str, str | tuple[str, ...], list[str]]]


def _of_python(file: io.BytesIO) -> Found:
    return extract_python(file, KEYWORDS, COMMENT_TAGS, {"encoding": "utf-8"})


def _of_templates(file: io.BytesIO) -> Found:
    options = {"trimmed": "false", "silent": "false", "encoding": "utf-8", "trim_blocks": "1", "lstrip_blocks": "1"}
    return babel_extract(file, list(KEYWORDS), COMMENT_TAGS, options)


def _of_scripts(file: io.BytesIO) -> Found:
    return extract_javascript(file, KEYWORDS, COMMENT_TAGS, {"encoding": "utf-8"})


_KINDS: dict[str, Callable[[io.BytesIO], Found]] = {".py": _of_python, ".html": _of_templates, ".js": _of_scripts}


def sources(part: Part) -> Iterator[Path]:
    """All files that may hold messages of the site, or of the desk."""
    found = sorted((ROOT / "archive").rglob("*.py"))
    found += sorted(path for path in templates_dir().rglob("*") if path.suffix in (".html", ".js"))
    yield from (path for path in found if ("desk" in path.relative_to(ROOT).parts) == (part == "desk"))


def messages_of(path: Path) -> Iterator[tuple[int, str | tuple[str, ...], str | None, list[str]]]:
    """Return the messages of a file: line, words (singular and plural), context, and comments for translators."""
    for line, name, found, comments in _KINDS[path.suffix](io.BytesIO(path.read_bytes())):
        words = (found,) if isinstance(found, str) else found or (None,)
        if not isinstance(words[0], str):  # what is looked up stands elsewhere
            continue
        if name == "pgettext":
            yield line, words[1], words[0], comments
        else:
            yield line, (words[0], words[1]) if name == "ngettext" else words[0], None, comments


@cache
def gathered(part: Part = "site") -> Catalog:
    """Return all messages of the site, or of the desk, with no translations."""
    catalogue = Catalog(project="Northlimb", charset="utf-8")
    for path in sources(part):
        for _, words, context, comments in messages_of(path):
            place = [(path.relative_to(ROOT).as_posix(), 1)]
            catalogue.add(words, locations=place, auto_comments=comments, context=context)
    if part == "desk":
        for path in sorted((ROOT / "archive").rglob("*.py")):
            for _, words in messages_said(path):
                catalogue.add(words, locations=[(path.relative_to(ROOT).as_posix(), 1)], context=LINE)
        for words in names_of_keys():
            catalogue.add(words, locations=[("archive/desk/desk.py", 1)], context=LINE)
    return catalogue


def read_catalogue(code: str, part: Part = "site") -> Catalog:
    """Read a language's catalogue as it is kept; an empty one where there is none."""
    path = FOLDERS[part] / f"{code}.po"
    return read_po(io.BytesIO(path.read_bytes() if path.is_file() else b""), locale=code)


def updated(code: str, template: Catalog, part: Part = "site") -> bytes:
    """Return a language's catalogue with all messages there are, and of its translations those of them."""
    old = read_catalogue(code, part)
    catalogue = Catalog(locale=code, project="Northlimb", charset="utf-8", header_comment=_HEADER, fuzzy=False)
    for message in template:
        if message.id:
            kept = old.get(message.id, message.context)
            words = kept.string if kept is not None and not kept.fuzzy else ""
            if isinstance(message.id, tuple) and not isinstance(words, tuple):
                words = ("",) * catalogue.num_plurals
            catalogue.add(message.id, words, message.locations, auto_comments=message.auto_comments,
                          user_comments=kept.user_comments if kept else (), context=message.context)  # fmt: skip
    written = io.BytesIO()
    write_po(written, catalogue, width=110, include_lineno=False, sort_by_file=True)
    lines = written.getvalue().decode("utf-8").splitlines(keepends=True)
    return "".join(line for line in lines if not line.startswith(tuple(f'"{name}' for name in _LEFT_OUT))).encode()


def gaps(catalogue: Catalog) -> list[str]:
    """Return the messages that a catalogue has no words for."""
    found = [message for message in catalogue if message.id]
    return [str(one.id) for one in found if not all([one.string] if isinstance(one.string, str) else one.string)]


def main() -> None:
    """Bring every catalogue up to date."""
    for part, folder in FOLDERS.items():
        template = gathered(part)
        folder.mkdir(exist_ok=True)
        for code in sorted(set(LANGUAGES) - {"en"}):
            (folder / f"{code}.po").write_bytes(updated(code, template, part))
            missing = len(gaps(read_catalogue(code, part)))
            print(f"{part}, {code}: {len(template)} messages, {missing} of them without words")


if __name__ == "__main__":
    sys.exit(main())
