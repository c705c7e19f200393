"""When a picture was taken: one time out of several sources, doubts spelt out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Literal
from zoneinfo import ZoneInfo

from archive.errors import FactsError

__all__ = ["CaptureTime", "TimeCandidate", "capture_time", "parse_time"]

_DISAGREEMENT_S = 60.0
_CLOCK_SLACK_S = 300.0  # a camera's clock may run ahead of this computer's


@dataclass(frozen=True)
class TimeCandidate:
    """A time from one source; naive values are in the archive's zone."""

    source: str
    value: datetime
    meaning: Literal["start", "middle", "end"]
    length_s: float | None = None


@dataclass(frozen=True)
class CaptureTime:
    """The middle (and, where known, start) of the capture, its source, and doubts for the observer."""

    middle_utc: datetime
    start_utc: datetime | None
    source: str
    doubts: tuple[str, ...]


def parse_time(text: str, *, name: str) -> datetime:
    """An ISO 8601 date and time, with or without a zone.

    Raises
    ------
    FactsError
        Not a date with a time.
    """
    try:
        moment = datetime.fromisoformat(text.strip())
    except ValueError as error:
        raise FactsError(f"{name}: {text!r} is not a time; write it like 2026-06-03T09:15:00Z") from error
    if len(text.strip()) <= 10:
        raise FactsError(f"{name}: {text!r} is a date without a time; write it like 2026-06-03T09:15:00Z")
    return moment


def capture_time(
    candidates: Sequence[TimeCandidate], *, zone_name: str, now_utc: datetime, length_s: float | None, name: str
) -> CaptureTime:
    """Take the first candidate; name every other one that disagrees by more than a minute.

    Parameters
    ----------
    candidates : sequence of TimeCandidate
        In order of trust.
    zone_name : str
        Zone of naive times.
    now_utc : datetime
    length_s : float or None
        Length of the capture, to step from its start or end to its middle.
    name : str
        The picture's name, for messages.

    Raises
    ------
    FactsError
        No time at all, a time in the future, a time that daylight saving makes ambiguous or impossible.
    """
    if not candidates:
        raise FactsError(
            f"{name}: no capture time in a note beside it, in the file or in its name; "
            "give it with --time 2026-06-03T09:15:00Z"
        )
    first = candidates[0]
    middle = _middle_utc(first, zone_name, length_s, name)
    if middle > now_utc + timedelta(seconds=_CLOCK_SLACK_S):
        raise FactsError(
            f"{name}: time {middle:%Y-%m-%dT%H:%M:%SZ} ({first.source}) is in the future; "
            "correct it with --time or correct this computer's clock"
        )
    doubts = tuple(_doubts(candidates[1:], first, middle, zone_name=zone_name, length_s=length_s, name=name))
    length = first.length_s if first.length_s is not None else length_s
    start = middle - timedelta(seconds=length / 2) if length else None
    return CaptureTime(middle, start, first.source, doubts)


def _doubts(
    others: Sequence[TimeCandidate],
    first: TimeCandidate,
    middle: datetime,
    *,
    zone_name: str,
    length_s: float | None,
    name: str,
) -> list[str]:
    doubts = []
    for other in others:
        try:
            apart_s = (_middle_utc(other, zone_name, length_s, name) - middle).total_seconds()
        except FactsError as error:
            doubts.append(str(error))
            continue
        if abs(apart_s) > _DISAGREEMENT_S + (length_s or 0.0):
            doubts.append(
                f"{name}: {other.source} says {middle + timedelta(seconds=apart_s):%Y-%m-%dT%H:%M:%SZ}, "
                f"{_in_words(apart_s)} than {first.source}, which was taken; give --time if that is wrong"
            )
    return doubts


def _in_words(apart_s: float) -> str:
    minutes = abs(apart_s) / 60.0
    size = f"{minutes:.0f} min" if minutes < 120 else f"{minutes / 60:.1f} h" if minutes < 2880 else f"{minutes / 1440:.1f} days"
    return f"{size} {'later' if apart_s > 0 else 'earlier'}"


def _middle_utc(candidate: TimeCandidate, zone_name: str, length_s: float | None, name: str) -> datetime:
    moment = _in_utc(candidate, zone_name, name)
    length = candidate.length_s if candidate.length_s is not None else length_s
    half = timedelta(seconds=(length or 0.0) / 2)
    return moment + {"start": half, "middle": timedelta(0), "end": -half}[candidate.meaning]


def _in_utc(candidate: TimeCandidate, zone_name: str, name: str) -> datetime:
    """Naive times take the zone; where its clocks were put back or forward the time must say which."""
    moment = candidate.value
    if moment.tzinfo is not None:
        return moment.astimezone(UTC)
    zone = ZoneInfo(zone_name)
    early, late = (moment.replace(tzinfo=zone, fold=fold) for fold in (0, 1))
    if early.utcoffset() == late.utcoffset():
        return early.astimezone(UTC)
    there_and_back = early.astimezone(UTC).astimezone(zone).replace(tzinfo=None)
    problem = "comes twice" if there_and_back == moment else "does not exist"
    offsets = " or ".join(f"{moment.isoformat()}{_offset_text(option)}" for option in (early, late))
    raise FactsError(
        f"{name}: {moment.isoformat(sep=' ')} ({candidate.source}) {problem} in {zone_name}, where the clocks change; "
        f"give --time with its offset, such as {offsets}"
    )


def _offset_text(moment: datetime) -> str:
    return moment.isoformat()[-6:]
