"""Capture metadata in a picture file, in order of trust."""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta, timezone

from archive.model.observation import Capture
from archive.reading.exif import exif_facts
from archive.reading.file_name import name_facts
from archive.reading.fits_header import fits_facts
from archive.reading.found import Facts, FoundTime, HeaderAxes, TimesInFile, clean_text
from archive.reading.mapped import Content
from archive.reading.png_text import png_times
from archive.reading.raster import PictureKind
from archive.reading.xmp import xmp_times

__all__ = ["Facts", "FoundTime", "HeaderAxes", "facts_in_file"]

_SAME_TIME = timedelta(minutes=1)
# Zones differ by quarters of an hour, and are at most so far from UTC.
_ZONE_STEP, _MOST_AHEAD = timedelta(minutes=15), timedelta(hours=14)
_SAME_SAVING = timedelta(minutes=5)  # an editor opens a stacked picture, and saves it
_CREATED_BY_WHOM = "the time taken is the PNG's Creation Time; where an editor wrote it, the capture was earlier"
_MADE_BY_WHOM = "the time taken is when the file was made (XMP); where an editor made it, the capture was earlier"


def facts_in_file(data: Content, kind: PictureKind, name: str) -> tuple[Facts, ...]:
    """Return facts from the FITS header, or from EXIF and XMP, then from the file's name and a PNG's own texts,
    without empty ones.

    Parameters
    ----------
    data : bytes or mmap
        The file's content.
    kind : str
        As `picture_kind` found it.
    name : str
        The file's name, with or without folders; also for messages.

    Raises
    ------
    FactsError
        A FITS header cannot be read or has an invalid date. A broken EXIF block or XMP packet is ignored.
    """
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        inside = (fits_facts(data, name),) if kind == "fits" else _embedded_facts(data, kind)
    found = (*inside, name_facts(name))
    if kind == "png" and all(facts.time is None for facts in found):
        found = (*found, _png_facts(data))
    return tuple(facts for facts in found if facts != Facts(facts.source))


def _embedded_facts(data: Content, kind: PictureKind) -> tuple[Facts, ...]:
    """Return the facts of EXIF and XMP.

    The time of the capture is in either; else it is the satellite fix's, else that of the digital data, unless an
    editor made these. The time of saving never is.
    """
    exif, xmp = exif_facts(data, kind), xmp_times(data, kind)
    saved = (*exif.times.saved, *xmp.saved)
    originals = _first(exif.times.original), _first(xmp.original)
    if originals[0] is not None and exif.gps_utc is not None:
        originals = (_beside_satellite(originals[0], exif.gps_utc), originals[1])
    elif originals[0] is not None and exif.unread_offset is not None:
        told = f"the file's offset from UTC, {clean_text(exif.unread_offset)}, cannot be read: the time is without it"
        originals = (replace(originals[0], doubt=told), originals[1])
    if originals == (None, None) and exif.gps_utc is not None:
        originals = (FoundTime(exif.gps_utc, "start"), None)
    if originals == (None, None):
        made = [[time for time in times.made if not _is_of_saving(time, saved)] for times in (exif.times, xmp)]
        originals = _first(made[0]), _first(made[1], doubt=_MADE_BY_WHOM)
    known = originals != (None, None)
    return (
        Facts(
            "exif", originals[0], None if known else _latest(exif.times), capture=Capture(exposure_s=exif.exposure_s)
        ),
        Facts("xmp", originals[1], None if known else _latest(xmp)),
    )


def _png_facts(data: Content) -> Facts:
    """Return the time in a PNG's own text, the least trusted: writers put any moment there."""
    times = png_times(data)
    made = [time for time in times.made if not _is_of_saving(time, times.saved)]
    found = _first(made, doubt=_CREATED_BY_WHOM)
    return Facts("png", found, None if found else _latest(times))


def _beside_satellite(found: FoundTime, gps_utc: datetime) -> FoundTime:
    """Return a time beside that of the satellite fix: of one without a zone, this tells the zone."""
    told = f"{gps_utc:%Y-%m-%dT%H:%M:%SZ}, the time of the satellite fix in the file,"
    if found.value.tzinfo is not None:
        agrees = abs(found.value - gps_utc) <= _SAME_TIME
        return found if agrees else replace(found, doubt=f"{told} is another than {found.value.isoformat()} (EXIF)")
    ahead = found.value - gps_utc.replace(tzinfo=None)
    offset = round(ahead / _ZONE_STEP) * _ZONE_STEP
    if abs(ahead - offset) > _SAME_TIME or abs(offset) > _MOST_AHEAD:
        return replace(found, doubt=f"{told} is in no zone {found.value.isoformat()} (EXIF)")
    zoned = found.value.replace(tzinfo=timezone(offset))
    return FoundTime(zoned, found.meaning, f"{told} puts {found.value.isoformat()} (EXIF) at {zoned:UTC%z}")


def _first(times: Sequence[datetime], *, doubt: str | None = None) -> FoundTime | None:
    return FoundTime(times[0], "start", doubt) if times else None


def _latest(times: TimesInFile) -> datetime | None:
    """Return the time of saving: where the file was saved only once, that at which it was made."""
    return next(iter((*times.saved, *times.made)), None)


def _is_of_saving(time: datetime, saved: Sequence[datetime]) -> bool:
    return any(_apart(time, other) <= _SAME_SAVING for other in saved)


def _apart(one: datetime, other: datetime) -> timedelta:
    """Return how far two times are apart, by their clocks where one has no zone."""
    if (one.tzinfo is None) != (other.tzinfo is None):
        one, other = one.replace(tzinfo=None), other.replace(tzinfo=None)
    return abs(one - other)
