"""Names given while a picture's north was wrong: found again when it is put right.

A wrong north turns or mirrors all groups of a picture together about the disc's centre. So the registered positions of
its names, turned back by one common angle, are those of its groups as they are measured now.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import product

import numpy as np
from numpy.typing import NDArray

from archive.measuring.tracks import GATE, assign
from archive.model.constants import UNIX_EPOCH_JD
from archive.model.group import Position
from archive.sun.ephemeris import solar_ephemeris
from archive.sun.heliographic import to_disc

__all__ = ["matched_by_turn"]

# In radii of the disc. A group's mean position bends by up to half of this when its spots are turned, the larger of
# those of a fifth of the disc's radius.
_TOLERANCE = 0.03
_NO_DIRECTION = 0.1  # so near the centre a group tells no angle
_LEAST_SHARE = 0.6

Complex = NDArray[np.complex128]


def matched_by_turn(named: Sequence[Position], seen: Sequence[Position]) -> list[tuple[int, int]]:
    """Return pairs (name, sighting) under the turn of the disc, mirrored or not, that brings most of them together.

    Parameters
    ----------
    named : sequence of Position
        Of all names registered at one time; their meridian distance is not looked at.
    seen : sequence of Position
        Of the groups seen at that time.

    Returns
    -------
    list of (int, int)
        None unless most of the names find their group; of a single name, unless just one group is as far from the
        centre of the disc.
    """
    if not seen:
        return []
    given, there = _on_disc(named, seen[0]), _on_disc(seen, seen[0])
    if len(named) == 1:
        alike = np.flatnonzero(np.abs(np.abs(there) - np.abs(given[0])) < _TOLERANCE)
        return [(0, int(alike[0]))] if alike.size == 1 else []
    found: list[tuple[int, float, list[tuple[int, int]]]] = [(0, 0.0, [])]
    for start in (given, -given.conj()):
        for i, j in product(range(len(start)), range(len(there))):
            if min(abs(start[i]), abs(there[j])) > _NO_DIRECTION and abs(abs(start[i]) - abs(there[j])) < _TOLERANCE:
                turned = start * np.exp(1j * np.angle(there[j] / start[i]))
                off = np.abs(turned[:, None] - there[None, :])
                pairs = assign((GATE * (off / _TOLERANCE) ** 2).tolist())
                found.append((len(pairs), -float(sum(off[pair] for pair in pairs)), pairs))
    most, _, pairs = max(found, key=lambda one: one[:2])
    return pairs if most >= max(2.0, _LEAST_SHARE * len(named)) else []


def _on_disc(positions: Sequence[Position], one_seen: Position) -> Complex:
    """Return places on the disc as right + i up, radii."""
    l0_deg = one_seen.longitude_deg - one_seen.meridian_deg
    b0_deg = float(solar_ephemeris(np.array([one_seen.time_days + UNIX_EPOCH_JD])).b0_deg[0])
    latitude_deg = np.array([one.latitude_deg for one in positions])
    meridian_deg = np.array([one.longitude_deg for one in positions]) - l0_deg
    west, north, _ = to_disc(latitude_deg, meridian_deg, b0_deg=b0_deg)
    places: Complex = west + 1j * north
    return places
