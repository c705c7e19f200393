"""Weeks whose spots do not fit the mount, solved without it: where all times are wrong by some hours, the mount is."""

from __future__ import annotations

from collections.abc import Container, Mapping, Sequence
from dataclasses import replace

from archive.model.times import days_since_1970
from archive.orientation.instrument import split_into_blocks
from archive.orientation.spots import SpotSolution, solve_spots
from archive.stages.candidates import Candidate
from archive.store import Store

__all__ = ["mount_free_readings"]

_LEAST_PICTURES = 3  # with spots, of which most were not solved
_MOST_WEEKS = 6  # the latest: a clock that was wrong for long shows in these


def mount_free_readings(
    pictures: Sequence[Candidate],
    readings: Mapping[str, SpotSolution],
    *,
    store: Store,
    asked: Container[str] | None,
    names: list[str],
) -> dict[str, SpotSolution]:
    """Return the reliable solutions, by the picture's id, of weeks that the mount leaves unsolved.

    Parameters
    ----------
    pictures : sequence of Candidate
        Of one alt-azimuth instrument and one mirroring, in order of time.
    readings : mapping
        By the picture's id, from all solved with the mount.
    store : Store
        Holds what was found before.
    asked : container of str, optional
        Ids of pictures: weeks without any of them are solved only where a solution is stored.
    names : list of str
        Names of what is stored, to which those of these weeks are added.
    """
    found: dict[str, SpotSolution] = {}
    blocks = split_into_blocks([days_since_1970(one.record.time) for one in pictures])
    weeks = [(block, [pictures[index] for index in sorted({*block.own, *block.context})]) for block in blocks]
    unsolved = [(block, members) for block, members in weeks if _is_unsolved(members, readings)]
    for block, members in unsolved[-_MOST_WEEKS:]:
        name = f"{members[0].instrument.name}/without mount/{block.name}"
        names.append(name)
        hand = members[0].instrument.stated_mirrored
        inputs, kind = [[one.spots_digest for one in members], hand, "free"], tuple[SpotSolution | None, ...]
        solved = store.get(solve_spots, name, inputs, kind)
        if solved is None and (asked is None or any(one.id in asked for one in members)):
            solved = solve_spots([replace(one.spotted, sky_deg=None) for one in members], mirrored=hand)
            store.put(solve_spots, name, inputs, solved)
        own = {pictures[index].id for index in block.own}
        for one, reading in zip(members, solved or (), strict=solved is not None):
            if one.id in own and reading is not None and reading.is_reliable:
                found[one.id] = reading
    return found


def _is_unsolved(members: Sequence[Candidate], readings: Mapping[str, SpotSolution]) -> bool:
    spotted = [one for one in members if len(one.measured.spots.right) >= 2]
    solved = [one for one in spotted if (reading := readings.get(one.id)) is not None and reading.is_reliable]
    return len(spotted) >= _LEAST_PICTURES and 2 * len(solved) < len(spotted)
