"""Days of the pages, which are those of UTC or of the site's clock, and the observations of such a day."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date

from archive.disk import Folder
from archive.errors import SettingsError
from archive.records.places import Place, places
from archive.records.record import read_record
from archive.records.settings import Settings, find_named

__all__ = ["day_of", "places_of_day", "utc_days"]


def utc_days(settings: Settings, days: Iterable[str]) -> set[str]:
    """Return the UTC days in whose folders the pictures of these days may lie."""
    if settings.days == "utc":
        return set(days)
    numbers = {date.fromisoformat(day).toordinal() + off for day in days for off in (-1, 0, 1)}
    return {str(date.fromordinal(number)) for number in numbers if 0 < number <= date.max.toordinal()}


def day_of(settings: Settings, files: Folder, place: Place, record_file: str | None = None) -> str:
    """Return the day to which an observation belongs; `record_file` is its record where that is not at its place.

    Raises
    ------
    SettingsError
        Its record has mistakes.
    """
    if settings.days == "utc":
        return place.day
    record = read_record(files, record_file or place.file(".toml"))
    return str(settings.day_of(record.time, find_named(settings.sites, record.site, what="site")))


def places_of_day(settings: Settings, files: Folder, day: str) -> list[Place]:
    """Return the observations of a day; one whose record has mistakes is of the day of its name."""

    def its_day(place: Place) -> str:
        try:
            return day_of(settings, files, place)
        except SettingsError:
            return place.day

    return [place for place in places(files, utc_days(settings, [day])) if its_day(place) == day]
