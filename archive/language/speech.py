"""What is said in the language that is spoken: messages with named placeholders, filled in after translation."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar

from archive.language.catalogues import Catalogue, Part, catalogue_of, known_language

__all__ = [
    "catalogue_spoken",
    "gettext",
    "gettext_noop",
    "ngettext",
    "pgettext",
    "speaking",
    "spoken",
    "spoken_digest",
    "translated_form",
]

_SPOKEN: ContextVar[Catalogue | None] = ContextVar("spoken", default=None)


@contextmanager
def speaking(tag: str, own: bytes = b"", *, part: Part = "site") -> Iterator[None]:
    """Speak a language within: of a tag such as ``de`` or ``de-AT``; English where there is no catalogue.

    It holds in this thread and in tasks begun in it; threads and processes that are started within speak English, until
    they are told otherwise. `own` is a theme's catalogue, see `archive.language.catalogues.catalogue_of`.
    """
    token = _SPOKEN.set(catalogue_of(known_language(tag) or "en", own, part=part))
    try:
        yield
    finally:
        _SPOKEN.reset(token)


def catalogue_spoken() -> Catalogue | None:
    """Return the catalogue that is spoken from; None for plain English."""
    return _SPOKEN.get()


def spoken() -> str:
    """Return the code of the language that is spoken: ``en``, ``de``."""
    catalogue = _SPOKEN.get()
    return "en" if catalogue is None else catalogue.code


def spoken_digest() -> str:
    """Return a digest of all messages of the language that is spoken, for keys of what shows them; none of English."""
    catalogue = _SPOKEN.get()
    return "" if catalogue is None else catalogue.digest


def gettext(message: str, /, **values: object) -> str:
    """Return a message in the language that is spoken, `values` in place of its ``{names}``."""
    catalogue = _SPOKEN.get()
    text = message if catalogue is None else catalogue.translations.gettext(message)
    return text.format(**values) if values else text


def pgettext(context: str, message: str, /, **values: object) -> str:
    """Return a message of which the same English words mean something else in another `context`."""
    catalogue = _SPOKEN.get()
    text = message if catalogue is None else catalogue.translations.pgettext(context, message)
    return text.format(**values) if values else text


def ngettext(singular: str, plural: str, n: int, /, **values: object) -> str:
    """Return a message in the form that a count asks for; the count stands in it as ``{n}``."""
    return translated_form(singular, plural, n).format(n=n, **values)


def translated_form(singular: str, plural: str, n: int) -> str:
    """Return a message in the form that a count asks for, its names not yet filled in."""
    catalogue = _SPOKEN.get()
    if catalogue is None:
        return singular if n == 1 else plural
    return catalogue.translations.ngettext(singular, plural, n)


def gettext_noop(message: str) -> str:
    """Return a message as it is: it stands in a table of the code, and is translated when it is shown."""
    return message
