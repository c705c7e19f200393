"""Rotation rates: drawn groups of known motion, an observatory's table, and the published laws."""

from __future__ import annotations

import csv
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from scenes.discs import Scene, draw_disc, place_on_picture
from scenes.followed import followed_sightings
from scenes.sun_days import GroupPlan, Mount, SunNumbers, World, WorldSpot, plan_days, world_of

from archive.disc.limb import fit_limb
from archive.measuring.groups import group_spots
from archive.measuring.rotation_fit import _robust_line, group_rotation, rotation_law
from archive.measuring.spots import measure_spots
from archive.model.group import Group, Sighting
from archive.model.observation import Spot, SpotGroup, SunView
from archive.model.rotation_law import PUBLISHED_LAWS
from archive.sun.view import sun_views

TABLES = Path(__file__).resolve().parents[3] / "shared" / "real" / "tables"
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
START = datetime(2026, 8, 20, 10, tzinfo=UTC)
ALL_SPOTS, RECURRENT, DOPPLER = PUBLISHED_LAWS


def views_of(times: Sequence[datetime]) -> list[SunView]:
    return sun_views(times, latitude_deg=52.1, longitude_deg=-1.3)


def daily(count: int) -> list[datetime]:
    return [START + timedelta(days=day, hours=(1.7 * day) % 4.0) for day in range(count)]


def placed(
    times: Sequence[datetime], members: Sequence[tuple[float, float, float, float, Sequence[int]]], *, noise_deg: float
) -> Group:
    """One group of spots as geometry has them: latitude, offset, sidereal rate, area, and the days each is seen on."""
    rng = np.random.default_rng(5)
    sightings = []
    for day, (time, sun) in enumerate(zip(times, views_of(times), strict=True)):
        days = (time - times[0]) / timedelta(days=1)
        spots = []
        for latitude, offset, rate, area, seen in members:
            if day in seen:
                longitude = 30.0 + views_of(times[:1])[0].l0_deg - 65.0 + offset + (rate - 14.1844) * days
                longitude += noise_deg * float(rng.normal())
                spots.append(on_disc(sun, latitude, longitude, area))
        (group,) = group_spots(spots, sun=sun, sigma_deg=0.1)
        sightings.append(Sighting(f"{time:%Y-%m-%d}", (time - EPOCH) / timedelta(days=1), group))
    (one,) = followed_sightings(sightings)
    return one


def on_disc(sun: SunView, latitude_deg: float, longitude_deg: float, area_msh: float) -> Spot:
    """By the geometry of the drawn scenes, not by the package's."""
    scene = Scene(x_px=0.0, y_px=0.0, radius_px=1.0, b0_deg=sun.b0_deg)
    x, y, mu = place_on_picture(scene, latitude_deg, (longitude_deg - sun.l0_deg + 180.0) % 360.0 - 180.0)
    assert mu > 0.0
    return Spot(x, -y, area_msh, 0.2 * area_msh)


def test_a_uniform_motion_is_recovered() -> None:
    group = placed(daily(6), [(14.0, 0.0, 14.31, 200.0, range(6))], noise_deg=0.0)
    found = group_rotation(group)
    assert found is not None
    assert found.rate_deg_per_day == pytest.approx(14.31, abs=0.01)
    assert found.latitude_deg == pytest.approx(14.0, abs=0.05)
    assert found.days == 6


def test_longitude_0_and_the_year_do_not_matter() -> None:
    l0_deg = views_of([START])[0].l0_deg
    at_zero = START + timedelta(days=(l0_deg - 35.0) / 13.2)  # the group then is near longitude 0
    times = [at_zero + timedelta(days=day) for day in range(7)]
    found = group_rotation(placed(times, [(-8.0, 0.0, 14.6, 200.0, range(7))], noise_deg=0.0))
    assert found is not None
    assert found.rate_deg_per_day == pytest.approx(14.6, abs=0.01)


def test_spots_born_and_dead_move_the_mean_position_but_not_the_rate() -> None:
    """The follower dies and a pore is born ahead: the mean position moves by 5 deg in five days, the spots together."""
    members = [
        (12.0, 4.0, 14.40, 200.0, range(6)),
        (12.5, -4.0, 14.40, 300.0, range(3)),
        (11.5, 7.0, 14.40, 80.0, range(3, 6)),
    ]
    group = placed(daily(6), members, noise_deg=0.05)
    times = np.array([one.time_days for one in group.sightings])
    means = np.unwrap(np.radians([one.group.carrington_longitude_deg or 0.0 for one in group.sightings]))
    of_means = 14.1844 + float(np.degrees(np.polyfit(times, means, 1)[0]))
    assert abs(of_means - 14.40) > 0.8
    found = group_rotation(group)
    assert found is not None
    assert found.rate_deg_per_day == pytest.approx(14.40, abs=0.1)
    assert abs(found.rate_deg_per_day - 14.40) < 3.0 * found.sigma_deg_per_day


