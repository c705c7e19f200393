"""The time line of a film: time and observations of each frame."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import chain, pairwise

from archive.errors import FactsError
from archive.model.choices import FrameKind
from archive.model.observation import Observation

__all__ = ["MAX_FRAMES", "FrameSpec", "check_length", "daily_timeline", "smooth_timeline"]

MAX_FRAMES = 100_000  # over an hour of film: ten years with a picture a day, or five and a half years in smooth style


@dataclass(frozen=True)
class FrameSpec:
    """One frame of a film.

    `observations` holds one id for an `observed` frame. For a frame `between` observations it holds the adjacent ones
    within reach: two, one or none; `weight` is that of the second, 0 to 1. `observed_utc` is the observation's time in
    films of equal time steps, where it may differ by some minutes from the frame's. A frame with `is_title` shows its
    observation dimmed, under the film's title.
    """

    index: int
    time_utc: datetime
    kind: FrameKind
    observations: tuple[str, ...]
    weight: float
    observed_utc: datetime | None = None
    is_title: bool = False


def daily_timeline(
    pictures: Sequence[Observation], *, frames_per_second: int = 25, hold_s: float = 0.8, fade_s: float = 0.5
) -> tuple[FrameSpec, ...]:
    """Return a time line that shows each picture for `hold_s` and cross-fades to the next in `fade_s`.

    Parameters
    ----------
    pictures
        In any order; shown in order of time, then name. A single one gives a still film of ``2 * hold_s``.
    frames_per_second
        Frames per second; `hold_s` and `fade_s` are rounded to whole frames, the hold to at least one.

    Returns
    -------
    tuple of FrameSpec
        Numbered from 0. Times of cross-fade frames are linear from one observation to the next (whole
        seconds), their weights follow a smooth step, so that the change starts and ends gently.

    Raises
    ------
    FactsError
        There are no pictures, or over `MAX_FRAMES` frames.
    """
    shown = _in_order(pictures)
    check_length([one.time_utc for one in shown], frames_each=round((hold_s + fade_s) * frames_per_second))
    hold = max(1, round(hold_s * frames_per_second))
    fade = round(fade_s * frames_per_second)
    if len(shown) == 1:
        pieces = _hold_frames(shown[0], 2 * hold)
    else:
        pairs = (chain(_hold_frames(a, hold), _fade_frames(a, b, fade)) for a, b in pairwise(shown))
        pieces = chain(chain.from_iterable(pairs), _hold_frames(shown[-1], hold))
    return tuple(FrameSpec(index, *piece) for index, piece in enumerate(pieces))


def smooth_timeline(
    pictures: Sequence[Observation], *, frames_per_second: int = 25, day_s: float = 2.0, reach_days: float = 3.0
) -> tuple[FrameSpec, ...]:
    """Return a time line of equal time steps from the first picture to the last.

    Parameters
    ----------
    pictures
        In any order. A single one gives a still film of two seconds.
    frames_per_second
        Frames per second.
    day_s
        Seconds of film for 24 hours.
    reach_days
        Time difference up to which an observation is used.

    Returns
    -------
    tuple of FrameSpec
        Numbered from 0; times in whole seconds. The frame nearest to an observation, within half a step, is `observed`;
        all others are `between`.

    Raises
    ------
    FactsError
        There are no pictures, or over `MAX_FRAMES` frames.
    """
    shown = _in_order(pictures)
    check_length([one.time_utc for one in shown], frames_a_day=round(day_s * frames_per_second))
    if len(shown) == 1:
        return tuple(
            FrameSpec(index, *piece) for index, piece in enumerate(_hold_frames(shown[0], 2 * frames_per_second))
        )
    step = timedelta(days=1) / max(1, round(day_s * frames_per_second))
    first, times = shown[0].time_utc, [picture.time_utc for picture in shown]
    count = round((times[-1] - first) / step) + 1
    observed = _nearest(shown, step)
    frames = []
    for index in range(count):
        time_utc = first + timedelta(seconds=round((step * index).total_seconds()))
        if index in observed:
            seen = observed[index]
            frames.append(FrameSpec(index, time_utc, "observed", (seen.id,), 0.0, seen.time_utc))
        else:
            after = bisect_right(times, time_utc)
            frames.append(
                _frame_fade_frames(index, time_utc, shown[max(0, after - 1) : after + 1], timedelta(days=reach_days))
            )
    return tuple(frames)


def check_length(times_utc: Sequence[datetime], *, frames_each: int = 0, frames_a_day: int = 0) -> None:
    """Refuse a film of more than `MAX_FRAMES` frames.

    Parameters
    ----------
    times_utc
        Times of the pictures, in order.
    frames_each
        Frames per picture.
    frames_a_day
        Frames per 24 hours.

    Raises
    ------
    FactsError
        The film would be longer.
    """
    days = (times_utc[-1] - times_utc[0]) / timedelta(days=1)
    frames = frames_each * len(times_utc) + round(frames_a_day * days)
    if frames > MAX_FRAMES:
        pace = f"{frames_each} each" if frames_each else f"{frames_a_day} a day"
        raise FactsError(
            f"film: {frames} frames from {times_utc[0]:%Y-%m-%d} to {times_utc[-1]:%Y-%m-%d} ({pace}), but the "
            f"limit is {MAX_FRAMES}; choose a shorter span, or a smaller --pace"
        )


def _in_order(pictures: Sequence[Observation]) -> list[Observation]:
    """Return the pictures sorted by time, then id; refuse an empty sequence."""
    if not pictures:
        raise FactsError("film: no observation with known north in this span; choose a longer one")
    if any(picture.time_utc.utcoffset() is None for picture in pictures):
        raise ValueError("the time of a picture must be aware UTC, not naive")
    return sorted(pictures, key=lambda picture: (picture.time_utc, picture.id))


def _nearest(shown: Sequence[Observation], step: timedelta) -> dict[int, Observation]:
    """Return the picture of each frame index; of two on one frame, the nearer one."""
    first = shown[0].time_utc
    frames: dict[int, Observation] = {}
    for picture in shown:
        index = round((picture.time_utc - first) / step)
        known = frames.get(index)
        frame_utc = first + step * index
        if known is None or abs(picture.time_utc - frame_utc) < abs(known.time_utc - frame_utc):
            frames[index] = picture
    return frames


def _frame_fade_frames(index: int, time_utc: datetime, around: Sequence[Observation], reach: timedelta) -> FrameSpec:
    """Return a frame between observations; those too far away in time are left out."""
    near = tuple(picture for picture in around if abs(picture.time_utc - time_utc) < reach)
    weight = 0.0
    if len(near) == 2:
        weight = (time_utc - near[0].time_utc) / (near[1].time_utc - near[0].time_utc)
    return FrameSpec(index, time_utc, "between", tuple(picture.id for picture in near), weight)


# A frame without its index.
_Piece = tuple[datetime, FrameKind, tuple[str, ...], float]


def _hold_frames(picture: Observation, frames: int) -> Iterator[_Piece]:
    """Yield frames that show one observation unchanged."""
    for _ in range(frames):
        yield picture.time_utc, "observed", (picture.id,), 0.0


def _fade_frames(first: Observation, second: Observation, frames: int) -> Iterator[_Piece]:
    """Yield the frames of a cross-fade, without its ends, which belong to the holds."""
    gap_s = (second.time_utc - first.time_utc).total_seconds()
    for step in range(1, frames + 1):
        fraction = step / (frames + 1)
        time_utc = first.time_utc + timedelta(seconds=round(gap_s * fraction))
        weight = fraction * fraction * (3 - 2 * fraction)
        yield time_utc, "between", (first.id, second.id), weight
