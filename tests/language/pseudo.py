"""A language whose every message is in marks, by which words show that are in no catalogue."""

from __future__ import annotations

import io
import re
from functools import cache
from html.parser import HTMLParser

import catalogues
from babel.dates import get_day_names, get_month_names
from babel.messages.catalog import Catalog
from babel.messages.pofile import write_po

# Its plurals and dates are those of Polish, which has three forms of the plural.
LANGUAGE = "pl"
BEGIN, END = "⟦", "⟧"
_SHOWN = ("alt", "title", "aria-label", "placeholder", "content", "label")
_WORD = re.compile(r"[^\W\d_]{2,}(?:[-'’][^\W\d_]+)*")
# What no language translates: units, scales of time, kinds of files, keys.
_ALIKE = {"UTC", "px", "deg", "CSV", "JSON", "FITS", "MP", "PNG", "JPEG", "MSH", "bit", "arcsec", "au", "sin"}
# What is code or only machines read; and what stands within a line.
_SILENT = {"style", "script", "code", "kbd"}
_INLINE = {"a", "abbr", "b", "em", "span", "strong", "sub", "sup", "time", "i"}
_DATES = {
    spelled
    for names in (get_month_names, get_day_names)
    for form in ("wide", "abbreviated")
    for context in ("format", "stand-alone")
    for name in names(form, context, LANGUAGE).values()
    for word in _WORD.findall(name)
    for spelled in (word, word.capitalize())  # as headings begin
}


@cache
def source() -> bytes:
    """Return the catalogue's source."""
    catalogue = Catalog(locale=LANGUAGE, fuzzy=False)
    for message in catalogues.gathered():
        if message.id:
            one = isinstance(message.id, str)
            words = marked(message.id) if one else tuple([marked(message.id[1])] * catalogue.num_plurals)
            catalogue.add(message.id, words, context=message.context)
    written = io.BytesIO()
    write_po(written, catalogue)
    return written.getvalue()


def marked(text: str) -> str:
    """Return a message as this language has it."""
    return f"{BEGIN}{text}{END}"


def unmarked(text: str) -> str:
    """Return what stands outside all marks; of marks within marks the outer ones count."""
    found, depth = [], 0
    for letter in text:
        depth += (letter == BEGIN) - (letter == END)
        if not depth and letter != END:
            found.append(letter)
    return "".join(found)


def strange_words(html: str, own: set[str]) -> list[str]:
    """Return the words of a page that are in no catalogue and none of the user's own."""
    parser = _Words()
    parser.feed(html)
    allowed = _ALIKE | _DATES | {word for words in own for word in _WORD.findall(words)}
    return [
        f"{word!r} in {' '.join(text.split())!r}"
        for text in parser.texts
        for word in _WORD.findall(unmarked(text))
        if word not in allowed
    ]


class _Words(HTMLParser):
    """The texts of a page, a piece for each element that is no part of a line, and its attributes that are read."""

    def __init__(self) -> None:
        super().__init__()
        self.texts: list[str] = [""]
        self.silent = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        named = dict(attrs)
        if tag in _SILENT:
            self.silent += 1
        told = [value for name, value in attrs if name in _SHOWN and value]
        machine = tag == "meta" and (named.get("name") or named.get("property")) not in (
            "description",
            "og:description",
        )
        self.texts[-1:-1] = [] if machine else told
        if tag not in _INLINE | _SILENT:
            self.texts.append("")

    def handle_endtag(self, tag: str) -> None:
        if tag in _SILENT:
            self.silent -= 1
        if tag not in _INLINE | _SILENT:
            self.texts.append("")

    def handle_data(self, data: str) -> None:
        if not self.silent:
            self.texts[-1] += data
