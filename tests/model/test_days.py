"""Which picture stands for a day, and whose count is the day's."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from itertools import permutations

import pytest

from archive.model.days import by_day, count_of_day, counted_picture_of_day, local_day, picture_of_day
from archive.model.observation import Counts, Disc, Observation, Orientation, PictureFile, SunView

TIME = datetime(2026, 6, 3, 9, 15, tzinfo=UTC)
UNKNOWN = Orientation("unknown", None, None, None)
COUNTS = Counts(2, 7, 27.0)
PLAIN = Observation(
    id="2026-06-03T0915Z",
    time_utc=TIME,
    site="Quay",
    instrument="Doorstep",
    band="white",
    picture=PictureFile("x.png", "0" * 64, 640, 480, 8),
    disc=Disc(320.0, 240.0, 200.0, 0.0, 0.1, blur_px=2.0),
    orientation=Orientation("solved", 12.0, False, 0.2),
    sun=SunView(-13.2, 0.0, 340.6, 945.3, 1.0152, 2312, 48.3, 131.7, -28.4),
    counts=COUNTS,
)


def later(hours: float, **changes: object) -> Observation:
    """The plain picture of another hour, and otherwise changed."""
    time_utc = TIME + timedelta(hours=hours)
    return replace(PLAIN, id=f"{time_utc:%Y-%m-%dT%H%MZ}", time_utc=time_utc, **changes)  # type: ignore[arg-type]


SHARP = replace(PLAIN.disc, blur_px=1.0)


@pytest.mark.parametrize(
    ("better", "worse"),
    [
        (later(1, orientation=UNKNOWN, counts=None), later(0, band="h-alpha", disc=SHARP)),
        (later(1, counts=None), later(0, orientation=UNKNOWN, disc=SHARP)),
        (later(1), later(0, counts=None, disc=SHARP)),
        (later(1, disc=SHARP), later(0)),
        (later(1, disc=replace(PLAIN.disc, radius_px=400.0, blur_px=3.0)), later(0)),
        (later(1), later(0, disc=replace(PLAIN.disc, blur_px=0.0))),
        (later(0), later(1)),
    ],
    ids=["white", "north", "counted", "sharp", "sharp for its size", "blur known", "early"],
)
def test_one_picture_stands_for_a_day_whatever_their_order(better: Observation, worse: Observation) -> None:
    last = later(2, band="calcium-k", orientation=UNKNOWN, counts=None)
    assert {picture_of_day(some) for some in permutations([better, worse, last])} == {better}


def test_count_is_that_of_the_day_s_picture_where_it_has_one() -> None:
    sharper = later(1, orientation=UNKNOWN, disc=SHARP, counts=Counts(3, 9, 39.0))
    assert counted_picture_of_day([sharper, PLAIN]) is PLAIN
    assert count_of_day([sharper, PLAIN]) is COUNTS


def test_where_the_day_s_picture_is_not_counted_the_best_that_is_gives_the_count() -> None:
    main = later(0, counts=None)
    early, sharper = later(1, orientation=UNKNOWN), later(2, orientation=UNKNOWN, disc=SHARP, counts=Counts(3, 9, 39.0))
    assert picture_of_day([main, early, sharper]) is main
    assert counted_picture_of_day([main, early, sharper]) is sharper
    assert count_of_day([main]) is None


def test_days_are_those_of_utc_and_in_order_of_time() -> None:
    midnight = later(14.75)
    assert by_day([midnight, later(1), PLAIN]) == {date(2026, 6, 3): [PLAIN, later(1)], date(2026, 6, 4): [midnight]}


# Offsets as the tz database has them for these dates: New Zealand 12 h and in summer 13 h ahead, the Line Islands 14 h
# ahead although at 157 W, Western China on Beijing's 8 h at 76 E, California 8 h behind.
@pytest.mark.parametrize(
    ("time", "zone_name", "longitude_deg", "day"),
    [
        ("2026-06-02T21:30", "Pacific/Auckland", 174.8, "2026-06-03"),
        ("2026-06-03T11:59", "Pacific/Auckland", 174.8, "2026-06-03"),
        ("2026-06-03T12:00", "Pacific/Auckland", 174.8, "2026-06-04"),
        ("2026-12-03T11:00", "Pacific/Auckland", 174.8, "2026-12-04"),
        ("2026-06-02T10:00", "Pacific/Kiritimati", -157.4, "2026-06-03"),
        ("2026-06-02T16:00", "Asia/Shanghai", 76.0, "2026-06-03"),
        ("2026-06-04T01:00", "America/Los_Angeles", -118.0, "2026-06-03"),
        # The archive's zone is far from the site: its mean time, 174.8 / 15 h = 11 h 39 min 12 s ahead.
        ("2026-06-02T12:20", "UTC", 174.8, "2026-06-02"),
        ("2026-06-02T12:21", "UTC", 174.8, "2026-06-03"),
        ("2026-06-02T21:30", "Europe/London", 174.8, "2026-06-03"),
        ("2026-06-04T01:00", "Europe/London", -118.0, "2026-06-03"),
        ("2026-06-03T09:15", "Europe/London", -1.3, "2026-06-03"),
        ("2026-06-03T23:30", "UTC", 0.0, "2026-06-03"),
    ],
)
def test_the_day_at_a_site_is_that_of_its_zone_or_of_its_mean_time(
    time: str, zone_name: str, longitude_deg: float, day: str
) -> None:
    time_utc = datetime.fromisoformat(time).replace(tzinfo=UTC)
    assert local_day(time_utc, zone_name=zone_name, longitude_deg=longitude_deg).isoformat() == day
