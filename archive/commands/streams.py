"""Standard streams as a caller leaves them: a terminal, a file, closed, full, a pipe that nobody reads."""

from __future__ import annotations

import contextlib
import os
import re
import shutil
import signal
import sys
import time
from collections.abc import Callable
from pathlib import Path

import click

from archive.errors import ArchiveError

__all__ = [
    "escape_controls",
    "fill_closed_streams",
    "print_error_line",
    "print_line",
    "progress",
    "silence_stdout",
    "stop_like_ctrl_c",
    "terminal_width",
]

_WIDEST = 100
_FIRST_AFTER_S = 1.0
_BETWEEN_S = {True: 0.2, False: 10.0}  # on a terminal, and elsewhere
_READ_BY_A_PROGRAM = "NORTHLIMB_PROGRESS"  # set by one that shows the lines itself, such as the desk
# Control characters but tab and line end; marks that turn the direction of what follows; halves of a character.
_STEERING = re.compile("[\\x00-\\x08\\x0b-\\x1f\\x7f-\\x9f\\u202a-\\u202e\\u2066-\\u2069\\ud800-\\udfff]")
_CLEAR_LINE = "\r\x1b[K"

# The changing line of progress stands on the terminal, and goes before anything else is written.
_progress_shown = False


def fill_closed_streams() -> None:
    """Put an empty stream where the caller closed one, lest a file of the archive get its number."""
    for name, mode in (("stdin", "r"), ("stdout", "w"), ("stderr", "w")):
        if getattr(sys, name) is None:
            setattr(sys, name, Path(os.devnull).open(mode, encoding="utf-8"))


def print_line(text: str = "") -> None:
    """Write a line of the answer to standard output.

    Raises
    ------
    ArchiveError
        The disk behind it is full, or the like.
    BrokenPipeError
        Nobody reads it any more.
    """
    _clear_progress()
    try:
        click.echo(escape_controls(text))
    except BrokenPipeError:
        raise
    except OSError as error:
        silence_stdout()
        raise ArchiveError(f"standard output: cannot be written: {error.strerror or error}") from error


def print_error_line(text: str, *, end_line: bool = True) -> None:
    """Write to standard error; where that cannot be, the work goes on without."""
    _clear_progress()
    _write_error(escape_controls(text), end_line=end_line)


def _write_error(text: str, *, end_line: bool) -> None:
    with contextlib.suppress(OSError, ValueError):
        click.echo(text, err=True, nl=end_line)


def escape_controls(text: str) -> str:
    """Return text with control characters and invalid ones written as JSON escapes.

    Names of files and texts in an archive may hold anything.
    """
    return _STEERING.sub(lambda found: f"\\u{ord(found[0]):04x}", text)


def silence_stdout() -> None:
    """Drop what is still to be written, or the end of the program would try again and fail."""
    with contextlib.suppress(OSError, ValueError):
        number, nothing = sys.stdout.fileno(), os.open(os.devnull, os.O_WRONLY)
        os.dup2(nothing, number)
        os.close(nothing)


def stop_like_ctrl_c() -> None:
    """Let the signal that asks a program to end (SIGTERM) do what Ctrl-C does: stop, and leave nothing half done."""
    signal.signal(signal.SIGTERM, signal.default_int_handler)


def terminal_width() -> int:
    """Return the number of columns for running text."""
    return min(_WIDEST, shutil.get_terminal_size((_WIDEST, 24)).columns)


def progress() -> Callable[[str, int, int], None]:
    """Show progress on stderr once work has taken a second.

    On a terminal that is one changing line, cleared when anything else is written; elsewhere a line at times,
    and one at the end of what a line has announced. For a program that shows them lines come at once and often.
    """
    started, terminal = time.monotonic(), sys.stderr.isatty()
    is_read = _READ_BY_A_PROGRAM in os.environ
    first_after_s, between_s = (0.0 if is_read else _FIRST_AFTER_S), _BETWEEN_S[terminal or is_read]
    shown, told = float("-inf"), ""

    def show(what: str, done: int, total: int) -> None:
        nonlocal shown, told
        global _progress_shown
        now = time.monotonic()
        due = total > 0 and now - started >= first_after_s and now - shown >= between_s
        if not due and not (done == total and told == what):
            return
        shown, told = now, "" if done == total else what
        line = f"{what}: {done} of {total}"
        _clear_progress()
        _write_error(f"{line}\r" if terminal else line, end_line=not terminal)
        _progress_shown = terminal

    return show


def _clear_progress() -> None:
    global _progress_shown
    if _progress_shown:
        _progress_shown = False
        _write_error(_CLEAR_LINE, end_line=False)
