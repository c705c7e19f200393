"""`northlimb verify`: check every original, and bring whole copies back."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

import click

from archive.commands.options import FOLDER, JSON
from archive.commands.permission import open_archive
from archive.commands.printing import format_count, print_answer, print_causes, print_warnings
from archive.commands.streams import progress

if TYPE_CHECKING:
    from archive.upkeep.restoration import Copy
    from archive.upkeep.verification import VerificationReport

__all__ = ["verify"]

_REPAIR = "run `northlimb verify --repair`, which"


@click.command(
    "verify",
    short_help="Check every original.",
    epilog="Example: northlimb verify my-sun --against /mnt/second-copy/my-sun",
)
@FOLDER
@click.option(
    "--repair",
    "repair_too",
    is_flag=True,
    help="Clear what an interrupted run left, and correct checksums.sha256 where an original matches its record.",
)
@click.option(
    "--against",
    multiple=True,
    type=click.Path(path_type=Path),
    metavar="DIR",
    help="A second archive, or a folder with copies of the pictures, where whole copies are looked for; repeatable.",
)
@click.option("--restore", "restore_too", is_flag=True, help="Bring whole copies back, after asking.")
@click.option("--yes", is_flag=True, help="Restore without asking.")
@JSON
def verify(
    folder: Path, repair_too: bool, against: tuple[Path, ...], restore_too: bool, yes: bool, as_json: bool
) -> int:
    """Read every original of the archive FOLDER and compare it with its checksum; read what you wrote in it, too.

    What has changed or is gone is named, and which copy still has it. Nothing is deleted: with --restore the damaged
    file goes to a dated folder in `removed/`.
    """
    from archive.upkeep import restoration, verification

    files, may_restore = open_archive(folder), _may_restore(restore_too, yes=yes)
    check = verification.repair if repair_too else verification.verify
    found = check(files, on_progress=progress())
    copies = restoration.find_copies(files, found, against, on_progress=progress())
    restored: tuple[str, ...] = ()
    if restore_too and copies and may_restore(copies):
        restored = restoration.restore(files, copies, on_progress=progress())
        found = check(files, on_progress=progress())
        copies = restoration.find_copies(files, found, against, on_progress=progress())
    _print_verified(found, copies, restored, as_json=as_json)
    return 0 if found.clean else 1


def _may_restore(wanted: bool, *, yes: bool) -> Callable[[Sequence[Copy]], bool]:
    """Return the prompt before copies replace damaged files; without a terminal --yes is required."""
    if wanted and not yes and not sys.stdin.isatty():
        raise click.UsageError("--restore asks before it changes anything; give --yes where there is no terminal")

    def asked(copies: Sequence[Copy]) -> bool:
        for copy in copies:
            click.echo(f"{copy.file}: from {copy.path or 'its remembered text'}", err=True)
        return yes or click.confirm("Restore these? Damaged files are kept in removed/", err=True)

    return asked


def _print_verified(
    found: VerificationReport, copies: Sequence[Copy], restored: Sequence[str], *, as_json: bool
) -> None:
    """Print a line for each original that is not as it was filed, and for each damaged text file."""
    for advice, files in _findings(found, {copy.file: copy for copy in copies}):
        print_causes(f"{file}: {advice(file)}" for file in files)
    print_causes(found.bad_records)
    print_warnings(found.warnings)
    print_warnings(
        f"{file}: a further picture that is not in checksums.sha256: {_REPAIR} adds it as it is now"
        for file in found.unlisted_extras
    )
    status = "done" if found.clean else "refused"
    answer = {"status": status, **asdict(found), "copies": list(map(asdict, copies)), "restored": list(restored)}
    lines = [
        *(f"{name}: repaired" for name in found.repaired),
        *(f"{name}: restored" for name in restored),
        f"{format_count(found.checked, 'original')} read; {'all' if found.clean else 'not all'} as filed",
    ]
    print_answer(answer, lines, as_json=as_json)


def _findings(
    found: VerificationReport, copies: Mapping[str, Copy]
) -> Iterator[tuple[Callable[[str], str], Sequence[str]]]:
    """Yield the message for each kind of fault, and the files that have it."""

    def from_copy(what: str) -> Callable[[str], str]:
        return lambda file: f"{what}; {_whole_copy(copies.get(file))}"

    def record_of(file: str) -> str:
        record = Path(file).with_suffix(".toml").as_posix()
        return f"without a record: its capture time is unknown; {_whole_copy(copies.get(record))}"

    yield from_copy("changed: not the bytes that were filed"), found.changed
    yield from_copy("missing"), found.missing
    yield from_copy("changed without being edited (its modification time is the same)"), found.rotted
    yield from_copy("is gone (put an empty file in its place if that is intended)"), found.lost_notes
    yield record_of, found.without_record
    for advice, files in (
        (f"not in checksums.sha256, but its record agrees: {_REPAIR} adds it", found.unlisted),
        (
            f"wrong in checksums.sha256 (bytes and record agree): {_REPAIR} corrects the line",
            found.wrong_lines,
        ),
        (f"file name has the wrong case: {_REPAIR} renames it", found.misspelt),
        ("duplicate picture: remove one of them with `northlimb remove`", found.doubles),
        ("does not belong there (a link is not followed, nor is such a folder read); move it elsewhere", found.strange),
        (f"left by an interrupted run: {_REPAIR} finishes or clears it", found.leftovers),
        (
            "extra: not in checksums.sha256; file it with `northlimb add` (--extra where it is no picture of the "
            "whole disc), then remove this copy",
            found.extra,
        ),
    ):
        yield _always(advice), files


def _always(advice: str) -> Callable[[str], str]:
    return lambda _: advice


def _whole_copy(copy: Copy | None) -> str:
    if copy is None:
        return "bring it back from a copy (`verify --against DIR` looks for one)"
    where = "its remembered text" if copy.path is None else f"{copy.path} has it whole"
    return f"{where}: `northlimb verify --restore` with the same --against brings it back"
