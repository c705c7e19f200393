"""Lines that the code says in English for the command line, told in the language that is spoken.

A refusal or a warning is one English line wherever it is raised, for commands speak English, and rooms that only
compute know of no language. The desk's catalogue has each as its source has it, with names in braces for what is filled
in; a line that is shown on a page is found again by that, and what was filled in stands in the translation.
"""

from __future__ import annotations

import io
import re
from functools import cache, lru_cache

from archive.language.catalogues import compiled_catalogue
from archive.language.kept_words import kept_words
from archive.language.speech import pgettext, spoken

__all__ = ["LINE", "bare", "retold"]

# The context of such messages in the catalogue.
LINE = "line"
_NAME_BEFORE = re.compile(r"^(?:\{\w+\}(?: = \{\w+\})?: )+")
_NAME = re.compile(r"\{(\w+)\}")
_LONGEST = 2000


def bare(text: str) -> str:
    """Return a message without the names before it, such as ``{file}: {key} = {value}: ``."""
    return _NAME_BEFORE.sub("", text)


def retold(line: str) -> str:
    """Return an English line in the language that is spoken; as it is where no catalogue has it.

    What stands before a colon, such as a file, a key and its value, stays as it is.
    """
    language = spoken()
    if language == "en" or not line or len(line) > _LONGEST:
        return line
    return _retold(line, language)


@lru_cache(maxsize=2000)
def _retold(line: str, language: str) -> str:
    at = 0
    while True:
        found = _translated(line[at:], language)
        if found is None and (kept := kept_words(line[at:])) != line[at:]:
            found = kept
        if found is not None:
            return line[:at] + found
        colon = line.find(": ", at)
        if colon < 0:
            return _listed(line)
        at = colon + 2


def _listed(line: str) -> str:
    """Return words between commas, such as the names of what was changed, each in the language."""
    return ", ".join(pgettext(LINE, word) for word in line.split(", "))


def _translated(text: str, language: str) -> str | None:
    for pattern, message in _patterns(language):
        if (found := pattern.fullmatch(text)) is not None:
            values = {name: _value(value, text, language) for name, value in found.groupdict().items()}
            return message.format(**values) if values else message
    return None


def _value(value: str, whole: str, language: str) -> str:
    """Return what was filled in: a line of its own is told in the language, all else stays."""
    return _retold(value, language) if " " in value and len(value) < len(whole) else value


@cache
def _patterns(language: str) -> tuple[tuple[re.Pattern[str], str], ...]:
    """Return the catalogue's lines as patterns with their translations, those with most words of their own first."""
    from babel.messages.mofile import read_mo

    found = []
    for message in read_mo(io.BytesIO(compiled_catalogue(language, "desk"))):
        if message.context == LINE and message.id and message.string:
            pieces = _NAME.split(str(message.id))
            written = "".join(f"(?P<{piece}>.+?)" if at % 2 else re.escape(piece) for at, piece in enumerate(pieces))
            found.append((sum(map(len, pieces[::2])), re.compile(written, re.DOTALL), str(message.string)))
    found.sort(key=lambda one: -one[0])
    return tuple((pattern, words) for _, pattern, words in found)
