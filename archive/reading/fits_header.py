"""Capture metadata in a FITS header.

Reference: FITS Standard 4.0 (2018), sections 4.4.2 and 9 (time); the other keywords are widely used conventions.
"""

from __future__ import annotations

import math
import re
import warnings
from datetime import UTC, datetime, timedelta

from archive.errors import FactsError
from archive.model.choices import TimeMeaning
from archive.model.constants import SECONDS_PER_DAY
from archive.model.observation import Capture
from archive.reading.fits import Cards, read_headers
from archive.reading.found import Facts, FoundTime, clean_text
from archive.reading.mapped import Content
from archive.reading.world_axes import header_axes

__all__ = ["fits_facts"]

# Seconds ahead of TAI, by the standard's names and their older synonyms. TDB differs from TT by 2 ms.
AHEAD_OF_TAI_S = {"TAI": 0.0, "IAT": 0.0, "GPS": -19.0} | dict.fromkeys(("TT", "TDT", "ET", "TDB"), 32.184)
UTC_NAMES = ("UTC", "UT", "UT1", "GMT")  # UT1 stays within 0.9 s of UTC
DATE = re.compile(r"([+-]?\d{4,5}-\d\d-\d\d)(?:[T ](\d\d:\d\d(?::\d\d)?)(?:\.(\d*))?)?Z?")
OLD_DATE = re.compile(r"\d\d/\d\d/\d\d")  # before 2000; no time of day in it
TIMES: tuple[tuple[str, str, TimeMeaning], ...] = (
    ("DATE-AVG", "MJD-AVG", "middle"),
    ("DATE-BEG", "MJD-BEG", "start"),
    ("DATE-OBS", "MJD-OBS", "start"),
    ("DATE-END", "MJD-END", "end"),
)
MJD_ZERO = datetime(1858, 11, 17, tzinfo=UTC)


def fits_facts(data: Content, name: str) -> Facts:
    """Return time, capture data and world axes. The picture's header takes precedence over the primary one.

    Raises
    ------
    FactsError
        The header cannot be read, or a time keyword has an invalid value.
    """
    try:
        headers = read_headers(data)
    except Exception as error:  # on damaged headers the library raises all kinds of exceptions
        raise FactsError(f"{name}: the FITS header cannot be read; save the picture again") from error
    cards = {**headers.primary, **headers.picture}
    times = {meaning: time for *keys, meaning in reversed(TIMES) if (time := _time(cards, *keys, name=name))}
    meaning = next((m for *_, m in TIMES if m in times), None)
    binning = _positive(cards, "XBINNING")
    stacked = _positive(cards, "STACKCNT", "NCOMBINE")
    return Facts(
        "fits",
        None if meaning is None else FoundTime(times[meaning], meaning),
        capture=Capture(
            length_s=_positive(cards, "TELAPSE") or _length_s(times),
            filter=clean_text(cards.get("FILTER")),
            exposure_s=_positive(cards, "EXPTIME", "EXPOSURE", "XPOSURE"),
            gain=_positive(cards, "GAIN"),
            binning=None if binning is None else round(binning),
            frames_stacked=None if stacked is None else round(stacked),
        ),
        site=clean_text(cards.get("OBSERVAT")),
        instrument=clean_text(cards.get("INSTRUME")) or clean_text(cards.get("TELESCOP")),
        axes=header_axes(headers.picture),
    )


def _length_s(times: dict[TimeMeaning, datetime]) -> float | None:
    if "start" not in times or "end" not in times:
        return None
    length_s = (times["end"] - times["start"]).total_seconds()
    return length_s if length_s > 0 else None


def _positive(cards: Cards, *keys: str) -> float | None:
    """Return the first of the keywords that holds a number above zero; a gain of 0 is a setting too."""
    for key in keys:
        value = cards.get(key)
        if isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value):
            if value > 0 or (key == "GAIN" and value == 0):
                return float(value)
    return None


def _time(cards: Cards, date_key: str, mjd_key: str, *, name: str) -> datetime | None:
    """Return the time of a keyword pair in UTC; the calendar date takes precedence over the Julian one."""
    value, key = cards.get(date_key), date_key
    if date_key == "DATE-OBS" and isinstance(value, str) and isinstance(cards.get("TIME-OBS"), str):
        if "T" not in value:
            value = f"{value.strip()}T{str(cards['TIME-OBS']).strip()}"  # two keywords, an older convention
    try:
        time = None if value is None else _calendar_time(value)
        if time is None and mjd_key in cards:
            value, key = cards[mjd_key], mjd_key
            time = MJD_ZERO + timedelta(days=_finite(value))
        return None if time is None else _to_utc(time, cards)
    except (TypeError, ValueError, OverflowError) as error:
        shown, scale = clean_text(str(value)), clean_text(str(cards.get("TIMESYS", "UTC")))
        raise FactsError(
            f"{name}: {key} is {shown!r} (TIMESYS {scale!r}), not a time by the FITS standard; "
            "correct the header or give the time yourself"
        ) from error


def _calendar_time(value: object) -> datetime | None:
    """Return the time, or None where the keyword is empty or has the day only."""
    text = str(value).strip()
    if text == "" or OLD_DATE.match(text):
        return None
    match = DATE.fullmatch(text)
    if match is None:
        raise ValueError("not a date")
    day, clock, fraction = match.groups()
    if clock is None:
        datetime.fromisoformat(day)
        return None
    leap = clock.endswith(":60")  # a leap second, which datetime lacks: count from the second before
    moment = datetime.fromisoformat(f"{day}T{clock[:-2] + '59' if leap else clock}").replace(tzinfo=UTC)
    return moment + timedelta(seconds=int(leap) + float(f"0.{fraction or 0}"))


def _finite(value: object) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise ValueError("not a number")
    return float(value)


def _to_utc(time: datetime, cards: Cards) -> datetime:
    """Return UTC from the header's time scale. Within a second of a leap second it may be a second off."""
    scale = re.split(r"[(\s]", str(cards.get("TIMESYS", "UTC")).strip().upper())[0] or "UTC"
    if scale in UTC_NAMES:
        return time
    if scale not in AHEAD_OF_TAI_S:
        raise ValueError("unknown time scale")
    import erfa

    tai = time - timedelta(seconds=AHEAD_OF_TAI_S[scale])
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # years far outside the table of leap seconds are "dubious" to it
        since_midnight_s = (tai - tai.replace(hour=0, minute=0, second=0, microsecond=0)).total_seconds()
        leap_s = float(erfa.dat(tai.year, tai.month, tai.day, since_midnight_s / SECONDS_PER_DAY))
    return tai - timedelta(seconds=leap_s)
