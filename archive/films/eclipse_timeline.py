"""The time line of an eclipse: its pictures in turn, or in equal steps of time, and the gaps between them."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from itertools import pairwise
from statistics import median

from archive.films.timeline import FrameSpec, daily_timeline, smooth_timeline
from archive.model.choices import FilmStyle
from archive.model.observation import Observation

__all__ = ["ECLIPSE_PACE_S", "eclipse_timeline", "gap_words", "picture_frames"]

# Seconds of film for a picture (daily), for an hour (smooth).
ECLIPSE_PACE_S: dict[FilmStyle, float] = {"daily": 0.4, "smooth": 12.0, "corotating": 0.4}
_HOURS_A_DAY = 24.0
_WHOLE_DAYS = 1.0  # longer than any eclipse
_LEAST_GAP = timedelta(minutes=5)
_STEPS_A_GAP = 2.5  # of the pictures' usual distance in time


def eclipse_timeline(
    pictures: Sequence[Observation], style: FilmStyle, *, frames_per_second: int, pace_s: float | None
) -> tuple[FrameSpec, ...]:
    """Return the time line of an eclipse's pictures, without cross-fades: two crescents at once are none.

    In equal steps of time each frame shows the picture that is nearest in time, and is `between` unless it is the
    frame nearest to the picture.

    Parameters
    ----------
    pictures
        In any order.
    style
        `smooth` for equal steps of time, else each picture in turn.
    frames_per_second
        Frames per second.
    pace_s
        Seconds of film for a picture, or for an hour; None is the usual.
    """
    pace_s = pace_s or ECLIPSE_PACE_S[style]
    if style != "smooth":
        return daily_timeline(pictures, frames_per_second=frames_per_second, hold_s=pace_s, fade_s=0.0)
    steps = smooth_timeline(
        pictures, frames_per_second=frames_per_second, day_s=_HOURS_A_DAY * pace_s, reach_days=_WHOLE_DAYS
    )
    return tuple(map(_nearest_alone, steps))


def picture_frames(style: FilmStyle, pace_s: float | None, *, frames_per_second: int) -> dict[str, int]:
    """Return how many frames a picture or a day has, as `archive.films.timeline.check_length` takes them."""
    pace_s = pace_s or ECLIPSE_PACE_S[style]
    if style == "smooth":
        return {"frames_a_day": round(_HOURS_A_DAY * pace_s * frames_per_second)}
    return {"frames_each": max(1, round(pace_s * frames_per_second))}


def _nearest_alone(spec: FrameSpec) -> FrameSpec:
    if len(spec.observations) < 2:
        return spec
    nearest = spec.observations[1 if spec.weight > 0.5 else 0]
    return FrameSpec(spec.index, spec.time_utc, "between", (nearest,), 0.0)


def gap_words(times_utc: Sequence[datetime]) -> tuple[str, ...]:
    """Return what to say of each gap between pictures that is long beside the others."""
    times = sorted(times_utc)
    steps = [later - earlier for earlier, later in pairwise(times)]
    if not steps:
        return ()
    usual = timedelta(seconds=median(step.total_seconds() for step in steps))
    least = max(_LEAST_GAP, _STEPS_A_GAP * usual)
    return tuple(
        f"no picture from {earlier:%H:%M} to {later:%H:%M} UTC ({(later - earlier) / timedelta(minutes=1):.0f} min)"
        for earlier, later in pairwise(times)
        if later - earlier > least
    )
