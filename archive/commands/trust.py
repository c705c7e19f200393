"""`northlimb trust`: see what an archive would do beyond its own folder, and allow it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

import click

from archive.commands.options import FOLDER, JSON
from archive.commands.permission import confirm_permission
from archive.commands.printing import print_answer

if TYPE_CHECKING:
    from archive.delivery.trust import TrustStatus

__all__ = ["trust"]


@click.command(
    "trust", short_help="Show and allow what an archive may do.", epilog="Example: northlimb trust my-sun --show"
)
@FOLDER
@click.option("--show", "only_show", is_flag=True, help="Only show what it asks for; change nothing.")
@click.option("--forget", "take_back", is_flag=True, help="Withdraw all permissions.")
@click.option("--yes", is_flag=True, help="Allow without asking.")
@JSON
def trust(folder: Path, only_show: bool, take_back: bool, yes: bool, as_json: bool) -> int:
    """Show what the archive FOLDER would do beyond its own folder, and allow it.

    An archive may come from somebody else. Until you allow it, it sends nothing to the targets that it names, its
    theme shapes no page, its links are not followed, and files that lay in its site are not published. What you have
    seen is remembered in your own configuration folder; when any of it changes you are asked again.
    """
    from archive.delivery import trust as trusting
    from archive.records.folder import named_archive

    if only_show and take_back:
        raise click.UsageError("--show changes nothing: leave out --forget")
    root = named_archive(folder)
    found = trusting.asked_of(root)
    if take_back:
        found = trusting.withdraw(root)
    elif not only_show and (yes or confirm_permission(root, found)):
        found = trusting.trust(root)
    grants = [asdict(grant) | {"allowed": grant in found.allowed} for grant in found.grants]
    print_answer({"status": "done", "grants": grants}, _lines(folder, found), as_json=as_json)
    return 0 if only_show or take_back or len(found.allowed) == len(found.grants) else 1


def _lines(folder: Path, found: TrustStatus) -> Iterator[str]:
    """Return what an archive asks for, and what of it is allowed."""
    if not found.grants:
        yield f"{folder}: asks for nothing beyond its own folder"
    for grant in found.grants:
        yield f"{'allowed' if grant in found.allowed else 'not allowed'}: {grant.words}"
