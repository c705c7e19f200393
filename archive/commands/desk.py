"""`northlimb desk`: work on an archive in the browser, on this computer only."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from archive.commands.options import JSON
from archive.commands.permission import open_archive
from archive.commands.printing import print_answer
from archive.commands.streams import stop_like_ctrl_c

__all__ = ["desk"]


@click.command("desk", short_help="Work on an archive in the browser.", epilog="Example: northlimb desk my-sun")
@click.argument("folder", type=click.Path(path_type=Path), required=False)
@click.option("--no-open", is_flag=True, help="Only print the address; do not open the browser.")
@click.option("--starter", is_flag=True, help="Only make an icon that starts the desk, in the menu or on the desktop.")
@click.option("--from-icon", is_flag=True, hidden=True, help="Show in the browser why it did not start.")
@JSON
def desk(folder: Path | None, no_open: bool, starter: bool, from_icon: bool, as_json: bool) -> None:
    """Open the desk of the archive FOLDER in the browser: see what was found in each picture, and put it right there.

    Only this computer reaches it, and only who has the address, which is good for one use. Without FOLDER it is the
    archive that was at the desk last; a FOLDER without an archive begins with the form of a new one. It ends with
    Quit, or some seconds after its last page was closed.
    """
    if starter:
        _make_starter(folder, as_json=as_json)
        return
    try:
        _serve(folder, no_open=no_open, as_json=as_json)
    except Exception as error:
        if from_icon:
            from archive.desk.failed_start import show_failed_start

            show_failed_start(error)
        raise


def _serve(folder: Path | None, *, no_open: bool, as_json: bool) -> None:
    from archive.desk.beginning import is_new
    from archive.desk.last_archives import last_archive, remember_archive
    from archive.desk.serving import serve_desk

    stop_like_ctrl_c()
    place = last_archive() if folder is None else folder
    if not is_new(place):
        open_archive(place, "theme")
    remember_archive(place)

    def opened(address: str) -> None:
        line = f"the desk of {place} is at {address} (good for one use; Quit there, or Ctrl-C here, ends it)"
        print_answer({"status": "serving", "address": address}, [line], as_json=as_json)
        sys.stdout.flush()
        if not no_open:
            import webbrowser

            webbrowser.open(address)

    serve_desk(place, on_address=opened)


def _make_starter(folder: Path | None, *, as_json: bool) -> None:
    from archive.desk.starter import write_starter

    made = write_starter(folder)
    print_answer(
        {"status": "done", "starter": made}, [f"{made} starts the desk; delete it to be rid of it"], as_json=as_json
    )
