"""Capture time of a picture: one time out of several sources, with doubts for the observer."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from archive.errors import FactsError, NoTimeError
from archive.model.choices import TimeMeaning
from archive.records.value_kinds import FIRST_YEAR, LAST_YEAR

__all__ = ["CaptureTime", "TimeCandidate", "capture_time", "check_year", "in_utc", "parse_time"]

_DISAGREEMENT_S = 60.0
_CLOCK_SLACK_S = 300.0  # a camera's clock may run ahead of this computer's


@dataclass(frozen=True)
class TimeCandidate:
    """A time from one source; where it is naive it is in the zone named, else in the archive's.

    `doubt` is why it may not be that of the capture, for the observer where it is taken. `abbreviation` is that of a
    zone, which must be the zone's own at that time.
    """

    source: str
    value: datetime
    meaning: TimeMeaning
    zone_name: str | None = None
    doubt: str | None = None
    abbreviation: str | None = None


@dataclass(frozen=True)
class CaptureTime:
    """The middle (and, where the length is known, the start) of the capture, its source, doubts for the observer.

    `read_as` tells of a time without a zone in which zone it was read.
    """

    middle_utc: datetime
    start_utc: datetime | None
    source: str
    doubts: tuple[str, ...]
    read_as: str | None = None


def parse_time(text: str, *, name: str) -> datetime:
    """Return an ISO 8601 date and time, with or without a zone.

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
    candidates: Sequence[TimeCandidate],
    *,
    zone_name: str,
    now_utc: datetime,
    length_s: float | None,
    name: str,
    saved: str | None = None,
) -> CaptureTime:
    """Take the first candidate; name every other one that disagrees by more than a minute.

    Parameters
    ----------
    candidates : sequence of TimeCandidate
        In order of trust.
    zone_name : str
        The archive's zone.
    now_utc : datetime
        This computer's clock.
    length_s : float or None
        Length of the capture, to step from its start or end to its middle.
    name : str
        The picture's name, for messages.
    saved : str, optional
        When and by what the file was saved, for the message where nothing tells when the picture was taken.

    Returns
    -------
    CaptureTime
        To the second.

    Raises
    ------
    NoTimeError
        No time at all.
    FactsError
        A time in the future, a time that daylight saving makes ambiguous or impossible.
    """
    if not candidates:
        only = f"; {saved} is when it was last saved, not when it was taken" if saved else ""
        raise NoTimeError(
            f"{name}: no capture time in a note beside it, in the file or in its name{only}; "
            "give it with --time 2026-06-03T09:15:00Z"
        )
    first, *others = candidates
    length = timedelta(seconds=length_s or 0.0)
    middle = _middle_utc(first, zone_name, length, name)
    if middle > now_utc + timedelta(seconds=_CLOCK_SLACK_S):
        raise FactsError(
            f"{name}: time {middle:%Y-%m-%dT%H:%M:%SZ} ({first.source}) is in the future; "
            "correct it with --time or correct this computer's clock"
        )
    doubts = [] if first.doubt is None else [f"{name}: {first.doubt}; give --time if that is wrong"]
    for other in others:
        try:
            apart = _middle_utc(other, zone_name, length, name) - middle
        except FactsError as error:
            doubts.append(str(error))
            continue
        # A picture may be named for either end of its capture.
        slack = timedelta(seconds=_DISAGREEMENT_S) + length / 2
        if abs(apart) > slack:
            cause = _likely_cause(middle, apart, slack, first.zone_name or zone_name)
            doubts.append(_doubt(name, other.source, apart, cause=cause, taken=(first.source, middle)))
    start = None if length_s is None else _to_the_second(middle - length / 2)
    return CaptureTime(_to_the_second(middle), start, first.source, tuple(doubts), _read_as(first, zone_name))


