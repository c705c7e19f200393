"""What the commands say that keep an archive for long: verify, remove, amend, export."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

from archive.command_output import count_words, print_answer, print_causes, print_warnings
from archive.command_streams import out

if TYPE_CHECKING:
    from archive.upkeep.amendment import Amended
    from archive.upkeep.export import Exported
    from archive.upkeep.removal import Moved
    from archive.upkeep.restoration import Copy
    from archive.upkeep.verification import Verified

__all__ = ["print_amended", "print_exported", "print_moved", "print_verified"]

_NEXT = "next: northlimb build {folder} (and publish) brings the site up to date"


def print_moved(moved: Moved, folder: Path, *, undone: bool, as_json: bool) -> None:
    """Where an observation went, or that it is back, and how to undo that."""
    if as_json:
        print_answer({"status": "done", **asdict(moved)}, as_json=True)
        return
    if undone:
        out(f"{moved.id} is back from {moved.kept_in}: {', '.join(moved.files)}")
    else:
        out(f"{moved.id} is out of the archive; {moved.kept_in} keeps {', '.join(moved.files)}")
        out(f"undo: northlimb remove {folder} {moved.id} --undo")
    out(_NEXT.format(folder=folder))


def print_amended(changed: Amended, folder: Path, *, undone: bool, as_json: bool) -> None:
    """Former and new name and time, and how to undo that."""
    print_warnings(changed.warnings)
    if as_json:
        print_answer({"status": "done", **asdict(changed)}, as_json=True)
        return
    out(
        f"{changed.former_id} ({changed.former_time_utc:%Y-%m-%d %H:%M:%S} UTC) is now {changed.id} "
        f"({changed.time_utc:%Y-%m-%d %H:%M:%S} UTC); {changed.kept_in} keeps its former record"
    )
    if undone:
        out(f"redo: northlimb amend {folder} {changed.id} --time {changed.former_time_utc:%Y-%m-%dT%H:%M:%SZ}")
    else:
        out(f"undo: northlimb amend {folder} {changed.id} --undo")
    out(_NEXT.format(folder=folder))


def print_exported(exported: Exported, *, as_json: bool) -> None:
    """Where the bag is, and what is in it."""
    print_warnings(exported.warnings)
    if as_json:
        print_answer({"status": "done", **asdict(exported)}, as_json=True)
        return
    out(f"{count_words(exported.files, 'file')} ({exported.bytes / 1e6:.1f} MB) in the bag {exported.bag}")


_REPAIR = "run `northlimb verify --repair`, which"


def print_verified(found: Verified, copies: Sequence[Copy], restored: Sequence[str], *, as_json: bool) -> None:
    """A line for each original that is not as it was filed, and for each word that rotted."""
    for advice, files in _findings(found, {copy.file: copy for copy in copies}):
        print_causes(f"{file}: {advice(file)}" for file in files)
    print_causes(found.bad_records)
    print_warnings(found.warnings)
    if as_json:
        status = "done" if found.clean else "refused"
        answer = {"status": status, **asdict(found), "copies": list(map(asdict, copies)), "restored": list(restored)}
        print_answer(answer, as_json=True)
        return
    for name in found.repaired:
        out(f"{name}: put right")
    for name in restored:
        out(f"{name}: restored")
    out(f"{count_words(found.checked, 'original')} read; {'all' if found.clean else 'not all'} as filed")


def _findings(found: Verified, copies: Mapping[str, Copy]) -> Iterator[tuple[Callable[[str], str], Sequence[str]]]:
    """What to say of each kind of fault, and of which files."""

    def from_copy(what: str) -> Callable[[str], str]:
        return lambda file: f"{what}; {_whole_copy(copies.get(file))}"

    def record_of(file: str) -> str:
        record = Path(file).with_suffix(".toml").as_posix()
        return f"without a record: nothing tells when it was taken; {_whole_copy(copies.get(record))}"

    yield from_copy("changed: its bytes are not those that were filed"), found.changed
    yield from_copy("missing"), found.missing
    yield from_copy("changed though nobody edited it (its time is the same)"), found.rotted
    yield from_copy("is gone (an empty file in its place says that it is meant)"), found.lost_notes
    yield record_of, found.without_record
    for advice, files in (
        (f"not in checksums.sha256, but its record agrees: {_REPAIR} adds it", found.unlisted),
        (
            f"wrong in checksums.sha256: bytes and record agree against it: {_REPAIR} corrects the line",
            found.wrong_lines,
        ),
        (f"its name is written in other letters than ours: {_REPAIR} renames it", found.misspelt),
        ("the same picture twice: take one of them out by `northlimb remove`", found.doubles),
        ("does not belong there (a link is not followed, nor is such a folder read); move it elsewhere", found.strange),
        (f"left by a run that was stopped: {_REPAIR} finishes or clears it", found.leftovers),
        ("extra: not in checksums.sha256; file it with `northlimb add`, then remove this copy", found.extra),
    ):
        yield _always(advice), files


def _always(advice: str) -> Callable[[str], str]:
    return lambda _: advice


def _whole_copy(copy: Copy | None) -> str:
    if copy is None:
        return "bring it back from a copy (`verify --against DIR` looks for one)"
    where = "what was remembered of it" if copy.path is None else f"{copy.path} has it whole"
    return f"{where}: `northlimb verify --restore` with the same --against brings it back"
