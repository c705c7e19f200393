"""Catalogues of translated messages: found, read, checked.

In a wheel each lies compiled beside its source (the build's hook writes ``LANG.mo``); in a checkout the source is
compiled in memory, once a process.
"""

from __future__ import annotations

import gettext
import hashlib
import io
import re
import string
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Literal

from archive.errors import SettingsError
from archive.templates_folder import templates_dir

if TYPE_CHECKING:
    from babel.messages import Message

__all__ = [
    "LANGUAGES",
    "Catalogue",
    "Part",
    "catalogue_of",
    "check_catalogue",
    "compiled_catalogue",
    "known_language",
    "placeholders",
]

# Each by its own name, as a reader of it looks for it.
LANGUAGES = {
    "en": "English",
    "de": "Deutsch",
    "es": "español",
    "fr": "français",
    "it": "italiano",
    "ja": "日本語",
    "nl": "Nederlands",
    "pl": "polski",
    "pt": "português",
}
# The desk has catalogues of its own: a word changed there makes no page of a site anew. What they lack the site's have.
Part = Literal["site", "desk"]
_PLURAL = re.compile(r"plural\s*=\s*([n0-9 ?:()!=<>%&|]+)")


@dataclass(frozen=True)
class Catalogue:
    """The messages of one language; `plural` is the rule, in C, by which a count chooses a form."""

    code: str
    translations: gettext.GNUTranslations
    plural: str
    digest: str


def known_language(tag: str) -> str | None:
    """Return the language of a tag such as ``de-AT`` by the code of its catalogue; None where there is none."""
    code = tag.partition("-")[0].lower()
    return code if code in LANGUAGES else None


def catalogue_of(code: str, own: bytes = b"", *, part: Part = "site") -> Catalogue | None:
    """Return a language's catalogue; `own` is the source of another, whose messages come first.

    Raises
    ------
    SettingsError
        `own` is no catalogue, or one of its messages has other placeholders than the English one.
    """
    built_in = None if code == "en" else _built_in(code, part)
    if not own:
        return built_in
    translations = _translations(_compiled(own, f"theme/locale/{code}.po", code))
    plural, digest = "n != 1", hashlib.sha256(own)
    if built_in is not None:
        translations.add_fallback(built_in.translations)
        plural = built_in.plural
        digest.update(built_in.digest.encode())
    return Catalogue(code, translations, plural, digest.hexdigest())


@cache
def _built_in(code: str, part: Part) -> Catalogue:
    data = compiled_catalogue(code, part)
    translations = _translations(data)
    rule = _PLURAL.search(translations.info().get("plural-forms", ""))
    if part == "desk":
        translations.add_fallback(_built_in(code, "site").translations)
    return Catalogue(code, translations, rule[1].strip() if rule else "n != 1", hashlib.sha256(data).hexdigest())


def compiled_catalogue(code: str, part: Part) -> bytes:
    """Return a language's catalogue as compiled."""
    from archive.disk import read_own

    folder = templates_dir() / "locale"
    folder = folder / "desk" if part == "desk" else folder
    compiled = folder / f"{code}.mo"
    return read_own(compiled) if compiled.is_file() else _compiled(read_own(folder / f"{code}.po"), f"{code}.po", code)


def _translations(compiled: bytes) -> gettext.GNUTranslations:
    return gettext.GNUTranslations(io.BytesIO(compiled))


def _compiled(source: bytes, name: str, code: str) -> bytes:
    """Compile a catalogue's source; what translators' tools mark as a guess is left out."""
    from babel.messages.mofile import write_mo
    from babel.messages.pofile import PoFileError, read_po

    compiled = io.BytesIO()
    try:
        catalogue = read_po(io.BytesIO(source), locale=code, abort_invalid=True)
        write_mo(compiled, catalogue)
    except (PoFileError, ValueError, UnicodeError) as error:
        raise SettingsError(f"{name}: not a catalogue of messages ({error}); correct it") from error
    mistakes = check_catalogue(message for message in catalogue if message.id and not message.fuzzy)
    if mistakes:
        raise SettingsError(*(f"{name}: {mistake}" for mistake in mistakes))
    return compiled.getvalue()


def check_catalogue(messages: Iterable[Message]) -> list[str]:
    """Tell which translations have other placeholders than their message, in one line each."""
    mistakes = []
    for message in messages:
        ids = (message.id,) if isinstance(message.id, str) else tuple(message.id)
        texts = (message.string,) if isinstance(message.string, str) else tuple(message.string or ())
        wanted = set().union(*map(placeholders, ids))
        for text in texts:
            # One form of a plural may do without its count: "one picture".
            missing = placeholders(ids[0]) - placeholders(text) - ({"n"} if len(ids) > 1 else set())
            if text and (missing or placeholders(text) - wanted):
                names = " and ".join(f"{{{name}}}" for name in sorted(wanted)) or "no placeholder"
                mistakes.append(f"line {message.lineno}: {text!r} does not have {names} as {ids[0]!r} has; correct it")
    return mistakes


def placeholders(text: str) -> set[str]:
    """Return the names in braces of a message; what is no name is one too, so that it is not taken for one known."""
    try:
        return {name for _, name, _, _ in string.Formatter().parse(text) if name is not None}
    except ValueError:
        return {text}
