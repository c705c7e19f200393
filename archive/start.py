"""The first step of the command: until the rest is loaded Ctrl-C ends it as it does later, without a traceback."""

from __future__ import annotations

import os
import signal
import sys

__all__ = ["run"]

_STOPPED = 130


def run() -> None:
    """Load the command line and run it; never returns."""
    signal.signal(signal.SIGINT, _stop)
    from archive.commands.main import run as run_command

    signal.signal(signal.SIGINT, signal.default_int_handler)
    run_command()


def _stop(number: int, frame: object) -> None:
    """Nothing is under way yet, so nothing has to be cleared up."""
    if sys.stderr is not None:
        os.write(2, b"stopped\n")
    os._exit(_STOPPED)
