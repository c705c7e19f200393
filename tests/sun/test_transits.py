"""Transits of Mercury and Venus: contacts from published predictions, places from DE421 by skyfield."""

from __future__ import annotations

import warnings
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from archive.model.observatory import Site
from archive.sun.transits import transits_at

CENTRE = Site("centre", 0.0, 0.0, has_horizon=False)
# Geocentric contacts I to IV, greatest transit in the middle, by F. Espenak, NASA's GSFC (from memory).
TRANSITS = [
    ("Venus", datetime(2012, 6, 5, 22, 9, 38, tzinfo=UTC), datetime(2012, 6, 6, 1, 29, 36, tzinfo=UTC), 554.4),
    ("Mercury", datetime(2016, 5, 9, 11, 12, 19, tzinfo=UTC), datetime(2016, 5, 9, 14, 57, 26, tzinfo=UTC), 318.5),
    ("Mercury", datetime(2019, 11, 11, 12, 35, 27, tzinfo=UTC), datetime(2019, 11, 11, 15, 19, 48, tzinfo=UTC), 75.9),
]


@pytest.mark.parametrize(("planet", "first_contact", "greatest", "least_arcsec"), TRANSITS)
def test_published_transits_are_found(
    planet: str, first_contact: datetime, greatest: datetime, least_arcsec: float
) -> None:
    first, middle = transits_at([first_contact, greatest], CENTRE)
    assert first is not None
    assert middle is not None
    assert middle.planet == planet
    assert np.hypot(middle.east_arcsec, middle.north_arcsec) == pytest.approx(least_arcsec, abs=15.0)
    semidiameter_arcsec = 946.0 if first_contact.month in (5, 6) else 969.3  # Astronomical Almanac, from memory
    touching_arcsec = semidiameter_arcsec + first.radius_arcsec
    assert np.hypot(first.east_arcsec, first.north_arcsec) == pytest.approx(touching_arcsec, abs=15.0)


def test_the_place_agrees_with_de421() -> None:
    skyfield_data = pytest.importorskip("skyfield_data")
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="The file finals2000A.all has expired", category=RuntimeWarning)
        folder = Path(skyfield_data.get_skyfield_data_path())
    from skyfield.api import load, load_file, wgs84

    kernel = load_file(str(folder / "de421.bsp"))
    moment = datetime(2016, 5, 9, 13, 0, tzinfo=UTC)
    time = load.timescale(builtin=True).from_datetime(moment)
    here = (kernel["earth"] + wgs84.latlon(52.0, 0.0)).at(time)
    sun, mercury = (time.M @ here.observe(kernel[name]).apparent().position.km for name in ("sun", "mercury"))
    kernel.close()
    east = np.cross([0.0, 0.0, 1.0], sun)
    north = np.cross(sun, east)
    off = [float(mercury @ axis / np.linalg.norm(axis) / np.linalg.norm(mercury)) for axis in (east, north)]
    (found,) = transits_at([moment], Site("here", 52.0, 0.0, 0.0))
    assert found is not None
    assert np.array([found.east_arcsec, found.north_arcsec]) == pytest.approx(np.degrees(off) * 3600.0, abs=10.0)


def test_on_other_days_nothing_is_before_the_sun() -> None:
    times = [datetime(2016, month, 9, 15, 0, tzinfo=UTC) for month in range(1, 13) if month != 5]
    assert transits_at(times, CENTRE) == [None] * 11
    assert transits_at([], CENTRE) == []
