"""The words of a film's frames: date and time, what a frame shows, what is drawn beside the Sun."""

from __future__ import annotations

from datetime import datetime
from zoneinfo import ZoneInfo

from archive.films.timeline import FrameSpec
from archive.language.dates import zone_words
from archive.model.caption_words import ENGLISH, CaptionWords
from archive.model.choices import Caption

__all__ = ["caption_lines", "format_latitude", "title_lines"]


def caption_lines(
    spec: FrameSpec, *, kind: Caption = "full", zone_name: str = "UTC", words: CaptionWords = ENGLISH
) -> tuple[str, ...]:
    """Return the date, with the time for kind `full`, and whether the frame was observed; nothing for `none`."""
    if kind == "none":
        return ()
    zone = ZoneInfo(zone_name)
    local = spec.time_utc.astimezone(zone)
    day = _date(local, words)
    when = day if kind == "date" else f"{day}, {local:%H:%M} {zone_words(local)}"
    if spec.kind == "observed":
        own = spec.observed_utc
        # In a film of equal time steps a frame may differ by some minutes from the observation it shows.
        off = kind != "date" and own is not None and f"{own:%H:%M}" != f"{spec.time_utc:%H:%M}"
        if off and own is not None:
            return when, words.observed_at.format(time=f"{own.astimezone(zone):%H:%M}")
        return when, words.observed
    return when, words.between if spec.observations else words.not_observed


def _date(local: datetime, words: CaptionWords) -> str:
    """Return the day as ``3 June 2026``."""
    month = local.month
    return words.date.format(day=local.day, month=words.months[month - 1], month_number=month, year=local.year)


def title_lines(archive_title: str, film_title: str, observer: str) -> tuple[str, ...]:
    """Return the lines of a title card, the largest first; the observer is named unless the archive's title does."""
    lines = (archive_title, film_title)
    return lines if observer in archive_title else (*lines, observer)


def format_latitude(latitude_deg: float) -> str:
    """Return a whole latitude as ``15° N``."""
    return f"{abs(latitude_deg):.0f}°" + (" N" if latitude_deg > 0 else " S" if latitude_deg < 0 else "")
