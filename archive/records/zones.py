"""Time zones: that of this computer, and the nearest one of the tz database to a site."""

from __future__ import annotations

import math
import os
import pkgutil
import re
from datetime import datetime, timedelta
from functools import cache
from pathlib import Path
from zoneinfo import ZoneInfo, available_timezones

__all__ = ["computer_zone", "near_offsets", "nearest_zone", "off_mean_time_hours", "offset_at"]

_FEW_ZONES = 8
_LOCAL_TIME = Path("/etc/localtime")
# ISO 6709, as the table of zones writes places: ±DDMM±DDDMM or ±DDMMSS±DDDMMSS.
_PLACE = re.compile(r"([+-])(\d\d)(\d\d)(\d\d)?([+-])(\d\d\d)(\d\d)(\d\d)?")


def computer_zone() -> str | None:
    """Return the zone that this computer is set to; None where it does not name one."""
    given = os.environ.get("TZ", "").removeprefix(":")
    try:
        name = given or str(_LOCAL_TIME.resolve()).rpartition("zoneinfo/")[2]
    except (OSError, RuntimeError):
        return None
    return "UTC" if name in ("Etc/UTC", "UTC0") else name if name in available_timezones() else None


def nearest_zone(latitude_deg: float, longitude_deg: float, *, offset: timedelta | None, at: datetime) -> str | None:
    """Return the zone whose chief city is nearest to a site: not always the site's own, which no table of cities tells.

    Parameters
    ----------
    latitude_deg, longitude_deg : float
        North and east positive.
    offset : timedelta or None
        Only zones that are so far ahead of UTC then; None for all.
    at : aware datetime
    """
    near = _by_distance(latitude_deg, longitude_deg)
    return next((name for name in near if offset is None or offset_at(name, at) == offset), None)


def near_offsets(latitude_deg: float, longitude_deg: float, *, at: datetime) -> list[timedelta]:
    """Return how far the clocks of the nearest zones are ahead of UTC at an aware time, the nearest first."""
    near = _by_distance(latitude_deg, longitude_deg)[:_FEW_ZONES]
    return list(dict.fromkeys(offset_at(name, at) for name in near))


def _by_distance(latitude_deg: float, longitude_deg: float) -> list[str]:
    near = sorted(_cities(), key=lambda city: _distance_deg(city[1:], (latitude_deg, longitude_deg)))
    return [name for name, *_ in near]


def offset_at(zone_name: str, at: datetime) -> timedelta:
    """Return how far a zone's clocks are ahead of UTC at an aware time."""
    return at.astimezone(ZoneInfo(zone_name)).utcoffset() or timedelta(0)


def off_mean_time_hours(zone_name: str, longitude_deg: float, *, at: datetime) -> float:
    """Return by how many hours a zone's clocks are ahead of the mean time of a longitude, from -12 to 12."""
    return (offset_at(zone_name, at) / timedelta(hours=1) - longitude_deg / 15.0 + 12.0) % 24.0 - 12.0


@cache
def _cities() -> tuple[tuple[str, float, float], ...]:
    """Return the zones with latitude and longitude (deg) of their chief cities, as the tz database lists them."""
    table = (pkgutil.get_data("tzdata", "zoneinfo/zone1970.tab") or b"").decode("utf-8")
    rows = [line.split("\t") for line in table.splitlines() if line and not line.startswith("#")]
    known = available_timezones()  # reads the computer's folders of zones at each call
    places = [(row[2], _PLACE.fullmatch(row[1])) for row in rows if len(row) > 2]
    return tuple(
        (name, _degrees(*match.group(1, 2, 3, 4)), _degrees(*match.group(5, 6, 7, 8)))
        for name, match in places
        if match is not None and name in known
    )


def _degrees(sign: str, whole: str, minutes: str, seconds: str | None) -> float:
    size = int(whole) + int(minutes) / 60 + int(seconds or 0) / 3600
    return -size if sign == "-" else size


def _distance_deg(one: tuple[float, float], other: tuple[float, float]) -> float:
    """Return the angle between two places on the Earth, by the spherical law of cosines."""
    (lat, lon), (lat2, lon2) = (map(math.radians, place) for place in (one, other))
    cosine = math.sin(lat) * math.sin(lat2) + math.cos(lat) * math.cos(lat2) * math.cos(lon - lon2)
    return math.degrees(math.acos(min(1.0, max(-1.0, cosine))))
