"""The Moon beside the Sun against DE421 (as skyfield reads it) and against published Besselian elements."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from sun.test_sun_against_de421 import SITES, Reference, de421, wrapped_deg

from archive.model.observatory import Site
from archive.sun.moon import moon_at

__all__ = ["de421"]

ARCSEC = 1.0 / 3600.0
# Greatest eclipse, UT: predictions by Fred Espenak, NASA's GSFC (../shared/real/tables/besselian).
NEW_MOON = datetime(2017, 8, 21, 18, 26, tzinfo=UTC)
SYNODIC_MONTH = timedelta(days=29.530588861)  # Meeus, Astronomical Algorithms, chapter 49


def near_new_moon() -> list[datetime]:
    """Return times near the new moons of 1973 to 2025, where both sides know the Earth's rotation."""
    rng = np.random.default_rng(98)
    months = rng.integers(-540, 95, 150)
    return [NEW_MOON + int(month) * SYNODIC_MONTH + timedelta(hours=float(rng.normal(0, 8))) for month in months]


@pytest.mark.parametrize(("latitude_deg", "longitude_deg", "elevation_m"), SITES)
def test_moon_from_a_site_agrees_near_new_moon(
    de421: Reference, latitude_deg: float, longitude_deg: float, elevation_m: float
) -> None:
    from skyfield.api import wgs84

    times = near_new_moon()
    ours = moon_at(times, Site("here", latitude_deg, longitude_deg, elevation_m))
    moments = de421.timescale.from_datetimes(times)
    place = (de421.earth + wgs84.latlon(latitude_deg, longitude_deg, elevation_m)).at(moments)
    apparent = {name: place.observe(getattr(de421, name)).apparent() for name in ("moon", "sun")}
    for name, most_arcsec, rms_arcsec in (("moon", 2.5, 0.8), ("sun", 1.0, 0.5)):
        right_ascension, declination, distance = apparent[name].radec(epoch="date")
        body = getattr(ours, name)
        across = wrapped_deg(body.right_ascension_deg - right_ascension._degrees) * np.cos(declination.radians)
        off_arcsec = np.hypot(across, body.declination_deg - declination.degrees) / ARCSEC
        assert off_arcsec.max() < most_arcsec
        assert np.sqrt(np.mean(off_arcsec**2)) < rms_arcsec
        assert body.distance_km == pytest.approx(distance.km, rel=5e-5)
    separation_deg = apparent["moon"].separation_from(apparent["sun"]).degrees
    assert ours.separation_arcsec * ARCSEC == pytest.approx(separation_deg, abs=2.5 * ARCSEC)


def test_the_semidiameters_are_the_published_ones() -> None:
    """Total eclipse of 2017 August 21 at greatest eclipse: Sun 15'48.7", Moon 16'03.4" from the Earth's centre.

    Espenak, NASA's GSFC, eclipse map of 2017 (from memory); the Moon's radius there is k = 0.272508.
    """
    both = moon_at([NEW_MOON], Site("centre", 0.0, 0.0, has_horizon=False))
    assert both.sun.semidiameter_arcsec[0] == pytest.approx(15 * 60 + 48.7, abs=0.3)
    assert both.moon.semidiameter_arcsec[0] == pytest.approx(16 * 60 + 3.4, abs=0.3)


def test_position_angle_and_offset_are_of_the_moon_from_the_sun() -> None:
    """Corpus Christi, 2023 October 14: first contact 15:26:29.6 UT at position angle 315 (see tables/besselian)."""
    site = Site("Corpus Christi", 27.80, -97.40, 0.0)
    both = moon_at([datetime(2023, 10, 14, 15, 26, 30, tzinfo=UTC)], site)
    radii_arcsec = both.sun.semidiameter_arcsec[0] + both.moon.semidiameter_arcsec[0]
    assert both.separation_arcsec[0] == pytest.approx(radii_arcsec, abs=6.0)
    assert both.position_angle_deg[0] == pytest.approx(315.0, abs=1.0)
    east, north = both.offset_arcsec
    assert np.hypot(east[0], north[0]) == pytest.approx(both.separation_arcsec[0])
    assert east[0] < 0.0 < north[0]


def test_a_moment_without_a_zone_is_refused() -> None:
    with pytest.raises(ValueError, match="time zone"):
        moon_at([datetime(2023, 10, 14, 15, 26)], Site("here", 0.0, 0.0))  # noqa: DTZ001
