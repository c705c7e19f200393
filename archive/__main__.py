"""``python -m archive`` is the `northlimb` command."""

from archive.cli import run

run()
