"""A week of an instrument's pictures, solved together with their neighbours."""

from __future__ import annotations

from collections.abc import Container, Sequence
from dataclasses import dataclass

from archive.orientation.instrument import Block
from archive.orientation.spots import SpotSolution, solve_spots
from archive.stages.candidates import Candidate
from archive.store import Store

__all__ = ["Week", "solved_week"]


@dataclass(frozen=True)
class Week:
    """A block of an instrument's pictures, and the name under which its solution is kept."""

    pictures: Sequence[Candidate]
    block: Block
    name: str

    @property
    def own(self) -> list[Candidate]:
        """Those that it is solved for."""
        return [self.pictures[index] for index in self.block.own]

    @property
    def members(self) -> list[Candidate]:
        """Those and their neighbours."""
        return [self.pictures[index] for index in sorted({*self.block.own, *self.block.context})]


def solved_week(
    week: Week, *, mirrored: bool | None, store: Store, asked: Container[str] | None
) -> dict[str, SpotSolution]:
    """Return the solutions of a week's own pictures, by id; only what is known of spots and sky goes in.

    Parameters
    ----------
    week : Week
    mirrored : bool or None
        None to determine it.
    store : Store
        Holds what was found before.
    asked : container of str, optional
        Ids of pictures: a week without any of them is solved only where a solution is stored.
    """
    members, own = week.members, {one.id for one in week.own}
    inputs, kind = [[one.spots_digest for one in members], mirrored], tuple[SpotSolution | None, ...]
    found = store.get(solve_spots, week.name, inputs, kind)
    if found is None and (asked is None or any(one.id in asked for one in members)):
        found = solve_spots([one.spotted for one in members], mirrored=mirrored)
        store.put(solve_spots, week.name, inputs, found)
    return {
        one.id: reading
        for one, reading in zip(members, found or (), strict=found is not None)
        if reading is not None and one.id in own
    }
