"""The user's ~/.netrc: who one is at a machine. Its words never reach a message, for any of them may be a password.

The file is a list of words, as the manual of ftp(1) has it: ``machine NAME login USER password PASSWORD``. A word with
spaces stands in double quotes; a backslash takes the next sign as it is. An entry ``default``, which is for machines of
any name, is passed over: a password goes to the machine that it was written down for.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field

__all__ = ["NetrcEntry", "NetrcMistake", "netrc_entry"]

_WORD = re.compile(r'"((?:\\.|[^"\\])*)"(?!\S)|((?:\\.|[^\s"\\])(?:\\.|[^\s\\])*)', re.DOTALL)
_OF_ENTRY = {"login": "user", "user": "user", "account": "account", "password": "password"}


class NetrcMistake(Exception):
    """The file makes no sense at a line."""

    def __init__(self, line: int) -> None:
        super().__init__(line)
        self.line = line


@dataclass
class NetrcEntry:
    """What is known of a machine."""

    user: str = ""
    account: str = field(default="", repr=False)
    password: str = field(default="", repr=False)


def netrc_entry(text: str, machine: str) -> NetrcEntry | None:
    """Return the first entry for a machine; None where there is none.

    Raises
    ------
    NetrcMistake
        A word at a place where none can be understood.
    """
    found: NetrcEntry | None = None
    entry: NetrcEntry | None = None
    words = _Words(text)
    for word in words:
        if word in ("machine", "default"):
            entry, ours = NetrcEntry(), word == "machine" and words.next() == machine
            found = entry if ours and found is None else found
        elif word == "macdef":
            words.skip_macro()
        elif entry is not None and word in _OF_ENTRY:
            setattr(entry, _OF_ENTRY[word], words.next())
        elif word.startswith("#"):
            words.skip_line()
        else:
            raise NetrcMistake(words.line)
    return found


class _Words:
    """The words of the file, one after the other."""

    def __init__(self, text: str) -> None:
        self._text, self._at = text, 0

    @property
    def line(self) -> int:
        """The line of the last word."""
        return self._text.count("\n", 0, self._begun) + 1

    _begun = 0

    def __iter__(self) -> Iterator[str]:
        while (word := self._word()) is not None:
            yield word

    def next(self) -> str:
        """Return the word that must follow."""
        word = self._word()
        if word is None:
            raise NetrcMistake(self.line)
        return word

    def _word(self) -> str | None:
        while self._at < len(self._text) and self._text[self._at].isspace():
            self._at += 1
        if self._at == len(self._text):
            return None
        self._begun = self._at
        found = _WORD.match(self._text, self._at)
        if found is None:
            raise NetrcMistake(self.line)
        self._at = found.end()
        return re.sub(r"\\(.)", r"\1", found[1] if found[2] is None else found[2], flags=re.DOTALL)

    def skip_line(self) -> None:
        """Pass over the rest of the line."""
        end = self._text.find("\n", self._begun)
        self._at = len(self._text) if end < 0 else end

    def skip_macro(self) -> None:
        """Pass over a macro, which an empty line ends."""
        end = re.compile(r"\n[ \t\r]*\n").search(self._text, self._begun)
        self._at = len(self._text) if end is None else end.end()