@pytest.mark.parametrize(
    ("days", "known"), [([0, 1, 2, 3], False), ([0, 0.1, 1, 2, 3.1, 3.2], False), ([0, 1, 2, 3, 4], True)]
)
def test_five_days_are_the_least(days: list[float], known: bool) -> None:
    times = [START + timedelta(days=day) for day in days]
    group = placed(times, [(12.0, 0.0, 14.4, 200.0, range(6))], noise_deg=0.05)
    assert (group_rotation(group) is not None) is known


def test_a_group_of_which_no_spot_lasts_has_no_rate() -> None:
    """Its mean position would give one; each day's spot is 3 degrees from that of the day before."""
    spots = [(12.0, 3.0 * day, 14.4, 60.0, [day]) for day in range(6)]
    assert group_rotation(placed(daily(6), spots, noise_deg=0.0)) is None


def test_drawn_groups_over_five_days_rotate_as_they_were_drawn() -> None:
    """Within 0.15 deg/day from pixels on: limb, spots, groups, tracks; north off by 0.3 deg rms."""
    times = daily(5)
    views = views_of(times)
    longitude = views[2].l0_deg
    plans = [
        GroupPlan("north", 16.0, longitude - 15.0, 1.5, 0.9, 7.0, 2, proper_motion_deg_per_day=0.1, seed=3),
        GroupPlan("south", -11.0, longitude + 18.0, 1.1, 0.8, 5.0, 3, proper_motion_deg_per_day=0.1, seed=4),
    ]
    world = world_of(plans, epoch_utc=START)
    groups = [group for group in followed_sightings(measured(world, times, views)) if len(group.sightings) == 5]
    assert len(groups) == 2
    for group in groups:
        found = group_rotation(group)
        assert found is not None
        name = "north" if found.latitude_deg > 0.0 else "south"
        assert found.rate_deg_per_day == pytest.approx(true_rate(world, name), abs=0.15)
        assert abs(found.rate_deg_per_day - true_rate(world, name)) < 3.0 * found.sigma_deg_per_day


def measured(world: World, times: Sequence[datetime], views: Sequence[SunView]) -> list[Sighting]:
    rng = np.random.default_rng(8)
    look = Scene(width_px=702, height_px=694, x_px=350.0, y_px=347.0, radius_px=310.0, blur_px=1.3)
    suns = [
        SunNumbers(time, sun.p_deg, sun.b0_deg, sun.l0_deg, sun.parallactic_angle_deg)
        for time, sun in zip(times, views, strict=True)
    ]
    sightings = []
    for (time, scene), sun in zip(plan_days(world, suns, mount=Mount("altaz", look)), views, strict=True):
        picture = draw_disc(scene)
        north_deg = scene.north_angle_deg + 0.3 * float(rng.normal())
        spots = measure_spots(picture, fit_limb(picture), north_angle_deg=north_deg, mirrored=False).spots
        days = (time - EPOCH) / timedelta(days=1)
        groups = group_spots(spots, sun=sun, sigma_deg=0.3)
        sightings += [Sighting(f"{time:%Y-%m-%d}", days, group) for group in groups]
    return sightings


def true_rate(world: World, name: str) -> float:
    """Mean sidereal rate by area, two days into the world (Howard, Gilman & Gilman 1984, and proper motion)."""
    members = [spot for spot in world.spots if spot.group == name]
    areas = [spot.radius_at(2.0) ** 2 for spot in members]
    return float(np.average([rate_of(spot) for spot in members], weights=areas))


def rate_of(spot: WorldSpot) -> float:
    return 14.522 - 2.84 * float(np.sin(np.radians(spot.latitude_deg))) ** 2 + spot.motion_deg_per_day[0]


def test_groups_of_a_real_table_rotate_as_the_published_law_says() -> None:
    """Kislovodsk, October 2010: the five groups of seven days and more; means of groups scatter by degrees."""
    path = TABLES / "kislovodsk-2010-10.csv"
    if not path.is_file():
        pytest.skip(f"the table is not here: {path}")
    sightings = []
    with path.open(encoding="utf-8", newline="") as lines:
        for row in csv.DictReader(lines):
            time = datetime.fromisoformat(row["date"]).replace(tzinfo=UTC)
            meridian = (float(row["long_mean"]) - float(row["L0"]) + 180.0) % 360.0 - 180.0
            place = (float(row["lat_mean"]), float(row["long_mean"]) % 360.0, meridian, 0.2, 0.3)
            group = SpotGroup((), float(row["area"]), 0.0, *place)
            sightings.append(Sighting(row["date"], (time - EPOCH) / timedelta(days=1), group))
    rates = [group_rotation(group) for group in followed_sightings(sightings) if len(group.sightings) >= 7]
    off = [one.rate_deg_per_day - ALL_SPOTS.rate_deg_per_day(one.latitude_deg) for one in rates if one is not None]
    assert len(off) >= 4
    assert abs(float(np.median(off))) < 0.2
    assert max(abs(value) for value in off) < 0.6


