"""`northlimb export`: export the archive as a BagIt bag."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path

import click

from archive.commands.options import FOLDER, JSON
from archive.commands.permission import open_archive
from archive.commands.printing import format_count, print_answer, print_warnings
from archive.commands.streams import progress, stop_like_ctrl_c

__all__ = ["export"]


@click.command(
    "export",
    short_help="Export the archive as a BagIt bag.",
    epilog="Example: northlimb export my-sun --bag /mnt/deposit/my-sun-bag",
)
@FOLDER
@click.option("--bag", required=True, type=click.Path(path_type=Path), metavar="DIR", help="The bag: a new folder.")
@JSON
def export(folder: Path, bag: Path, as_json: bool) -> None:
    """Copy all that is yours of the archive FOLDER into a BagIt bag (RFC 8493), with the checksums of every file.

    Derived things and the site stay behind: `northlimb build` makes them from the bag's `data` folder.
    """
    from archive.upkeep.export import export_bag

    stop_like_ctrl_c()
    exported = export_bag(open_archive(folder), bag, on_progress=progress())
    print_warnings(exported.warnings)
    line = f"{format_count(exported.files, 'file')} ({exported.bytes / 1e6:.1f} MB) in the bag {exported.bag}"
    print_answer({"status": "done", **asdict(exported)}, [line], as_json=as_json)
