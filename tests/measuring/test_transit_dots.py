"""Mercury among the spots: its dot is left out where the ephemeris has it, mirrored or turned as the picture is."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, datetime

import pytest

from archive.measuring.transit_dots import transit_remark, without_planet
from archive.model.observation import Disc, Observation, Orientation, PictureFile, Spot
from archive.sun.transits import Transit
from archive.sun.view import sun_view

TRANSIT = Transit("Mercury", 300.0, -400.0, 6.0)  # 500 arcsec from the centre, at position angle 143.13
TIME = datetime(2016, 5, 9, 15, 0, tzinfo=UTC)
SUN = sun_view(TIME, latitude_deg=52.0, longitude_deg=0.0)


def picture(north_angle_deg: float | None, *, mirrored: bool = False) -> Observation:
    status = "unknown" if north_angle_deg is None else "solved"
    orientation = Orientation(status, north_angle_deg, mirrored, None if north_angle_deg is None else 0.5)
    file = PictureFile("a.jpg", "0" * 64, 600, 600, 8)
    return Observation("a", TIME, "here", "D", "white", file, Disc(300.0, 300.0, 250.0, 0.0, 0.1), orientation, SUN)


def dot(angle_deg: float, distance_arcsec: float) -> Spot:
    """Return a spot at an angle counter-clockwise from the picture's up."""
    turn, radii = math.radians(angle_deg), distance_arcsec / SUN.semidiameter_arcsec
    return Spot(-radii * math.sin(turn), radii * math.cos(turn), 20.0, None)


PLACE_DEG = math.degrees(math.atan2(300.0, -400.0))
OTHERS = (dot(20.0, 300.0), dot(200.0, 800.0))


@pytest.mark.parametrize("north_angle_deg", [0.0, 75.0, -160.0])
@pytest.mark.parametrize("mirrored", [False, True])
def test_the_planets_dot_is_left_out_at_its_place(north_angle_deg: float, mirrored: bool) -> None:
    angle_deg = PLACE_DEG + north_angle_deg - SUN.p_deg
    mercury = dot(-angle_deg if mirrored else angle_deg, 505.0)
    one = picture(north_angle_deg, mirrored=mirrored)
    assert without_planet(one, (OTHERS[0], mercury, OTHERS[1]), TRANSIT) == OTHERS
    assert without_planet(one, OTHERS, TRANSIT) == OTHERS


def test_a_spot_as_far_from_the_centre_elsewhere_stays() -> None:
    spot = dot(PLACE_DEG + 90.0, 500.0)
    assert without_planet(picture(0.0), (spot,), TRANSIT) == (spot,)


def test_without_north_the_dot_goes_by_its_distance_where_only_one_has_it() -> None:
    mercury, alike = dot(10.0, 500.0), dot(200.0, 510.0)
    unknown = picture(None)
    assert without_planet(unknown, (*OTHERS, mercury), TRANSIT) == OTHERS
    assert without_planet(unknown, (mercury, alike), TRANSIT) == (mercury, alike)


def test_the_remark_names_the_planet_and_its_size() -> None:
    assert transit_remark(TRANSIT, found=True).startswith(
        "Mercury passes before the Sun: its round dark dot, 12 arcsec"
    )
    assert "Venus" in transit_remark(replace(TRANSIT, planet="Venus"), found=False)
