"""The upload plan: which files to send, in which order, and which to remove."""

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
    "foreign_files_error",
    "in_the_way",
    "make_plan",
    "original_found_error",
    "our_names",
    "refuse_foreign",
    "some",
    "upload_order",
]

_NAMES_SHOWN = 5


@dataclass(frozen=True)
class Plan:
    """Names below the site's root: `send` in upload order, the others sorted.

    `foreign` are those of `remove` that were not published by this program.
    """

    send: tuple[str, ...]
    unchanged: tuple[str, ...]
    remove: tuple[str, ...]
    foreign: tuple[str, ...] = ()


def make_plan(site: Mapping[str, Digest], held: Manifest, sizes: Mapping[str, int], *, keep: Collection[str]) -> Plan:
    """Return the plan from the site, the target's manifest and the sizes found there.

    A file is unchanged if the manifest has the same digest and the file has that size; all others are sent.
    """
    unchanged = [
        name for name, digest in site.items() if held.files.get(name) == digest == _recorded_digest(name, held, sizes)
    ]
    same = set(unchanged)
    ours = our_names(site, held)
    gone = sorted(name for name in sizes if name not in site and name != MANIFEST and not is_kept(name, keep))
    foreign = tuple(name for name in gone if name not in ours)
    return Plan(tuple(sorted(site.keys() - same, key=upload_order)), tuple(unchanged), tuple(gone), foreign)


def our_names(site: Collection[str], held: Manifest) -> Collection[str]:
    """Return the names that this program has put into a target, or is about to, with their temporary names."""
    ours = {MANIFEST, *site, *held.rows, *held.pending}
    return ours | {part_of(name) for name in ours}


def _recorded_digest(name: str, held: Manifest, sizes: Mapping[str, int]) -> Digest | None:
    """Return a file's digest in the target's manifest, if the file has that size."""
    listed = held.files.get(name)
    return listed if listed is not None and sizes.get(name) == listed.size else None


def upload_order(name: str) -> tuple[int, str]:
    """Return a file's rank in the upload: pictures and data before the pages that show them, the home page last."""
    if name == "index.html":
        return 3, name
    return (2 if name.endswith((".html", ".xml")) else 1), name


def batches(names: Iterable[str], sizes: Mapping[str, Digest], *, files: int, size: int) -> Iterator[list[str]]:
    """Yield batches of names in upload order; a batch has one rank, and at most so many files and bytes."""
    batch: list[str] = []
    held = 0
    for name in names:
        full = len(batch) == files or held + sizes[name].size > size
        if batch and (full or upload_order(batch[0])[0] != upload_order(name)[0]):
            yield batch
            batch, held = [], 0
        batch.append(name)
        held += sizes[name].size
    if batch:
        yield batch


def in_the_way(plan: Plan) -> tuple[str, ...]:
    """Return files to remove before uploading: where a folder is needed, and in folders where a file is needed."""
    sent = set(plan.send)
    needed = {str(folder) for name in plan.send for folder in PurePosixPath(name).parents}
    return tuple(
        name
        for name in plan.remove
        if name in needed or any(str(folder) in sent for folder in PurePosixPath(name).parents)
    )


def refuse_foreign(place: str, plan: Plan, names: Collection[str], *, ours: bool, adopt: bool) -> None:
    """Raise PublishError where a target holds files that must not be removed, or only with `adopt`.

    Originals and version histories are never removed, even with `adopt`. `names` are the files found, without kept
    ones.
    """
    if found := original_or_history(names):
        raise original_found_error(place, found)
    foreign = [name for name in names if ours or name != part_of(MANIFEST)]
    if foreign and not ours and not adopt:
        raise PublishError(
            f"{place}: target holds other files and no {MANIFEST} of {GENERATOR}: {some(foreign)}; "
            "empty it, choose another, or take it over with --adopt, which removes them"
        )
    if plan.foreign and not adopt:
        raise foreign_files_error(place, plan.foreign)


def original_found_error(place: object, found: str) -> PublishError:
    """Return the error for a target with an archive or a version history in it."""
    return PublishError(f"{place}: target holds {found}: choose a place for the site only")


def foreign_files_error(place: object, foreign: Collection[str]) -> PublishError:
    """Return the error for files in our target that are not part of the site."""
    return PublishError(
        f"{place}: holds files that are not of this site: {some(foreign)}; move them away (or into the site's "
        "folder, to be published with it), name them in the target's `keep`, or --adopt removes them"
    )


def some(names: Iterable[str]) -> str:
    """Return the first few names, and the number of others, as text."""
    listed = list(names)
    more = len(listed) - _NAMES_SHOWN
    return ", ".join(listed[:_NAMES_SHOWN]) + (f" and {more} more" if more > 0 else "")
