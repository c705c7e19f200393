"""A site brought to a place file by file: readers find old or new pages, and a stopped run can be taken up."""

from __future__ import annotations

import time
from collections.abc import Sequence
from typing import Protocol

from archive.disk import Folder
from archive.site_tree.digests import Digest
from archive.site_tree.manifest import MANIFEST, manifest_bytes
from archive.site_tree.place import Delivery
from archive.site_tree.plan import batches, in_the_way
from archive.site_tree.tree import folders_above

__all__ = ["SteppedPlace", "step_by_step"]

# Writing down what has arrived may take a tenth of the time.
_SHARE = 10.0


class SteppedPlace(Protocol):
    """A place that takes single files; each appears under its name only when it is whole."""

    name: str
    batch_files: int
    batch_bytes: int

    def put(self, source: Folder, names: Sequence[str]) -> None:
        """Bring files of a folder there, in any order; one of that name is replaced in one step where it can be."""

    def put_bytes(self, name: str, data: bytes) -> None:
        """Bring a file there whose bytes are at hand."""

    def delete(self, names: Sequence[str], folders: Sequence[str]) -> None:
        """Remove files, in any order, then these folders, in this order, where they are empty.

        What is not there is no fault.
        """


def step_by_step(place: SteppedPlace, delivery: Delivery) -> None:
    """Bring a place to hold exactly the site, in an order that leaves every page working at every moment.

    Pictures and data travel first, then the pages, the home page last; only then what is no longer needed goes.
    While this runs, the list of files at the place claims only what is there whole and names the rest as pending, so
    that the next run after a stop sends what is missing and takes nothing of ours for somebody else's.
    """
    if delivery.is_empty:
        return
    plan, digests = delivery.plan, delivery.digests
    ledger = _Ledger(place, {name: digests[name] for name in plan.unchanged}, {*plan.send, *plan.remove})
    if plan.send or plan.remove:
        ledger.write()
    blocking = in_the_way(plan)
    _delete(place, blocking, delivery)
    total, done = len(plan.send) + len(plan.remove), 0
    for step in plan.steps:
        for batch in batches(step, digests, files=place.batch_files, size=place.batch_bytes):
            place.put(delivery.tree.folder, batch)
            ledger.arrived({name: digests[name] for name in batch})
            done += len(batch)
            delivery.on_file("sending files", done, total)
    gone = set(blocking)  # by now a folder of the site may bear the name
    _delete(place, [name for name in plan.remove if name not in gone], delivery)
    ledger.finish()
    delivery.on_file("sending files", total, total)


def _delete(place: SteppedPlace, names: Sequence[str], delivery: Delivery) -> None:
    """Remove files, and the folders that the site no longer needs, the deepest first."""
    if names:
        emptied = folders_above(names) - folders_above(delivery.digests)
        place.delete(names, sorted(emptied, key=lambda folder: (-folder.count("/"), folder)))


class _Ledger:
    """The list of files at the place while it is being changed."""

    def __init__(self, place: SteppedPlace, whole: dict[str, Digest], pending: set[str]) -> None:
        self._place, self._whole, self._pending = place, whole, pending
        self._written_s, self._cost_s = time.monotonic(), 0.0

    def arrived(self, files: dict[str, Digest]) -> None:
        self._whole.update(files)
        self._pending.difference_update(files)
        if time.monotonic() - self._written_s >= _SHARE * self._cost_s:
            self.write()

    def write(self) -> None:
        begun = time.monotonic()
        self._place.put_bytes(MANIFEST, manifest_bytes(self._whole, self._pending))
        self._written_s = time.monotonic()
        self._cost_s = self._written_s - begun

    def finish(self) -> None:
        self._pending.clear()
        self.write()
