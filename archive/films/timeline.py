"""The time line of a film: which observations each frame shows, and when it stands. Pure."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import chain, pairwise

from archive.errors import FactsError
from archive.model.choices import FrameKind

__all__ = ["MOST_FRAMES", "FrameSpec", "Sighting", "check_length", "daily_timeline", "smooth_timeline"]

MOST_FRAMES = 100_000  # over an hour of film: ten years of a picture a day, or five and a half of smooth days


@dataclass(frozen=True)
class Sighting:
    """One picture that a film can show: its name and the middle of its capture (aware UTC)."""

    observation_id: str
    time_utc: datetime


@dataclass(frozen=True)
class FrameSpec:
    """One frame of a film.

    `observations` holds one name where the frame is `observed`. `between` observations it holds those on both sides
    that are within reach: two, one, or none at all; `weight` is the share of the second, 0 to 1. `observed_utc` is the
    observation's own time where frames step evenly, and may be some minutes off that of its frame.
    """

    index: int
    time_utc: datetime
    kind: FrameKind
    observations: tuple[str, ...]
    weight: float
    observed_utc: datetime | None = None


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
        Without any sighting, or with over `MOST_FRAMES` frames.
    """
    shown = _in_order(sightings)
    check_length([one.time_utc for one in shown], frames_each=round((hold_s + fade_s) * frames_per_second))
    hold = max(1, round(hold_s * frames_per_second))
    fade = round(fade_s * frames_per_second)
    if len(shown) == 1:
        pieces = _held(shown[0], 2 * hold)
    else:
        pairs = (chain(_held(a, hold), _between(a, b, fade)) for a, b in pairwise(shown))
        pieces = chain(chain.from_iterable(pairs), _held(shown[-1], hold))
    return tuple(FrameSpec(index, *piece) for index, piece in enumerate(pieces))


def smooth_timeline(
    sightings: Sequence[Sighting], *, frames_per_second: int = 25, day_s: float = 2.0, reach_days: float = 3.0
) -> tuple[FrameSpec, ...]:
    """Step evenly through time from the first sighting to the last.

    Parameters
    ----------
    sightings
        In any order. A single one gives a still film of two seconds.
    frames_per_second
        Frames a second.
    day_s
        Seconds of film for 24 hours.
    reach_days
        How far in time an observation tells anything of the surface.

    Returns
    -------
    tuple of FrameSpec
        Numbered from 0; times in whole seconds. `observed` is the frame nearest to an observation, less than half a
        step away; all others are `between`.

    Raises
    ------
    FactsError
        Without any sighting, or with over `MOST_FRAMES` frames.
    """
    shown = _in_order(sightings)
    check_length([one.time_utc for one in shown], frames_a_day=round(day_s * frames_per_second))
    if len(shown) == 1:
        return tuple(FrameSpec(index, *piece) for index, piece in enumerate(_held(shown[0], 2 * frames_per_second)))
    step = timedelta(days=1) / max(1, round(day_s * frames_per_second))
    first, times = shown[0].time_utc, [sighting.time_utc for sighting in shown]
    count = round((times[-1] - first) / step) + 1
    observed = _nearest(shown, step)
    frames = []
    for index in range(count):
        time_utc = first + timedelta(seconds=round((step * index).total_seconds()))
        if index in observed:
            seen = observed[index]
            frames.append(FrameSpec(index, time_utc, "observed", (seen.observation_id,), 0.0, seen.time_utc))
        else:
            after = bisect_right(times, time_utc)
            frames.append(_spanned(index, time_utc, shown[max(0, after - 1) : after + 1], timedelta(days=reach_days)))
    return tuple(frames)


def check_length(times_utc: Sequence[datetime], *, frames_each: int = 0, frames_a_day: int = 0) -> None:
    """Refuse a film of more than `MOST_FRAMES` frames, before any is made.

    Parameters
    ----------
    times_utc
        Of the sightings, in order.
    frames_each
        Frames that each sighting takes.
    frames_a_day
        Frames that 24 hours take.

    Raises
    ------
    FactsError
        It would be longer.
    """
    days = (times_utc[-1] - times_utc[0]) / timedelta(days=1)
    frames = frames_each * len(times_utc) + round(frames_a_day * days)
    if frames > MOST_FRAMES:
        pace = f"{frames_each} each" if frames_each else f"{frames_a_day} a day"
        raise FactsError(
            f"film: {frames} frames from {times_utc[0]:%Y-%m-%d} to {times_utc[-1]:%Y-%m-%d} ({pace}), over the "
            f"{MOST_FRAMES} that a film may have; choose a shorter span, or a smaller --pace"
        )


def _in_order(sightings: Sequence[Sighting]) -> list[Sighting]:
    """Return the sightings by time, then name; refuse none at all."""
    if not sightings:
        raise FactsError("film: no observation whose way up is known in this span: choose a longer one")
    if any(sighting.time_utc.utcoffset() is None for sighting in sightings):
        raise ValueError("the time of a sighting must be aware UTC, not naive")
    return sorted(sightings, key=lambda sighting: (sighting.time_utc, sighting.observation_id))


def _nearest(shown: Sequence[Sighting], step: timedelta) -> dict[int, Sighting]:
    """Return the frame that each sighting falls on; of two on one frame, the nearer to its time."""
    first = shown[0].time_utc
    frames: dict[int, Sighting] = {}
    for sighting in shown:
        index = round((sighting.time_utc - first) / step)
        known = frames.get(index)
        moment = first + step * index
        if known is None or abs(sighting.time_utc - moment) < abs(known.time_utc - moment):
            frames[index] = sighting
    return frames


def _spanned(index: int, time_utc: datetime, around: Sequence[Sighting], reach: timedelta) -> FrameSpec:
    """Return a frame between observations, of which those too far away in time say nothing."""
    near = tuple(sighting for sighting in around if abs(sighting.time_utc - time_utc) < reach)
    weight = 0.0
    if len(near) == 2:
        weight = (time_utc - near[0].time_utc) / (near[1].time_utc - near[0].time_utc)
    return FrameSpec(index, time_utc, "between", tuple(sighting.observation_id for sighting in near), weight)


# A frame without its number.
_Piece = tuple[datetime, FrameKind, tuple[str, ...], float]


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
