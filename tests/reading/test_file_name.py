"""Times in file names. The writings are ISO 8601's or common practice, without a source."""

from datetime import UTC, datetime, timedelta, timezone

import pytest

from archive.reading.file_name import name_facts

TIME = datetime(2026, 6, 3, 9, 15)  # noqa: DTZ001  (no zone in the name)
PLUS_TWO = timezone(timedelta(hours=2))

FOUND = {
    "20260603T091500Z.png": TIME.replace(tzinfo=UTC),
    "2026-06-03T09-15-00Z.tif": TIME.replace(tzinfo=UTC),
    "2026-06-03T09:15:00Z": TIME.replace(tzinfo=UTC),
    "20260603T0915Z.png": TIME.replace(tzinfo=UTC),
    "2026-06-03_09-15-00.png": TIME,
    "2026_06_03_09_15_00.png": TIME,
    "20260603_091500.jpg": TIME,
    "IMG_20260603_091500.jpg": TIME,
    "IMG_20260603_091500~2.jpg": TIME,
    "20260603091500.png": TIME,
    "2026-06-03 09.15.00.png": TIME,
    "2026-06-03 09.15.00": TIME,
    "2026-06-03 at 09.15.00.png": TIME,
    "Screenshot 2026-06-03 at 9.15.00 AM.png": TIME,
    "Screenshot 2026-06-03 at 9.15.00\u202fPM (2).png": TIME.replace(hour=21),
    "2026-06-03 at 12.15.00 AM.png": TIME.replace(hour=0),
    "Sonne 2026-06-03 um 09.15.png": TIME,
    "sun-2026-06-03-0915.png": TIME,
    "2026-06-03-0915.png": TIME,
    "2026-06-03-0915_35.png": TIME,
    "20260603_0915_0001.png": TIME,
    "sun20260603T0915.png": TIME,
    "IMG20260603091500.jpg": TIME,
    "sun202606030915.png": TIME,
    "IMG_20260603_091500123.jpg": TIME.replace(microsecond=123000),
    "IMG_20260603_091500_123.jpg": TIME.replace(microsecond=123000),
    "2026-06-03T09-15-00-123Z.png": TIME.replace(microsecond=123000, tzinfo=UTC),
    "2026-06-03 09.15.00 (2).png": TIME,
    "2026-06-03 09h15.png": TIME,
    "2026-06-03 9h15m30s.png": TIME.replace(second=30),
    "2026 06 03 09 15 00.png": TIME,
    "2026-06-03 0915 UT.png": TIME.replace(tzinfo=UTC),
    "2026-06-03 09.15 GMT.png": TIME.replace(tzinfo=UTC),
    "1920x1080 2026-06-03 0915.png": TIME,
    "03.06.2026 09.15.png": TIME,
    "3.6.2026 9.15.png": TIME,
    "03.06.2026, 09.15.00.png": TIME,
    "03062026_091500.png": TIME,
    "13-06-2026_0915.png": TIME.replace(day=13),
    "06-13-2026 09-15.png": TIME.replace(day=13),
    "06/03/2026/2026-06-03 09.15.00.png": TIME,
    "2026-06-03_09-15-00_UT.png": TIME.replace(tzinfo=UTC),
    "2026-06-03 09.15.00 UTC.png": TIME.replace(tzinfo=UTC),
    "20260603_091500UTC_g4_ap120.png": TIME.replace(tzinfo=UTC),
    "20260603_091500z.png": TIME.replace(tzinfo=UTC),
    "Sun_2026-06-03T091500Z_stacked.tif": TIME.replace(tzinfo=UTC),
    "Sun-20260603_091500+0200-mono.tif": TIME.replace(tzinfo=PLUS_TWO),
    "2026-06-03T09:15:00+02:00.png": TIME.replace(tzinfo=PLUS_TWO),
    "2026-06-03T09-15-00-0200.png": TIME.replace(tzinfo=timezone(timedelta(hours=-2))),
    "2026-06-03_09-15-00 UTC+2.png": TIME.replace(tzinfo=PLUS_TWO),
    "2026-06-03-0915_3.png": TIME.replace(second=18),
    "2026-06-03-0915_0-Sun-W.png": TIME,
    "20260603T091500.25Z.png": TIME.replace(microsecond=250000, tzinfo=UTC),
    "folder of 2025-01-01T000000Z/20260603T091500Z.png": TIME.replace(tzinfo=UTC),
    r"C:\2025-01-01T000000Z\20260603T091500Z.png": TIME.replace(tzinfo=UTC),
    "2026Aug24_09-15-00.png": TIME.replace(month=8, day=24),
    "25 Aug 2026 09-15-00 UT.png": datetime(2026, 8, 25, 9, 15, tzinfo=UTC),
    "Sun 12 June 2026 10-15.tif": TIME.replace(day=12, hour=10),
    "3-September-2026 0915.png": TIME.replace(month=9),
    # A running number after the time is no zone, and a filter's name no Z.
    "2026-06-03_09-15-00-0001.png": TIME,
    "2026-06-03T09-15-00-0007.png": TIME,
    "20260603_091500-0200.png": TIME,
    "20260603T091500Zeiss.png": TIME,
    "20260603T091500utrecht.png": TIME,
}


@pytest.mark.parametrize(("name", "expected"), FOUND.items())
def test_time_in_a_name(name, expected):
    time = name_facts(name).time
    assert (time and time.value) == expected
    if expected is not None:
        assert time.meaning == "middle"
        assert time.value.utcoffset() == expected.utcoffset()


@pytest.mark.parametrize(
    "name",
    [
        "sun.png",
        "2026-06-03.png",
        "20260603.png",
        "20260603_0001.png",  # the first picture of that day
        "20260603_115.png",
        "2026-06-03 12 34.png",
        "2026-06-03_1024px.png",
        "20260603_1024x768.png",
        "2026-06-03 at 13.15.00 PM.png",
        "31.02.2026 09.15.png",
        "13-13-2026 09-15.png",
        "3062026_091500.png",
        "12.06.2026.png",
        "20261303T091500Z.png",
        "20260230T091500Z.png",
        "20260603T241500Z.png",
        "20260603T096000Z.png",
        "20260603T09150.png",
        "1780478100.png",
        "2026060309.png",
        "202606030015.png",
        "120260603091500.png",
        "202606030915001.png",
        "0915Z.png",
        "30260603T091500Z.png",
    ],
)
def test_no_time_in_a_name(name):
    assert name_facts(name).time is None


@pytest.mark.parametrize(
    ("name", "is_open"),
    [
        ("03.06.2026 09.15.png", True),
        ("06-03-2026_0915.png", True),
        ("06.06.2026 09.15.png", False),
        ("13.06.2026 09.15.png", False),
        ("06-13-2026 09-15.png", False),
        ("2026-06-03 09.15.png", False),
    ],
)
def test_day_and_month_that_may_be_exchanged_are_told(name, is_open):
    doubt = name_facts(name).time.doubt
    assert (doubt is not None) == is_open
    if is_open:
        assert name[:10] in doubt
        assert f"{name_facts(name).time.value:%Y-%m-%d}" in doubt


def test_the_abbreviation_of_a_zone_is_told_and_a_word_is_none():
    assert [name_facts(f"2026-06-03 09-15-00 {word}.png").time.zone for word in ("CEST", "EST", "BEST", "stackt")] == [
        "CEST", "EST", None, None,
    ]  # fmt: skip
    assert name_facts("2026-06-03 09-15-00 UT.png").time.zone is None
