"""Numbers and lists as a language writes them."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache

from archive.language.speech import spoken

__all__ = ["decimal", "joined"]


def decimal(figure: str) -> str:
    """Return a figure written with a decimal point with the sign that the language writes: ``7,25°``."""
    language = spoken()
    return figure if language == "en" else figure.replace(".", _decimal_sign(language))


@cache
def _decimal_sign(language: str) -> str:
    from babel.numbers import get_decimal_symbol

    return get_decimal_symbol(language)


def joined(words: Sequence[str]) -> str:
    """Return words joined as in a sentence: ``a, b and c``."""
    if len(words) < 2:
        return "".join(words)
    if (language := spoken()) == "en":
        return f"{', '.join(words[:-1])} and {words[-1]}"
    from babel.lists import format_list

    return format_list(words, locale=language)
