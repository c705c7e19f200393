"""How far a long piece of work has come, for whoever wants to show it."""

from __future__ import annotations

from collections.abc import Callable

__all__ = ["WAIT_S", "Progress", "silent", "while_waiting"]

# Called with what is being done, how many are done, and of how many.
Progress = Callable[[str, int, int], None]


def silent(what: str, done: int, total: int) -> None:
    """Show nothing."""


# How long a command that writes waits for another one to end.
WAIT_S = 600.0


def while_waiting(on_progress: Progress) -> Callable[[str], None]:
    """Show that another run is writing: who, and since when, where that is known."""

    def show(holder: str) -> None:
        on_progress(f"waiting for another northlimb to end{f' ({holder})' if holder else ''}", 0, 1)

    return show
