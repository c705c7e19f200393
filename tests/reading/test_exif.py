"""Times in EXIF, against the rules of Exif 2.32 (CIPA DC-008, section 4.6), written by Pillow."""

import io
from datetime import UTC, datetime, timedelta, timezone
from fractions import Fraction

import pytest
from PIL import Image
from PIL.TiffImagePlugin import IFDRational

from archive.reading import FoundTime, facts_in_file
from reading.drawn import noise

CHANGED, ORIGINAL, DIGITIZED = 0x0132, 0x9003, 0x9004
OFFSET_CHANGED, OFFSET_ORIGINAL, OFFSET_DIGITIZED = 0x9010, 0x9011, 0x9012
SUBSECOND_ORIGINAL, EXPOSURE, SENSITIVITY = 0x9291, 0x829A, 0x8827
MORNING, EDITED = "2026:06:03 09:15:00", "2026:06:05 21:00:00"
TIME = datetime(2026, 6, 3, 9, 15)  # noqa: DTZ001  (a camera's clock names no zone)


def _file(kind, *, first=(), exif=(), gps=()):
    block = Image.Exif()
    block.update(dict(first))
    block.update({part: dict(tags) for part, tags in ((0x8769, exif), (0x8825, gps)) if tags})
    loaded = Image.Exif()  # the writer of TIFF takes directories below the first only from a loaded block
    loaded.load(block.tobytes())
    stream = io.BytesIO()
    Image.fromarray(noise("u1")).save(stream, kind, exif=loaded)
    return stream.getvalue()


def _facts(kind="jpeg", **parts):
    found = facts_in_file(_file(kind, **parts), kind, "sun")
    assert len(found) < 2
    return found[0] if found else None


@pytest.mark.parametrize("kind", ["jpeg", "png", "tiff"])
def test_original_time_wins_with_its_own_offset_and_fraction(kind):
    exif = {
        ORIGINAL: MORNING,
        OFFSET_ORIGINAL: "+02:00",
        SUBSECOND_ORIGINAL: "25",
        DIGITIZED: EDITED,
        OFFSET_DIGITIZED: "-07:00",
        EXPOSURE: IFDRational(Fraction(1, 250)),
        SENSITIVITY: 100,
    }
    facts = _facts(kind, first={CHANGED: EDITED}, exif=exif)
    zone = timezone(timedelta(hours=2))
    assert facts.time == FoundTime(TIME.replace(microsecond=250000, tzinfo=zone), "start")
    assert facts.time.value.utcoffset() == timedelta(hours=2)
    assert facts.source == "exif"
    assert facts.capture.exposure_s == pytest.approx(0.004)
    assert facts.capture.gain is None  # the film speed scale is no gain


def test_without_an_offset_the_time_is_naive():
    assert _facts(exif={ORIGINAL: MORNING}).time == FoundTime(TIME, "start")
    assert _facts(exif={ORIGINAL: MORNING, OFFSET_CHANGED: "+02:00"}).time.value.tzinfo is None
    assert _facts(exif={ORIGINAL: MORNING, OFFSET_ORIGINAL: "   :  "}).time.value.tzinfo is None


def test_other_times_serve_only_where_the_better_are_absent():
    assert _facts(first={CHANGED: EDITED}, exif={DIGITIZED: MORNING}).time.value == TIME
    offset = {OFFSET_CHANGED: "+00:00"}
    assert _facts(first={CHANGED: MORNING}, exif=offset).saved == TIME.replace(tzinfo=UTC)
    fix = {29: "2026:06:03", 7: (9.0, 15.0, 30.5)}
    expected = datetime(2026, 6, 3, 9, 15, 30, 500000, tzinfo=UTC)
    assert _facts(gps=fix).time.value == expected
    assert _facts(first={CHANGED: MORNING}, gps=fix).time.value == expected


def test_the_time_of_saving_is_never_the_captures():
    """By the standard, 4.6.4, DateTime is that of "file creation or change"; an editor may write it twice."""
    for exif in ({}, {DIGITIZED: EDITED}, {DIGITIZED: "2026:06:05 20:57:00"}, {ORIGINAL: "0000:00:00 00:00:00"}):
        facts = _facts(first={CHANGED: EDITED}, exif=exif)
        assert facts.time is None
        assert facts.saved == datetime(2026, 6, 5, 21)  # noqa: DTZ001
    assert _facts(first={CHANGED: EDITED}, exif={ORIGINAL: EDITED}).time.value.day == 5  # as a camera writes it


@pytest.mark.parametrize(
    "unset",
    ["0000:00:00 00:00:00", "    :  :     :  :  ", "", "2026:13:03 09:15:00", "2026:06:03 24:15:00", "now"],
)
def test_unset_and_impossible_times_are_absent(unset):
    assert _facts(exif={ORIGINAL: unset}) is None
    assert _facts(exif={ORIGINAL: unset, DIGITIZED: MORNING}).time.value == TIME


@pytest.mark.parametrize("fix", [{29: "2026:06:03", 7: (25.0, 0.0, 0.0)}, {29: "2026:06:03"}, {7: (9.0, 1.0, 2.0)}])
def test_an_impossible_or_half_fix_is_absent(fix):
    assert _facts(gps=fix) is None


def test_a_satellite_fix_tells_the_zone_of_a_time_without_one_and_its_disagreement():
    """GPSDateStamp and GPSTimeStamp are UTC by the standard, 4.6.6."""
    found = {}
    for hour, minute in ((7, 15), (9, 15), (13, 45), (7, 22)):
        fix = {29: "2026:06:03", 7: (float(hour), float(minute), 30.0)}
        found[hour, minute] = _facts(exif={ORIGINAL: MORNING}, gps=fix).time
    assert [found[key].value.utcoffset() for key in ((7, 15), (9, 15), (13, 45))] == [
        timedelta(hours=2), timedelta(0), timedelta(hours=-4, minutes=-30),
    ]  # fmt: skip
    assert all("satellite fix" in one.doubt for one in found.values())
    assert found[7, 22].value == TIME  # in no zone: told, and the camera's clock stays
    fix = {29: "2026:06:03", 7: (7.0, 15.0, 0.0)}
    assert _facts(exif={ORIGINAL: MORNING, OFFSET_ORIGINAL: "+02:00"}, gps=fix).time.doubt is None
    assert "another than" in _facts(exif={ORIGINAL: MORNING, OFFSET_ORIGINAL: "+03:00"}, gps=fix).time.doubt


@pytest.mark.parametrize("written", ["+2:00", "+0200", "+02"])
def test_an_offset_that_lacks_a_nought_or_the_colon_is_understood(written):
    found = _facts(exif={ORIGINAL: MORNING, OFFSET_ORIGINAL: written}).time
    assert found == FoundTime(TIME.replace(tzinfo=timezone(timedelta(hours=2))), "start")


def test_an_offset_that_is_none_is_told():
    # Section 4.6.6: where the offset is unknown, all characters but the colons are blanks.
    assert _facts(exif={ORIGINAL: MORNING, OFFSET_ORIGINAL: "   :  "}).time == FoundTime(TIME, "start")
    found = _facts(exif={ORIGINAL: MORNING, OFFSET_ORIGINAL: "summer"}).time
    assert found.value == TIME
    assert "summer" in found.doubt