def in_utc(moment: datetime, *, zone_name: str, source: str, name: str) -> datetime:
    """Return a moment in UTC; a naive one is in the zone named.

    Parameters
    ----------
    moment : datetime
    zone_name : str
        As in the tz database, such as ``Europe/London``.
    source, name : str
        Where the time was found, and the picture's name; for messages.

    Raises
    ------
    FactsError
        Where the zone's clocks were put back or forward the time must say which it is; or the Sun's place is not
        known for that year.
    """
    check_year(moment, source=source, name=name)
    if moment.tzinfo is not None:
        moment = moment.astimezone(UTC)
        check_year(moment, source=source, name=name)
        return moment
    zone = ZoneInfo(zone_name)
    early, late = (moment.replace(tzinfo=zone, fold=fold) for fold in (0, 1))
    if early.utcoffset() == late.utcoffset():
        return early.astimezone(UTC)
    there_and_back = early.astimezone(UTC).astimezone(zone).replace(tzinfo=None)
    problem = "occurs twice" if there_and_back == moment else "does not exist"
    raise FactsError(
        f"{name}: {moment.isoformat(sep=' ')} ({source}) {problem} in {zone_name}, where the clocks change; "
        f"give --time with its offset, such as {early.isoformat()} or {late.isoformat()}"
    )


def _read_as(candidate: TimeCandidate, zone_name: str) -> str | None:
    if candidate.value.tzinfo is not None:
        return None
    zone_name = candidate.zone_name or zone_name
    return f"{candidate.value:%Y-%m-%d %H:%M:%S} ({candidate.source}) read as {zone_name} time"


def check_year(moment: datetime, *, source: str, name: str) -> None:
    """Refuse a year for which the Sun's place is not known.

    Raises
    ------
    FactsError
    """
    if not FIRST_YEAR <= moment.year <= LAST_YEAR:
        raise FactsError(
            f"{name}: the year of {moment.isoformat(sep=' ')} ({source}) cannot be: the Sun's place is known for "
            f"{FIRST_YEAR} to {LAST_YEAR}; correct it with --time"
        )


def _middle_utc(candidate: TimeCandidate, zone_name: str, length: timedelta, name: str) -> datetime:
    zone_name = candidate.zone_name or zone_name
    value = candidate.value if candidate.abbreviation is None else _in_named_zone(candidate, zone_name, name)
    moment = in_utc(value, zone_name=zone_name, source=candidate.source, name=name)
    return moment + {"start": length / 2, "middle": timedelta(0), "end": -length / 2}[candidate.meaning]


def _in_named_zone(candidate: TimeCandidate, zone_name: str, name: str) -> datetime:
    """Return a time with its offset where a zone's abbreviation stands beside it.

    Raises
    ------
    FactsError
        It is not that of the zone then: the same letters may mean several zones.
    """
    zone, abbreviation = ZoneInfo(zone_name), candidate.abbreviation
    for fold in (0, 1):  # where the clocks are put back it tells which
        moment = candidate.value.replace(tzinfo=zone, fold=fold)
        if moment.tzname() == abbreviation:
            return moment
    raise FactsError(
        f"{name}: {abbreviation} after the time in its name is not what the clocks of {zone_name} showed then; "
        f"give --time with its offset, such as {candidate.value.isoformat()}+02:00"
    )


def _likely_cause(middle: datetime, apart: timedelta, slack: timedelta, zone_name: str) -> str:
    """Return the usual mistake that explains how far two times are apart; empty where none does."""
    local = middle.astimezone(ZoneInfo(zone_name))
    offset, summer = local.utcoffset(), local.dst()
    if offset and abs(abs(apart) - abs(offset)) <= slack:
        return f"; that is how far {zone_name} is from UTC: it looks like a zone mistake, local time taken for UTC"
    if summer and abs(abs(apart) - abs(summer)) <= slack:
        return "; that looks like a clock that was not changed to summer time"
    return ""


def _doubt(name: str, source: str, apart: timedelta, *, cause: str, taken: tuple[str, datetime]) -> str:
    first_source, middle = taken
    return (
        f"{name}: {source} says {middle + apart:%Y-%m-%dT%H:%M:%SZ}, {_format_interval(apart)} than {first_source} "
        f"({middle:%Y-%m-%dT%H:%M:%SZ}), which is used{cause}; give --time if that is wrong"
    )


def _format_interval(apart: timedelta) -> str:
    """Return an interval such as ``1 h 5 min later``."""
    minutes = round(abs(apart).total_seconds() / 60)
    hours, minutes_left = divmod(minutes, 60)
    if hours >= 48:
        size = f"{hours / 24:.1f} days"
    else:
        size = " ".join(part for part in (hours and f"{hours} h", minutes_left and f"{minutes_left} min") if part)
    return f"{size} {'later' if apart > timedelta(0) else 'earlier'}"


def _to_the_second(moment: datetime) -> datetime:
    return (moment + timedelta(seconds=0.5)).replace(microsecond=0)
