"""Failures of commands, as lines for the user and an exit status."""

from __future__ import annotations

from contextlib import suppress

import click

from archive.commands.printing import causes_of, print_json, print_refusal
from archive.commands.streams import print_error_line, silence_stdout
from archive.errors import ArchiveError

__all__ = ["print_failure"]


def print_failure(error: BaseException, *, as_json: bool) -> int:
    """Print what went wrong and return the exit status: 1 refused, 2 misuse, 130 stopped by Ctrl-C.

    Raises
    ------
    BaseException
        The error itself, where it is a defect of the program and its traceback is needed.
    """
    try:
        return _print_failure(error, as_json=as_json)
    except BrokenPipeError:  # whoever read the answer has read enough
        silence_stdout()
        return 1


def _print_failure(error: BaseException, *, as_json: bool) -> int:
    if isinstance(error, click.ClickException):
        return _print_misuse(error, as_json=as_json)
    if isinstance(error, (click.exceptions.Abort, KeyboardInterrupt)):
        print_error_line("stopped")
        return 130
    if isinstance(error, (ArchiveError, OSError)):
        print_refusal(causes_of(error), as_json=as_json)
        return 1
    raise error


def _print_misuse(error: click.ClickException, *, as_json: bool) -> int:
    with suppress(OSError):
        error.show()
    if as_json:
        print_json({"status": "misuse", "causes": error.format_message().splitlines()})
    return error.exit_code
