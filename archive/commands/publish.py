"""`northlimb publish`: send the built site to where it is served, or compare what is there."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from archive.commands.options import FOLDER, JSON, SITE_DIR
from archive.commands.permission import can_ask, open_archive
from archive.commands.printing import (
    format_count,
    json_fields,
    one_line,
    print_answer,
    print_causes,
    print_warnings,
)
from archive.commands.streams import progress, stop_like_ctrl_c

if TYPE_CHECKING:
    from archive.delivery.publication import DryRun, PublishResult
    from archive.site_tree.checking import Checked

__all__ = ["publish", "published_line", "warn_of_foreign_files"]


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
@click.option("--try", "only_try", is_flag=True, help="Only see whether the target is reached and would take the site.")
@JSON
def publish(
    folder: Path,
    target: str | None,
    as_json: bool,
    dry_run: bool,
    check_place: str | None,
    only_try: bool,
    **how: Any,
) -> int:
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

    stop_like_ctrl_c()
    files = open_archive(folder, "theme", *(() if target else ("target",)), "site-files")
    if check_place is not None:
        if target is not None or dry_run or only_try or how["adopt"]:
            raise click.UsageError("--check sends nothing: leave out TARGET, --dry-run, --try and --adopt")
        found = publication.check(files, check_place, site_dir=how["site_dir"], on_progress=progress())
        _print_checked(found, as_json=as_json)
        return 0 if found.same else 1
    wanted = publication.PublishRequest(target, **how)
    if only_try:
        name = publication.check_target(files, target, adopt=how["adopt"])
        line = f"{name}: reached, and would take the site; nothing was changed"
        print_answer({"status": "done", "target": name}, [line], as_json=as_json)
    elif dry_run:
        coming = publication.rehearse(files, wanted, on_progress=progress())
        print_warnings(coming.warnings)
        answer = {"status": "done", "dry_run": True, **json_fields(coming)}
        print_answer(answer, _rehearsed_lines(coming), as_json=as_json)
    else:
        if target is not None and can_ask() and publication.is_new_folder(files, target):
            click.confirm(f"{target}: no target of archive.toml, and no such folder; make it?", abort=True, err=True)
        sent = publication.publish(files, wanted, on_progress=progress())
        print_warnings(sent.warnings)
        warn_of_foreign_files(sent)
        print_answer({"status": "done", **json_fields(sent)}, [published_line(sent)], as_json=as_json)
    return 0


def published_line(sent: PublishResult) -> str:
    """Return what travelled."""
    report = sent.report
    return (
        f"published to {sent.target}: {format_count(report.copied, 'file')} sent "
        f"({report.bytes_copied / 1e6:.1f} MB), {report.unchanged} unchanged, {report.removed} removed"
    )


def warn_of_foreign_files(sent: PublishResult) -> None:
    """Name what was removed that the site had not brought."""
    foreign = sent.report.not_of_the_site
    if foreign:
        print_warnings([f"{sent.target}: removed files that were not of this site: {', '.join(foreign)}"])


def _rehearsed_lines(coming: DryRun) -> Iterator[str]:
    """Return what would be sent."""
    for word, names in (("send", coming.send), ("remove", coming.remove)):
        for name in names:
            yield f"{word}  {one_line(name)}"
    report = coming.report
    yield (
        f"to {coming.target}: {format_count(report.copied, 'file')} to send ({report.bytes_copied / 1e6:.1f} MB), "
        f"{report.unchanged} unchanged, {report.removed} to remove; nothing was changed"
    )


def _print_checked(found: Checked, *, as_json: bool) -> None:
    """A line for each file that is not as built."""
    for advice, names in (("missing there", found.missing), ("not the built site's bytes", found.changed)):
        print_causes(f"{found.place}: {name}: {advice}; publish again" for name in names)
    line = (
        f"{format_count(found.checked, 'file')} read back from {found.place}; "
        f"{'all' if found.same else 'not all'} as built"
    )
    print_answer({"status": "done" if found.same else "refused", **json_fields(found)}, [line], as_json=as_json)
