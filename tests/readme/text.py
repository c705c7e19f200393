"""The README taken apart: its fenced blocks, words in backquotes, tables and sentences."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

__all__ = [
    "README",
    "Block",
    "block_with",
    "blocks",
    "inline_code",
    "keys_of",
    "paragraph_with",
    "section",
    "table_under",
    "with_value",
]

README = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
_FENCE = re.compile(r"^```(\w*)\n(.*?)^```$", flags=re.MULTILINE | re.DOTALL)


@dataclass(frozen=True)
class Block:
    """A fenced block; `language` is empty where none is said."""

    language: str
    text: str

    @property
    def lines(self) -> list[str]:
        return self.text.splitlines()


def blocks(language: str | None = None) -> list[Block]:
    """All blocks in order, or those of one language."""
    found = [Block(*parts) for parts in _FENCE.findall(README)]
    return [block for block in found if language in (None, block.language)]


def block_with(words: str) -> Block:
    """The only block with these words."""
    (found,) = [block for block in blocks() if words in block.text]
    return found


def inline_code() -> list[str]:
    """What stands in backquotes, in order, each on one line."""
    prose = _FENCE.sub("", README)
    return [" ".join(code.split()) for code in re.findall(r"`([^`]+)`", prose)]


def section(title: str) -> str:
    """The text under a heading, up to the next one of any level."""
    found = re.search(rf"^#+ {re.escape(title)}\n(.*?)(?=^#+ |\Z)", _without_fences(), flags=re.MULTILINE | re.DOTALL)
    assert found, title
    return found[1]


def _without_fences() -> str:
    # A comment in a block looks like a heading.
    return _FENCE.sub(lambda found: found[0].replace("\n#", "\n "), README)


def table_under(title: str) -> list[list[str]]:
    """The rows of a section's table, without its head; cells as written."""
    lines = [line for line in section(title).splitlines() if line.startswith("|")]
    assert len(lines) > 2, title
    return [[cell.strip() for cell in line.strip("|").split("|")] for line in lines[2:]]


def paragraph_with(words: str) -> str:
    """The paragraph that holds these words, on one line."""
    (found,) = [part for part in re.split(r"\n\s*\n", README) if words in " ".join(part.split())]
    return " ".join(found.split())


def keys_of(text: str) -> list[str]:
    """The keys of a piece of TOML, in order."""
    return re.findall(r"^(\w+) =", text, flags=re.MULTILINE)


def with_value(text: str, key: str, value: str) -> str:
    """A piece of TOML with another value of a key; comments stay."""
    changed, number = re.subn(rf"^{key} = [^#\n]*", f"{key} = {value}  ", text, flags=re.MULTILINE)
    assert number == 1, key
    return changed
