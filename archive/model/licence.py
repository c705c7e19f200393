"""Licences by which pictures are published, and how to reach an observer."""

from __future__ import annotations

import re
from dataclasses import dataclass

__all__ = ["Contact", "Licence", "contact_of", "licence_of"]

# Identifiers of the SPDX License List, and the address that whoever wrote the licence gives for its text.
_CREATIVE_COMMONS = re.compile(r"CC-(BY(?:-NC)?(?:-ND|-SA)?)-([1-4]\.[05])")
_OTHERS = {
    "CC0-1.0": "https://creativecommons.org/publicdomain/zero/1.0/",
    "ODbL-1.0": "https://opendatacommons.org/licenses/odbl/1-0/",
    "ODC-By-1.0": "https://opendatacommons.org/licenses/by/1-0/",
    "PDDL-1.0": "https://opendatacommons.org/licenses/pddl/1-0/",
}
_MAIL = re.compile(r"[^\s@:/]+@[^\s@/]+\.[^\s@/]+")
_WEB = re.compile(r"https?://[^\s/]\S*")


@dataclass(frozen=True)
class Licence:
    """A licence: its SPDX identifier or the observer's words, and the address of its text, None where it has none."""

    words: str
    address: str | None = None

    @property
    def is_identifier(self) -> bool:
        """Whether the words are an identifier of the SPDX License List."""
        return self.address is not None and self.words != self.address


def licence_of(words: str | None) -> Licence | None:
    """Return a licence that is named by its SPDX identifier, in any case, by an address, or in words; None for None."""
    if words is None:
        return None
    if _WEB.fullmatch(words):
        return Licence(words, words)
    for identifier, address in _OTHERS.items():
        if words.casefold() == identifier.casefold():
            return Licence(identifier, address)
    found = _CREATIVE_COMMONS.fullmatch(words.upper())
    if found is None:
        return Licence(words)
    kind, version = found[1].lower(), found[2]
    return Licence(found[0], f"https://creativecommons.org/licenses/{kind}/{version}/")


@dataclass(frozen=True)
class Contact:
    """How to reach an observer: in the observer's words, which may be a mail address or a web address."""

    words: str
    mail: str | None = None
    web: str | None = None

    @property
    def link(self) -> str:
        """Where a link leads, empty where there is none."""
        return self.web or (f"mailto:{self.mail}" if self.mail else "")


def contact_of(words: str | None) -> Contact | None:
    """Return a contact that is a mail address, a web address or words; None for None."""
    if words is None:
        return None
    return Contact(words, mail=words if _MAIL.fullmatch(words) else None, web=words if _WEB.fullmatch(words) else None)
