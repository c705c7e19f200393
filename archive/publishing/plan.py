"""What has to travel for a target to hold exactly the site, in which order, and what has to go."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import PurePosixPath

from archive.errors import PublishError
from archive.publishing.digests import Digest
from archive.publishing.manifest import GENERATOR, MANIFEST, Manifest
from archive.publishing.originals import original_or_history
from archive.publishing.tree import is_kept, part_of

__all__ = [
    "Plan",
    "batches",
    "foreign_refusal",
    "holds_refusal",
    "in_the_way",
    "make_plan",
    "ours_in",
    "refuse_foreign",
    "some",
    "turn",
]

_NAMES_SHOWN = 5


@dataclass(frozen=True)
class Plan:
    """Names below the site's root: `send` in the order of travel, the others sorted.

    `foreign` are those of `remove` that no publication of ours had put there.
    """

    send: tuple[str, ...]
    unchanged: tuple[str, ...]
    remove: tuple[str, ...]
    foreign: tuple[str, ...] = ()


def make_plan(site: Mapping[str, Digest], held: Manifest, sizes: Mapping[str, int], *, keep: Collection[str]) -> Plan:
    """Compare the site with what a target lists and with the sizes that were found there.

    A file stays where the target's list gives the same digest and the file has that size; anything else travels.
    """
    unchanged = [name for name, digest in site.items() if held.files.get(name) == digest == _found(name, held, sizes)]
    same = set(unchanged)
    ours = ours_in(site, held)
    gone = sorted(name for name in sizes if name not in site and name != MANIFEST and not is_kept(name, keep))
    foreign = tuple(name for name in gone if name not in ours)
    return Plan(tuple(sorted(site.keys() - same, key=turn)), tuple(unchanged), tuple(gone), foreign)


def ours_in(site: Collection[str], held: Manifest) -> Collection[str]:
    """Names that publications of ours put into a target, or are about to, with those under which bytes arrive."""
    ours = {MANIFEST, *site, *held.rows, *held.pending}
    return ours | {part_of(name) for name in ours}


def _found(name: str, held: Manifest, sizes: Mapping[str, int]) -> Digest | None:
    """What the target's list says of a file, if it has that size."""
    listed = held.files.get(name)
    return listed if listed is not None and sizes.get(name) == listed.size else None


def turn(name: str) -> tuple[int, str]:
    """A file's turn: pictures and data before the pages that show them, the home page last."""
    if name == "index.html":
        return 3, name
    return (2 if name.endswith((".html", ".xml")) else 1), name


def batches(names: Iterable[str], sizes: Mapping[str, Digest], *, files: int, size: int) -> Iterator[list[str]]:
    """Cut names, in the order of travel, into batches of one turn, so many files and so many bytes at most."""
    batch: list[str] = []
    held = 0
    for name in names:
        full = len(batch) == files or held + sizes[name].size > size
        if batch and (full or turn(batch[0])[0] != turn(name)[0]):
            yield batch
            batch, held = [], 0
        batch.append(name)
        held += sizes[name].size
    if batch:
        yield batch


def in_the_way(plan: Plan) -> tuple[str, ...]:
    """Files to remove before anything is sent: where a folder must come, and in folders where a file must come."""
    sent = set(plan.send)
    needed = {str(folder) for name in plan.send for folder in PurePosixPath(name).parents}
    return tuple(
        name
        for name in plan.remove
        if name in needed or any(str(folder) in sent for folder in PurePosixPath(name).parents)
    )


def refuse_foreign(place: str, plan: Plan, names: Collection[str], *, ours: bool, adopt: bool) -> None:
    """Raise PublishError where a target holds what must not be removed, or not without being told.

    Originals and histories are never removed, whatever `adopt` says. `names` are those found that are not kept.
    """
    if found := original_or_history(names):
        raise holds_refusal(place, found)
    strangers = [name for name in names if ours or name != part_of(MANIFEST)]
    if strangers and not ours and not adopt:
        raise PublishError(
            f"{place}: target holds other files and no {MANIFEST} of {GENERATOR}: {some(strangers)}; "
            "empty it, choose another, or take it over with --adopt, which removes them"
        )
    if plan.foreign and not adopt:
        raise foreign_refusal(place, plan.foreign)


def holds_refusal(place: object, found: str) -> PublishError:
    """What is said of a target with an archive or a version history in it."""
    return PublishError(f"{place}: target holds {found}: choose a place for the site alone")


def foreign_refusal(place: object, foreign: Collection[str]) -> PublishError:
    """What is said of files in a target of ours that are not of the site."""
    return PublishError(
        f"{place}: holds files that are not of this site: {some(foreign)}; move them away (or into the site's "
        "folder, to be published with it), name them in the target's `keep`, or --adopt removes them"
    )


def some(names: Iterable[str]) -> str:
    """The first few names, and how many more there are."""
    listed = list(names)
    more = len(listed) - _NAMES_SHOWN
    return ", ".join(listed[:_NAMES_SHOWN]) + (f" and {more} more" if more > 0 else "")
