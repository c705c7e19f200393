"""The first step of the command: until the rest is loaded Ctrl-C ends it as it does later, without a traceback."""

from __future__ import annotations

import gc
import os
import signal
import sys

__all__ = ["run", "run_desk"]

_STOPPED = 130
# New objects less those gone, between looks for cycles: with the usual 700 a long archive costs a quarter more time.
_OBJECTS_BETWEEN_LOOKS = (50_000, 20, 100)


def run() -> None:
    """Load the command line and run it; never returns."""
    signal.signal(signal.SIGINT, _stop)
    gc.set_threshold(*_OBJECTS_BETWEEN_LOOKS)
    # NumPy's matrices are small here: a second thread of its library saves nothing, and beside other work both wait for
    # each other, which took `add` of eight pictures from 8 to 34 s. Whoever sets the variable has it so.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    from archive.commands.main import run as run_command

    signal.signal(signal.SIGINT, signal.default_int_handler)
    run_command()


def run_desk() -> None:
    """Run `northlimb desk` from an icon, where there is no terminal; never returns."""
    sys.argv[1:1] = ["desk", "--from-icon"]
    run()


def _stop(number: int, frame: object) -> None:
    """Nothing is under way yet, so nothing has to be cleared up."""
    if sys.stderr is not None:
        os.write(2, b"stopped\n")
    os._exit(_STOPPED)
