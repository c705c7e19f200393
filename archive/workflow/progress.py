"""How far a long piece of work has come, for whoever wants to show it."""

from __future__ import annotations

from collections.abc import Callable

__all__ = ["Progress", "silent"]

# Called with what is being done, how many are done, and of how many.
Progress = Callable[[str, int, int], None]


def silent(what: str, done: int, total: int) -> None:
    """Show nothing."""
