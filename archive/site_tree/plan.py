"""The plan for a place: which files to put there, in which order, and which to remove."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from itertools import chain, groupby

from archive.errors import PublishError
from archive.site_tree.digests import Digest
from archive.site_tree.manifest import GENERATOR, MANIFEST, Manifest
from archive.site_tree.originals import original_or_history
from archive.site_tree.tree import folders_above, is_kept, part_of

__all__ = [
    "HOME",
    "Plan",
    "Removals",
    "batches",
    "check_kept",
    "in_the_way",
    "make_plan",
    "original_found_error",
    "put_order",
    "put_steps",
    "refuse_foreign",
    "removals",
]

HOME = "index.html"
_NAMES_SHOWN = 5


@dataclass(frozen=True)
class Removals:
    """Names of what is to go, sorted, and those of them that were not put there by this program."""

    names: tuple[str, ...]
    foreign: tuple[str, ...] = ()


@dataclass(frozen=True)
class Plan:
    """Names below the site's root.

    `steps` are the files to put there, in groups that follow one another. `unchanged` and `remove` are sorted;
    `foreign` are those of `remove` that were not put there by this program.
    """

    steps: tuple[tuple[str, ...], ...]
    unchanged: tuple[str, ...]
    remove: tuple[str, ...]
    foreign: tuple[str, ...] = ()

    @property
    def send(self) -> tuple[str, ...]:
        """The files to put there, in order."""
        return tuple(chain.from_iterable(self.steps))


def make_plan(site: Mapping[str, Digest], there: Mapping[str, Digest | None], gone: Removals) -> Plan:
    """Return the plan from what the site's files hold, and what those hold that are there; None is unknown."""
    unchanged = tuple(sorted(name for name, digest in site.items() if there.get(name) == digest))
    return Plan(put_steps(site.keys() - set(unchanged), there), unchanged, gone.names, gone.foreign)


def put_steps(names: Iterable[str], there: Collection[str]) -> tuple[tuple[str, ...], ...]:
    """Return files in groups that are put into their places one after the other; see `put_order`."""
    ranks = groupby(sorted((put_order(name, there), name) for name in names), key=lambda row: row[0])
    return tuple(tuple(name for _, name in rows) for _, rows in ranks)


def put_order(name: str, there: Collection[str]) -> int:
    """Return when a file is put into its place, so that no page shows or links to what is not there yet.

    Pictures and data come first, then pages that nothing links to yet, pages and feeds that were there, the home page.
    """
    if name == HOME:
        return 4
    if name.endswith(".html"):
        return 3 if name in there else 2
    return 3 if name.endswith(".xml") else 1  # a feed links to pages


def removals(site: Collection[str], held: Manifest, there: Iterable[str], *, keep: Collection[str]) -> Removals:
    """Return what is to go of the files that are there: all that are not of the site, and not kept."""
    gone = sorted(name for name in there if name not in site and name != MANIFEST and not is_kept(name, keep))
    ours = {MANIFEST, *site, *held.rows, *held.pending}
    ours |= {part_of(name) for name in ours}
    return Removals(tuple(gone), tuple(name for name in gone if name not in ours))


def batches(step: Iterable[str], sizes: Mapping[str, Digest], *, files: int, size: int) -> Iterator[list[str]]:
    """Yield the names of a step in order, at most so many files and bytes at once."""
    batch: list[str] = []
    held = 0
    for name in step:
        if batch and (len(batch) == files or held + sizes[name].size > size):
            yield batch
            batch, held = [], 0
        batch.append(name)
        held += sizes[name].size
    if batch:
        yield batch


def in_the_way(plan: Plan) -> tuple[str, ...]:
    """Return files to remove before uploading: where a folder is needed, and in folders where a file is needed."""
    if not plan.remove:
        return ()
    sent = set(plan.send)
    needed = folders_above(sent)
    return tuple(name for name in plan.remove if name in needed or not sent.isdisjoint(folders_above([name])))


def check_kept(place: str, site: Collection[str], kept: Collection[str]) -> None:
    """Raise PublishError where what is kept stands in the site's way, or the site in its."""
    folders = folders_above(site) if kept else set()
    for name in kept:
        if name in folders or any(folder in site for folder in folders_above([name])):
            raise PublishError(
                f"{place}: the site needs the place of {name}, which is named in the target's `keep`; "
                "give it another name"
            )


def refuse_foreign(place: str, gone: Removals, names: Collection[str], *, ours: bool, adopt: bool) -> None:
    """Raise PublishError where a target holds files that must not be removed, or only with `adopt`.

    Originals and version histories are never removed, even with `adopt`. `names` are the files found, without kept
    ones.
    """
    if found := original_or_history(names):
        raise original_found_error(place, found)
    others = [name for name in names if name != part_of(MANIFEST)]
    if others and not ours and not adopt:
        raise PublishError(
            f"{place}: target holds other files and no {MANIFEST} of {GENERATOR}: {_some(others)}; "
            "empty it, choose another, or take it over with --adopt, which removes them"
        )
    if gone.foreign and not adopt:
        raise PublishError(
            f"{place}: holds files that are not of this site: {_some(gone.foreign)}; move them away (or into the "
            "site's folder, to be published with it), name them in the target's `keep`, or --adopt removes them"
        )


def original_found_error(place: object, found: str) -> PublishError:
    """Return the error for a target with an archive or a version history in it."""
    return PublishError(f"{place}: target holds {found}: choose a place for the site only")


def _some(names: Iterable[str]) -> str:
    """Return the first few names, and the number of others, as text."""
    listed = list(names)
    more = len(listed) - _NAMES_SHOWN
    return ", ".join(listed[:_NAMES_SHOWN]) + (f" and {more} more" if more > 0 else "")
