"""Real fortnights with known truth: pictures of `../shared/real`, turned, mirrored, shifted and scaled.

Solar north is up in these pictures, east left (the README beside them says so), and P is 0.
"""

from __future__ import annotations

from collections import Counter
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from studies.weeks import LEVELLING_RMS_DEG, ZERO, Taken, Week, spotted, wrapped_deg

from archive.model.choices import Mount
from archive.sun.view import sun_view

__all__ = ["REAL", "real_fortnight", "two_groups_up"]

REAL = Path(__file__).parents[3] / "shared" / "real"
CENTRE_PX = np.array([255.4, 255.7])  # of the disc in every one, as their README gives it
SIDE_PX = 720


def real_fortnight(number: int) -> Week:
    """Return 5 to 10 days of real pictures: as from an alt-azimuth mount where `number` is even, else turned freely.

    Two or more groups are up on all but one of them at most: in October 2010 by the table beside the pictures, in
    July 2024 always.
    """
    rng = np.random.default_rng([953, number])
    paths = _real_days(rng, number)
    mirrored, camera_deg = bool(rng.integers(2)), float(rng.uniform(-180.0, 180.0))
    mount: Mount = "unknown" if number % 2 else "altaz"
    taken, north_angles = [], []
    for path in paths:
        # P is 0 in these pictures; the parallactic angle is made up, as a day's course at middle latitudes has it.
        sky_deg = float(rng.uniform(-45.0, 45.0))
        north_deg = wrapped_deg(sky_deg + camera_deg + LEVELLING_RMS_DEG * float(rng.normal()))
        if mount == "unknown":
            north_deg = float(rng.uniform(-180.0, 180.0))
        time = datetime.strptime(path.stem, "%Y%m%dT%H%M%SZ").replace(tzinfo=UTC)
        values = _turned_pixels(path, rng, north_deg=north_deg, mirrored=mirrored)
        sun = sun_view(time, latitude_deg=0.0, longitude_deg=0.0)
        taken.append(Taken(values, time, sun, sky_deg if mount == "altaz" else None))
        north_angles.append(north_deg)
    pictures = tuple(spotted(one) for one in taken)
    return Week(pictures, tuple(north_angles), mirrored, f"{paths[0].parent.name}, {mount}")


def two_groups_up(week: Week) -> tuple[bool, ...]:
    """Return whether two or more groups were up at each picture, by the table; in July 2024 always."""
    counts = _groups_of_the_table()
    days = [ZERO + timedelta(days=picture.time_days) for picture in week.pictures]
    return tuple(day.year != 2010 or counts[f"{day:%Y%m%d}"] >= 2 for day in days)


def _real_days(rng: np.random.Generator, number: int) -> list[Path]:
    """Consecutive days with up to three left out; every third fortnight is from 2024."""
    recent = number % 3 == 2
    paths = sorted((REAL / ("hmi-2024-07" if recent else "hmi-2010-10")).glob("*.jpg"))
    counts = _groups_of_the_table()
    while True:
        length = int(rng.integers(5, 11))
        start = int(rng.integers(len(paths) - length + 1))
        left_out = set(rng.choice(length, size=int(rng.integers(0, min(3, length - 5) + 1)), replace=False).tolist())
        chosen = [path for place, path in enumerate(paths[start : start + length]) if place not in left_out]
        if recent or sum(counts[path.stem[:8]] < 2 for path in chosen) <= 1:
            return chosen


def _groups_of_the_table() -> dict[str, int]:
    """Number of groups by day: USAF/NOAA record of October 2010."""
    lines = (REAL / "tables" / "usaf-noaa-groups-2010-10.txt").read_text().splitlines()
    return Counter(line[:8].replace(" ", "0") for line in lines if line.strip())


def _turned_pixels(path: Path, rng: np.random.Generator, *, north_deg: float, mirrored: bool) -> NDArray[np.uint8]:
    """A real picture, north up and not mirrored, as a camera would have delivered it: bicubic, 8 bit, colour kept."""
    from PIL import Image

    scale = float(rng.uniform(0.8, 1.3))
    to_x, to_y = (SIDE_PX / 2.0 + rng.uniform(-20.0, 20.0, 2)).tolist()
    turn = np.radians(north_deg)
    # Delivered to original: un-mirror, then turn north from `north_deg` counter-clockwise of up back to up (y down).
    back = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]]) / scale
    if mirrored:
        back = back @ np.diag([-1.0, 1.0])
    # The library maps output to input with pixel centres at halves.
    offset = CENTRE_PX + 0.5 - back @ np.array([to_x, to_y])
    matrix = (back[0, 0], back[0, 1], offset[0], back[1, 0], back[1, 1], offset[1])
    with Image.open(path) as picture:
        turned = picture.transform((SIDE_PX, SIDE_PX), Image.Transform.AFFINE, matrix, Image.Resampling.BICUBIC)
    return np.asarray(turned)
