"""`northlimb preview`: show the site on this computer only, and build it again when something changes."""

from __future__ import annotations

import sys
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING

import click

from archive.commands.options import FOLDER, JSON, SITE_DIR
from archive.commands.permission import open_archive
from archive.commands.printing import (
    format_count,
    json_fields,
    print_answer,
    print_refusal,
    print_warnings,
)
from archive.commands.streams import progress, stop_like_ctrl_c
from archive.commands.values import WholeNumberRange

if TYPE_CHECKING:
    from archive.delivery.preview import PreviewEvent

__all__ = ["preview"]


@click.command(
    "preview", short_help="Show the site on this computer only.", epilog="Example: northlimb preview my-sun --port 8000"
)
@FOLDER
@click.option("--port", type=WholeNumberRange(0, 65535), default=8000, show_default=True, help="0: any free port.")
@SITE_DIR
@JSON
def preview(folder: Path, port: int, site_dir: Path | None, as_json: bool) -> None:
    """Build the site and show it on this computer only, until Ctrl-C.

    When a picture, a record, a note or archive.toml changes, the site is built again and open pages reload; where
    that is refused the reason is shown here, and the site stays as it was.
    """
    from archive.delivery.preview import preview as preview_archive

    stop_like_ctrl_c()
    files = open_archive(folder, "theme")
    with closing(preview_archive(files, site_dir=site_dir, port=port, new_progress=progress)) as events:
        for event in events:
            _print_event(event, as_json=as_json)
            sys.stdout.flush()


def _print_event(event: PreviewEvent, *, as_json: bool) -> None:
    """Where to point the browser; then a line whenever the site was built again, or the reasons why not."""
    from archive.built import Built
    from archive.delivery.preview import Refused

    if isinstance(event, Refused):
        print_refusal(event.causes, as_json=as_json)
    elif isinstance(event, Built):
        print_warnings(event.warnings)
        line = f"built again: {format_count(event.report.written, 'file')} written, {event.report.removed} removed"
        print_answer({"status": "rebuilt", **json_fields(event)}, [line], as_json=as_json)
    else:
        line = f"showing {event.site_dir} at {event.address} (Ctrl-C stops)"
        print_answer({"status": "serving", "address": event.address}, [line], as_json=as_json)
