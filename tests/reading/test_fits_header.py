"""Facts in FITS headers, against the Standard 4.0 and astropy's time scales."""

import io
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from astropy.io import fits
from astropy.time import Time

from archive.errors import FactsError
from archive.reading import FoundTime, facts_in_file

REAL = Path(__file__).parents[2].parent / "shared" / "real" / "singles"
TIME = datetime(2026, 6, 3, 9, 15, tzinfo=UTC)


def _file(cards, *, extension=None):
    unit = fits.PrimaryHDU(None if extension else np.zeros((33, 34), "u1"))
    unit.header.update(cards)
    units = [unit]
    if extension:
        units.append(fits.CompImageHDU(np.zeros((33, 34), "u1")))
        units[1].header.update(extension)
    stream = io.BytesIO()
    fits.HDUList(units).writeto(stream)
    return stream.getvalue()


def _facts(cards, **more):
    found = facts_in_file(_file(cards, **more), "fits", "sun")
    assert len(found) < 2
    return found[0] if found else None


@pytest.mark.parametrize(
    ("cards", "expected", "meaning"),
    [
        ({"DATE-OBS": "2026-06-03T09:15:00"}, TIME, "start"),
        ({"DATE-OBS": "2026-06-03T09:15:00.5"}, TIME + timedelta(seconds=0.5), "start"),
        ({"DATE-OBS": "2026-06-03T09:15:00Z"}, TIME, "start"),
        ({"DATE-OBS": "2026-06-03", "TIME-OBS": "09:15:00"}, TIME, "start"),
        ({"DATE-BEG": "2026-06-03T09:15:00", "DATE-OBS": "2026-06-03T09:14:00"}, TIME, "start"),
        ({"DATE-AVG": "2026-06-03T09:15:00", "DATE-BEG": "2026-06-03T09:14:00"}, TIME, "middle"),
        ({"DATE-END": "2026-06-03T09:15:00"}, TIME, "end"),
        # astropy: Time("2026-06-03T09:15:00").mjd = 61194.385416...
        ({"MJD-OBS": 61194.385416666664}, TIME, "start"),
        ({"MJD-AVG": 61194.385416666664, "DATE-OBS": "2026-06-03T09:00:00"}, TIME, "middle"),
        ({"DATE-OBS": "2026-06-03", "MJD-OBS": 61194.385416666664}, TIME, "start"),
        ({"DATE-OBS": "2016-12-31T23:59:60"}, datetime(2017, 1, 1, tzinfo=UTC), "start"),
    ],
)
def test_time(cards, expected, meaning):
    found = _facts(cards).time
    assert abs(found.value - expected) < timedelta(milliseconds=1)
    assert found.value.utcoffset() == timedelta(0)
    assert found.meaning == meaning


@pytest.mark.parametrize("scale", ["UTC", "TAI", "TT", "TDB"])
@pytest.mark.parametrize("text", ["2014-03-01T00:01:25.000", "1995-07-01T12:00:00.000", "2026-06-03T00:00:10.000"])
def test_time_scales(scale, text):
    expected = Time(text, scale=scale.lower()).utc.to_datetime(timezone=UTC)
    found = _facts({"DATE-OBS": text, "TIMESYS": scale}).time.value
    assert abs(found - expected) < timedelta(milliseconds=3)  # TDB - TT stays below 2 ms


def test_gps_time_is_nineteen_seconds_behind_atomic_time():
    # FITS Standard 4.0, table 30: GPS "runs synchronously with TAI, TAI - 19 s".
    atomic = _facts({"DATE-OBS": "2026-06-03T09:15:37", "TIMESYS": "TAI"}).time.value
    assert atomic == TIME
    assert _facts({"DATE-OBS": "2026-06-03T09:15:18", "TIMESYS": "GPS"}).time.value == TIME


@pytest.mark.parametrize("silent", [{"DATE-OBS": "2026-06-03"}, {"DATE-OBS": "03/06/96"}, {"DATE-OBS": ""}, {}])
def test_a_day_alone_gives_nothing(silent):
    assert _facts(silent) is None


@pytest.mark.parametrize(
    ("cards", "message"),
    [
        ({"DATE-OBS": "2026-13-03T09:15:00"}, "sun: DATE-OBS is '2026-13-03T09:15:00'"),
        ({"DATE-OBS": "2026-06-31"}, "DATE-OBS is '2026-06-31'"),
        ({"DATE-OBS": "yesterday"}, "DATE-OBS is 'yesterday'"),
        ({"DATE-AVG": 20260603}, "DATE-AVG is '20260603'"),
        ({"MJD-OBS": 1e9}, r"MJD-OBS is '1000000000\.0'"),
        ({"MJD-OBS": "soon"}, "MJD-OBS is 'soon'"),
        ({"DATE-OBS": "2026-06-03T09:15:00", "TIMESYS": "LOCAL"}, r"DATE-OBS .* \(TIMESYS 'LOCAL'\)"),
    ],
)
def test_what_is_no_time_is_refused_with_keyword_and_value(cards, message):
    with pytest.raises(FactsError, match=message):
        _facts(cards)


def test_capture_facts():
    cards = {
        "DATE-BEG": "2026-06-03T09:15:00",
        "DATE-END": "2026-06-03T09:16:30",
        "EXPTIME": 0.004,
        "FILTER": "  foil ND 5 ",
        "GAIN": 0,
        "XBINNING": 2,
        "INSTRUME": "planetary camera",
        "TELESCOP": "80 mm refractor",
        "STACKCNT": 350,
    }
    facts = _facts(cards)
    assert facts.time == FoundTime(TIME, "start")
    capture = facts.capture
    assert (capture.length_s, capture.exposure_s, capture.gain, capture.binning) == (90, 0.004, 0, 2)
    assert (capture.filter, facts.instrument, capture.frames_stacked) == ("foil ND 5", "planetary camera", 350)
    assert (capture.frames_captured, capture.seeing, facts.axes) == (None, None, None)
    assert _facts({"EXPOSURE": 0.5, "TELAPSE": 60.0, "NCOMBINE": 9, "TELESCOP": "T"}).capture.exposure_s == 0.5


def test_cards_of_the_extension_win_over_those_of_the_primary_header():
    primary = {"DATE-OBS": "2026-06-03T09:00:00", "INSTRUME": "primary", "FILTER": "foil"}
    facts = _facts(primary, extension={"DATE-OBS": "2026-06-03T09:15:00", "INSTRUME": "own"})
    assert (facts.time.value, facts.instrument, facts.capture.filter) == (TIME, "own", "foil")


def test_long_text_is_cut():
    assert _facts({"FILTER": "f" * 200}).capture.filter == "f" * 80


@pytest.mark.skipif(not REAL.is_dir(), reason="the real pictures are not beside the project")
def test_an_upside_down_spacecraft_picture_says_so():
    name = "20140301T000051Z-hmi-upside-down.fits"
    header, from_name = facts_in_file((REAL / name).read_bytes(), "fits", name)
    # CROTA2 179.93, CDELT 20.656 arcsec: the picture's up is solar south, its right is solar east.
    scale = 20.65575936 / 3600
    assert header.axes.system == "helioprojective"
    assert np.allclose(header.axes.matrix_deg, [[-scale, 0], [0, -scale]], atol=scale * 0.002)
    assert header.time.value == datetime(2014, 3, 1, 0, 0, 27, 900000, tzinfo=UTC)
    assert from_name.source == "name"
    assert abs(from_name.time.value - header.time.value) < timedelta(minutes=1)
