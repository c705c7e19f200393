"""The time line of a film: which observations each frame shows, and when it stands. Pure."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import chain, pairwise
from typing import Literal

from archive.errors import FactsError

__all__ = ["FrameSpec", "Sighting", "daily_timeline"]


@dataclass(frozen=True)
class Sighting:
    """One picture that a film can show: its name and the middle of its capture (aware UTC)."""

    observation_id: str
    time_utc: datetime


@dataclass(frozen=True)
class FrameSpec:
    """One frame of a film.

    `observations` holds one name where the frame is `observed`, two where it lies `between` them;
    `weight` is the share of the second in the blend, 0 to 1.
    """

    index: int
    time_utc: datetime
    kind: Literal["observed", "between"]
    observations: tuple[str, ...]
    weight: float


def daily_timeline(
    sightings: Sequence[Sighting], *, frames_per_second: int = 25, hold_s: float = 0.8, fade_s: float = 0.5
) -> tuple[FrameSpec, ...]:
    """Show each sighting in turn for `hold_s` and cross-fade to the next in `fade_s`.

    Parameters
    ----------
    sightings
        In any order; shown in order of time, then name. A single one gives a still film of ``2 * hold_s``.
    frames_per_second
        Frames a second; `hold_s` and `fade_s` are rounded to whole frames, the hold to one at least.

    Returns
    -------
    tuple of FrameSpec
        Numbered from 0. The time of a cross-fade frame runs linearly from one observation to the next (whole
        seconds), its weight along a smooth step, so that the picture starts and stops changing gently.

    Raises
    ------
    FactsError
        Without any sighting.
    """
    if not sightings:
        raise FactsError("film: no observation whose way up is known in this span: choose a longer one")
    if any(sighting.time_utc.utcoffset() is None for sighting in sightings):
        raise ValueError("the time of a sighting must be aware UTC, not naive")
    shown = sorted(sightings, key=lambda sighting: (sighting.time_utc, sighting.observation_id))
    hold = max(1, round(hold_s * frames_per_second))
    fade = round(fade_s * frames_per_second)
    if len(shown) == 1:
        pieces = _held(shown[0], 2 * hold)
    else:
        pairs = (chain(_held(a, hold), _between(a, b, fade)) for a, b in pairwise(shown))
        pieces = chain(chain.from_iterable(pairs), _held(shown[-1], hold))
    return tuple(FrameSpec(index, *piece) for index, piece in enumerate(pieces))


# A frame without its number.
_Piece = tuple[datetime, Literal["observed", "between"], tuple[str, ...], float]


def _held(sighting: Sighting, frames: int) -> Iterator[_Piece]:
    """Frames that show one observation unchanged."""
    for _ in range(frames):
        yield sighting.time_utc, "observed", (sighting.observation_id,), 0.0


def _between(first: Sighting, second: Sighting, frames: int) -> Iterator[_Piece]:
    """Frames of the cross-fade, its two ends left to the holds."""
    gap_s = (second.time_utc - first.time_utc).total_seconds()
    for step in range(1, frames + 1):
        share = step / (frames + 1)
        time_utc = first.time_utc + timedelta(seconds=round(gap_s * share))
        weight = share * share * (3 - 2 * share)
        yield time_utc, "between", (first.observation_id, second.observation_id), weight
