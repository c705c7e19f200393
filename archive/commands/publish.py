"""`northlimb publish`: send the built site to where it is served, or compare what is there."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from archive.commands.options import FOLDER, JSON, SITE_DIR
from archive.commands.permission import open_archive
from archive.commands.printing import format_count, json_fields, one_line, print_causes, print_json, print_warnings
from archive.commands.streams import print_line, progress

if TYPE_CHECKING:
    from archive.delivery.publication import DryRun, PublishResult
    from archive.site_tree.checking import Checked

__all__ = ["print_published", "publish"]


@click.command(
    "publish",
    short_help="Send the site to where it is served.",
    epilog="Example: northlimb publish my-sun sftp://observer@example.org/srv/www/sun --dry-run",
)
@FOLDER
@click.argument("target", required=False)
@SITE_DIR
@click.option("--adopt", is_flag=True, help="Take over a target that holds other files: they are removed.")
@click.option("--dry-run", is_flag=True, help="List what would travel and what would be removed; change nothing.")
@click.option(
    "--check",
    "check_place",
    metavar="PLACE",
    help="Send nothing: read back every file at PLACE, the site's web address or a target, and compare it with the "
    "built site.",
)
@JSON
def publish(folder: Path, target: str | None, as_json: bool, dry_run: bool, check_place: str | None, **how: Any) -> int:
    """Send the built site to TARGET, a name among the targets of archive.toml or a place.

    \b
    A place is one of
      a folder, or a file name that ends in .zip
      rsync+ssh://, sftp://, ftps://, webdavs:// or webdav:// USER@HOST/PATH
      s3://BUCKET/PREFIX
      git+ssh://, git+https:// or git+file:// and a repository, then #BRANCH

    Only what changed travels. Passwords come from the environment (NORTHLIMB_PASSWORD), from ~/.netrc or from
    your keys, never from a URL.
    """
    from archive.delivery import publication

    root = open_archive(folder, "theme", *(() if target else ("target",)), "site-files")
    if check_place is not None:
        if target is not None or dry_run or how["adopt"]:
            raise click.UsageError("--check sends nothing: leave out TARGET, --dry-run and --adopt")
        found = publication.check(root, check_place, site_dir=how["site_dir"], on_progress=progress())
        _print_checked(found, as_json=as_json)
        return 0 if found.same else 1
    wanted = publication.PublishRequest(target, **how)
    if dry_run:
        _print_rehearsed(publication.rehearse(root, wanted, on_progress=progress()), as_json=as_json)
    else:
        _print_sent(publication.publish(root, wanted, on_progress=progress()), as_json=as_json)
    return 0


def _print_sent(sent: PublishResult, *, as_json: bool) -> None:
    if as_json:
        _warn_of_foreign_files(sent)
        print_json({"status": "done", **json_fields(sent)})
    else:
        print_published(sent)


def print_published(sent: PublishResult) -> None:
    """Print what travelled, and warn of what was removed that the site had not brought."""
    _warn_of_foreign_files(sent)
    report = sent.report
    print_line(
        f"published to {sent.target}: {format_count(report.copied, 'file')} sent "
        f"({report.bytes_copied / 1e6:.1f} MB), {report.unchanged} unchanged, {report.removed} removed"
    )


def _warn_of_foreign_files(sent: PublishResult) -> None:
    foreign = sent.report.not_of_the_site
    if foreign:
        print_warnings([f"{sent.target}: removed files that were not of this site: {', '.join(foreign)}"])


def _print_rehearsed(coming: DryRun, *, as_json: bool) -> None:
    """Print what would be sent."""
    if as_json:
        print_json({"status": "done", "dry_run": True, **json_fields(coming)})
        return
    for word, names in (("send", coming.send), ("remove", coming.remove)):
        for name in names:
            print_line(f"{word}  {one_line(name)}")
    report = coming.report
    print_line(
        f"to {coming.target}: {format_count(report.copied, 'file')} to send ({report.bytes_copied / 1e6:.1f} MB), "
        f"{report.unchanged} unchanged, {report.removed} to remove; nothing was changed"
    )


def _print_checked(found: Checked, *, as_json: bool) -> None:
    """A line for each file that is not as built."""
    for advice, names in (("missing there", found.missing), ("not the built site's bytes", found.changed)):
        print_causes(f"{found.place}: {name}: {advice}; publish again" for name in names)
    if as_json:
        print_json({"status": "done" if found.same else "refused", **json_fields(found)})
        return
    print_line(
        f"{format_count(found.checked, 'file')} read back from {found.place}; "
        f"{'all' if found.same else 'not all'} as built"
    )