def test_the_published_laws_give_their_known_values() -> None:
    """Carrington's 14.1844 deg/day is the rate at 20 deg: (14.522 - 14.1844) / 2.84 = sin^2 of 20.2 deg.

    The sums are worked by hand: sin^2 30 deg = 1/4, its square 1/16.
    """
    assert ALL_SPOTS.rate_deg_per_day(20.0) == pytest.approx(14.1844, abs=0.01)
    assert RECURRENT.rate_deg_per_day(30.0) == pytest.approx(14.368 - 2.69 / 4.0)
    assert DOPPLER.rate_deg_per_day(-30.0) == pytest.approx(14.713 - 2.396 / 4.0 - 1.787 / 16.0)
    # The Doppler features' law is published in microradians per second: 2.972, 0.484 and 0.361 (from memory).
    in_deg_per_day = np.degrees(1e-6) * 86400.0 * np.array([2.972, -0.484, -0.361])
    given = (DOPPLER.equator_deg_per_day, DOPPLER.sine_squared_deg_per_day, DOPPLER.sine_fourth_deg_per_day)
    np.testing.assert_allclose(given, in_deg_per_day, atol=0.001)
    assert DOPPLER.rate_deg_per_day(0.0) > ALL_SPOTS.rate_deg_per_day(0.0) > RECURRENT.rate_deg_per_day(0.0)


def test_a_law_is_found_again_within_its_errors() -> None:
    """Over 150 archives of 40 groups that scatter by 0.15 deg/day: the errors given are those found."""
    rng = np.random.default_rng(12)
    errors = []
    for _ in range(150):
        latitudes = rng.choice([-1.0, 1.0], 40) * rng.uniform(3.0, 32.0, 40)
        sigmas = rng.uniform(0.03, 0.25, 40)
        rates = 14.522 - 2.84 * np.sin(np.radians(latitudes)) ** 2 + rng.normal(size=40) * np.hypot(sigmas, 0.15)
        law = rotation_law(latitudes.tolist(), rates.tolist(), sigmas.tolist())
        assert law is not None
        errors.append(
            [
                (law.equator_deg_per_day - 14.522) / law.equator_sigma,
                (law.sine_squared_deg_per_day + 2.84) / law.sine_squared_sigma,
            ]
        )
    np.testing.assert_allclose(np.std(errors, axis=0), 1.0, atol=0.2)
    np.testing.assert_allclose(np.mean(errors, axis=0), 0.0, atol=0.25)


def test_the_assumed_scatter_of_groups_hardly_changes_the_errors_given() -> None:
    """Fifty archives of ten groups: a prior of 0.10 or 0.20 deg/day instead of 0.15 changes their errors by 5 %."""
    rng = np.random.default_rng(31)
    ratios = []
    for _ in range(50):
        squared = np.sin(np.radians(rng.uniform(3.0, 32.0, 10))) ** 2
        sigmas = rng.uniform(0.03, 0.25, 10)
        rates = 14.522 - 2.84 * squared + rng.normal(size=10) * np.hypot(sigmas, 0.15)
        errors = [
            _robust_line(squared, rates, sigmas, prior_scatter=prior).intercept_sigma for prior in (0.10, 0.15, 0.20)
        ]
        ratios.append([errors[0] / errors[1], errors[2] / errors[1]])
    np.testing.assert_allclose(np.median(ratios, axis=0), [0.96, 1.05], atol=0.02)


def test_one_outlying_group_does_not_bend_the_law() -> None:
    latitudes = np.linspace(2.0, 30.0, 25)
    rates = 14.522 - 2.84 * np.sin(np.radians(latitudes)) ** 2
    rates[-1] += 3.0
    law = rotation_law(latitudes.tolist(), rates.tolist(), [0.1] * 25)
    assert law is not None
    assert law.sine_squared_deg_per_day == pytest.approx(-2.84, abs=0.5)
    assert law.groups == 25


@pytest.mark.parametrize("latitudes", [[12.0] * 20, [11.0, 12.0, 13.0, 11.5, 12.5, -12.0], [5.0, 15.0, 25.0, 30.0], []])
def test_a_narrow_range_of_latitudes_gives_no_law(latitudes: list[float]) -> None:
    assert rotation_law(latitudes, [14.3] * len(latitudes), [0.1] * len(latitudes)) is None


def test_a_larger_error_of_the_pictures_gives_a_larger_error_of_the_rate() -> None:
    group = placed(daily(6), [(14.0, 0.0, 14.31, 200.0, range(6))], noise_deg=0.05)
    coarse = Group(
        "coarse",
        tuple(replace(one, group=replace(one.group, longitude_sigma_deg=1.0)) for one in group.sightings),
    )
    found, worse = group_rotation(group), group_rotation(coarse)
    assert found is not None
    assert worse is not None
    # Six days of 1 deg each: 1 / sqrt(17.5) deg/day by the textbook formula for a straight line. A walk of 0.4 deg per
    # square root of a day adds 0.4 sqrt(6 / 5 T) over T days: the walk's covariance of two times is the earlier one.
    walk = 0.4 * np.sqrt(6.0 / (5.0 * 5.0))
    assert worse.sigma_deg_per_day == pytest.approx(np.hypot(1.0 / np.sqrt(17.5), walk), rel=0.1)
    assert found.sigma_deg_per_day < 0.75 * worse.sigma_deg_per_day
