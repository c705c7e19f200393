"""Run a command; failures are printed by `failure.py`."""

from __future__ import annotations

import gc
import sys
from typing import NoReturn

from archive.commands.group import northlimb

__all__ = ["main", "run"]


def run() -> NoReturn:
    """Run the `northlimb` command as it was called."""
    if None in (sys.stdin, sys.stdout, sys.stderr):
        from archive.commands.streams import fill_closed_streams

        fill_closed_streams()
    # A long archive is many small values that all live to the end: looking for dead ones among them costs a fifth.
    gc.set_threshold(50_000, 20, 20)
    sys.exit(main())


def main(argv: list[str] | None = None) -> int:
    """Run a command.

    Parameters
    ----------
    argv : list of str, optional
        Arguments after `northlimb`; by default those of this process.

    Returns
    -------
    int
        The exit status: 0 done, 1 refused, 2 misuse, 130 stopped by Ctrl-C.
    """
    words = sys.argv[1:] if argv is None else argv
    try:
        return int(northlimb.main(args=words, prog_name="northlimb", standalone_mode=False) or 0)
    except (Exception, KeyboardInterrupt) as error:
        from archive.commands.failure import print_failure

        return print_failure(error, as_json="--json" in words)
