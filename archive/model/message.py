"""A sentence kept with its values apart, so that it can be told in any language."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["Message", "kept_message"]


@dataclass(frozen=True)
class Message:
    """English words with ``{names}``, and what stands in their place; as a text it is the English sentence."""

    text: str
    values: tuple[tuple[str, str | int | float], ...] = ()

    def __str__(self) -> str:
        """Return the sentence in English."""
        return self.text.format(**dict(self.values)) if self.values else self.text


def kept_message(text: str, /, **values: str | int | float) -> Message:
    """Return a message to be kept, with its values; catalogues take its words from here."""
    return Message(text, tuple(values.items()))
