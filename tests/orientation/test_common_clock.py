"""A clock that was wrong for days in a row, from the Sun's altitude, its flattening, and north against the mount.

Pictures are made from the Sun's place (checked elsewhere against JPL's ephemeris), with the errors that limb fits,
spots and mounts have. The usual refraction of low altitudes is that of Bennett, Meeus, formula 16.4.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from archive.model.observation import Disc
from archive.orientation.common_clock import HOURS, TimedPicture, _Sky, common_clock_error
from archive.sun.refraction import refraction_flattening
from archive.sun.view import sun_views

START = datetime(2026, 6, 3, tzinfo=UTC)


def pictures(
    seed: int, *, wrong_hours: float = 0.0, days: int = 8, latitude_deg: float = 48.0, camera_deg: float = 20.0,
    stated: bool = True, north: float = 1.0, is_altaz: bool = True, hours: tuple[float, float] = (7.0, 17.0),
    wrong_days: range | None = None,
) -> list[TimedPicture]:  # fmt: skip
    """Pictures of days in a row at longitude 0; `north` is the share of those whose spots show it."""
    rng = np.random.default_rng([seed, 71])
    true = [START + timedelta(days=day, hours=float(rng.uniform(*hours))) for day in range(days)]
    off = [wrong_hours if wrong_days is None or day in wrong_days else 0.0 for day in range(days)]
    told = [time - timedelta(hours=one) for time, one in zip(true, off, strict=True)]
    place = {"latitude_deg": latitude_deg, "longitude_deg": 0.0}
    found = []
    for time, sun, seen in zip(told, sun_views(told, **place), sun_views(true, **place), strict=True):
        sigma_deg = float(rng.uniform(0.1, 1.0))
        north_deg = seen.p_deg - (seen.parallactic_angle_deg if is_altaz else 0.0) + camera_deg
        north_deg += float(rng.normal(scale=0.7)) + float(rng.normal(scale=sigma_deg))
        shape = refraction_flattening(seen.altitude_deg, semidiameter_arcsec=seen.semidiameter_arcsec)
        shape *= 1.0 + float(rng.normal(scale=0.07))
        vertical_deg = north_deg - seen.p_deg + seen.parallactic_angle_deg
        disc = Disc(
            320.0, 240.0, 200.0, abs(shape + float(rng.normal(scale=0.0005))), 0.1, limb_fraction=1.0,
            short_axis_angle_deg=90.0 - (90.0 - vertical_deg) % 180.0, sigma_px=0.05,
        )  # fmt: skip
        shown = rng.random() < north
        found.append(
            TimedPicture(
                day=time.date(), latitude_deg=latitude_deg, sun=sun, disc=disc,
                north_angle_deg=north_deg if shown else None, north_sigma_deg=sigma_deg if shown else None,
                mirrored=False, mount_angle_deg=camera_deg if stated and is_altaz else None, camera_is_stated=stated,
                is_altaz=is_altaz, spot_hours=None,
            )
        )  # fmt: skip
    return found


def test_the_sky_of_other_hours_is_that_of_the_ephemeris() -> None:
    """The declination that is held moves by 0.4 deg a day at the most, the equation of time by half a minute."""
    views = sun_views(
        [START + timedelta(hours=hour) for hour in (3.0, 9.0, 16.0)], latitude_deg=48.0, longitude_deg=0.0
    )
    for hour, view in zip((3.0, 9.0, 16.0), views, strict=True):
        made = [replace(pictures(1, days=1)[0], sun=view)]
        sky = _Sky.of(made)
        times = [START + timedelta(hours=hour + float(other)) for other in HOURS]
        there = sun_views(times, latitude_deg=48.0, longitude_deg=0.0)
        assert sky.altitude_deg[0] == pytest.approx([one.altitude_deg for one in there], abs=0.35)
        off = np.array(sky.parallactic_deg[0]) - [one.parallactic_angle_deg for one in there]
        assert np.abs((off + 180.0) % 360.0 - 180.0).max() < 0.6


@pytest.mark.parametrize("wrong_hours", [-10.0, -5.5, -2.0, -1.0, 1.0, 2.0, 8.0])
@pytest.mark.parametrize("stated", [True, False])
def test_the_hours_are_found(wrong_hours: float, stated: bool) -> None:
    """Eight pictures, at any hours of the day; one set in ten may show an hour too weakly."""
    usual = [2.0, -2.0, 1.0, -1.0, 5.75, wrong_hours]
    found = [
        common_clock_error(pictures(seed, wrong_hours=wrong_hours, stated=stated), likely_hours=usual)
        for seed in range(40)
    ]
    told = [one for one in found if one is not None]
    assert len(told) >= 36
    assert sum(one.hours == wrong_hours for one in told) >= 0.95 * len(told)
    assert sum((one.first, one.last) == (None, None) for one in told) >= 0.95 * len(told)


@pytest.mark.parametrize("stated", [True, False])
@pytest.mark.parametrize("is_altaz", [True, False])
@pytest.mark.parametrize("hours", [(4.5, 19.5), (9.0, 10.0)])
def test_honest_times_are_left_alone(stated: bool, is_altaz: bool, hours: tuple[float, float]) -> None:
    usual = [2.0, -2.0, 1.0, -1.0, 12.0]
    for seed in range(100):
        made = pictures(seed, stated=stated, is_altaz=is_altaz, hours=hours, days=10, north=0.7)
        assert common_clock_error(made, likely_hours=usual) is None, seed


def test_a_camera_turned_by_a_few_degrees_is_no_wrong_clock() -> None:
    for seed in range(50):
        made = [
            replace(one, north_angle_deg=None if one.north_angle_deg is None else one.north_angle_deg + 7.0 * (day > 4))
            for day, one in enumerate(pictures(seed, hours=(7.0, 17.0)))
        ]
        found = common_clock_error(made)
        assert found is None, (seed, found)


def test_pictures_of_one_hour_may_be_a_camera_turned_or_a_usual_mistake() -> None:
    made = pictures(3, wrong_hours=-2.0, hours=(9.9, 10.1))
    made = [replace(one, disc=replace(one.disc, limb_fraction=0.6)) for one in made]
    assert common_clock_error(made) is None  # any camera would do
    found = common_clock_error(made, likely_hours=[-2.0, 1.0])
    assert found is not None
    assert found.hours == -2.0
    assert found.camera_off_deg is not None
    assert abs(found.camera_off_deg) > 10.0
    unstated = [replace(one, camera_is_stated=False, mount_angle_deg=None) for one in made]
    assert common_clock_error(unstated, likely_hours=[-2.0]) is None


def test_some_days_in_a_row_are_told_apart_from_the_others() -> None:
    found = common_clock_error(pictures(5, wrong_hours=-2.0, days=12, wrong_days=range(4, 9)))
    assert found is not None
    assert (found.hours, found.days) == (-2.0, 5)
    assert (found.first, found.last) == (datetime(2026, 6, 7).date(), datetime(2026, 6, 11).date())  # noqa: DTZ001


def test_two_days_are_not_several() -> None:
    assert common_clock_error(pictures(5, wrong_hours=-2.0, days=2)) is None
    assert common_clock_error(pictures(5, wrong_hours=-2.0, days=8, wrong_days=range(2, 4))) is None


def test_a_sun_below_the_horizon_alone_takes_a_usual_mistake() -> None:
    made = pictures(6, wrong_hours=12.0, north=0.0, hours=(10.0, 14.0))
    made = [replace(one, disc=replace(one.disc, limb_fraction=0.6)) for one in made]  # nor does its shape tell
    assert common_clock_error(made) is None
    found = common_clock_error(made, likely_hours=[12.0])
    assert found is not None
    assert (found.hours, found.signs) == (12.0, ("altitude",))


def test_spots_that_fit_their_neighbours_at_another_hour_tell_it_too() -> None:
    made = pictures(7, is_altaz=False, stated=False, hours=(10.0, 14.0))
    wrong = [replace(one, spot_hours=-11.0 if 2 <= day <= 5 else None) for day, one in enumerate(made)]
    wrong = [replace(one, disc=replace(one.disc, limb_fraction=0.6)) for one in wrong]
    found = common_clock_error([replace(one, latitude_deg=80.0) for one in wrong])
    assert found is None or abs(found.hours + 11.0) <= 1.0
