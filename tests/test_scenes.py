"""The drawn pictures are judged by circle geometry and trigonometry written out here."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from math import acos, asin, cos, degrees, pi, radians, sin

import numpy as np
import pytest
from numpy.typing import NDArray
from scenes.discs import Bite, Facula, Prominence, Ring, Scene, Spot, draw_disc, quantise
from scenes.sun_days import (
    GroupPlan,
    Mount,
    SunNumbers,
    plan_days,
    random_world,
    refraction_flattening,
    world_of,
)

BARE = Scene(limb_u=(0.0, 0.0), noise=0.0, granulation=0.0, sky_level=0.0, peak=1.0)
EPOCH = datetime(2026, 5, 25, 12, tzinfo=UTC)


def centroid(weights: NDArray[np.floating]) -> tuple[float, float]:
    """Return x and y of the centre of light."""
    weights = weights.astype(float)
    rows, columns = np.indices(weights.shape)
    total = weights.sum()
    return float((weights * columns).sum() / total), float((weights * rows).sum() / total)


def darkening(scene: Scene) -> NDArray[np.floating]:
    """Return what the spots take away, by comparing with the same Sun without them."""
    return draw_disc(replace(scene, spots=())).astype(float) - draw_disc(scene).astype(float)


def crossing(profile: NDArray[np.floating], level: float) -> float:
    """Return where a falling profile crosses a level, by linear interpolation."""
    after = int(np.argmax(profile < level))
    before = after - 1
    return before + float((profile[before] - level) / (profile[before] - profile[after]))


@pytest.mark.parametrize("blur_px", [0.0, 0.4, 2.0])
def test_flux_of_a_uniform_disc_is_its_area(blur_px: float) -> None:
    scene = replace(BARE, blur_px=blur_px)
    assert draw_disc(scene).sum(dtype=float) == pytest.approx(pi * scene.radius_px**2, rel=1e-4)


def test_flux_of_a_flattened_disc_is_the_ellipse_area() -> None:
    scene = replace(BARE, flattening=0.03, short_axis_angle_deg=25.0)
    assert draw_disc(scene).sum(dtype=float) == pytest.approx(pi * scene.radius_px**2 * 0.97, rel=1e-4)


def test_short_axis_lies_counter_clockwise_from_up() -> None:
    scene = replace(BARE, flattening=0.1, short_axis_angle_deg=30.0)
    picture = draw_disc(scene).astype(float)
    rows, columns = np.indices(picture.shape)
    right, up = columns - scene.x_px, scene.y_px - rows
    # Second moment of a filled ellipse along an axis of half-length a is a^2 / 4.
    along_short = -right * sin(radians(30)) + up * cos(radians(30))
    moment = (picture * along_short**2).sum() / picture.sum()
    assert 2.0 * moment**0.5 == pytest.approx(0.9 * scene.radius_px, rel=2e-4)


def test_flux_of_the_darkened_disc_follows_the_law() -> None:
    # Mean of mu over the disc is 2/3, of mu^2 1/2: 1 - u - v + 2u/3 + v/2, by integration over the disc.
    scene = replace(BARE, limb_u=(0.93, -0.23))
    expected = pi * scene.radius_px**2 * (1 - 0.93 + 0.23 + 2 / 3 * 0.93 - 0.5 * 0.23)
    assert draw_disc(scene).sum(dtype=float) == pytest.approx(expected, rel=1e-4)


@pytest.mark.parametrize("mirrored", [False, True])
def test_centre_of_light_is_the_stated_centre(mirrored: bool) -> None:
    scene = replace(BARE, mirrored=mirrored, limb_u=(0.93, -0.23), north_angle_deg=70.0)
    assert centroid(draw_disc(scene)) == pytest.approx((scene.x_px, scene.y_px), abs=0.005)


@pytest.mark.parametrize("radius_px", [190.0, 190.5])
def test_edge_of_a_uniform_disc_crosses_half_at_the_radius(radius_px: float) -> None:
    # Whole and half pixels: there the linear interpolation of a symmetric edge is exact.
    scene = replace(BARE, x_px=320.0, y_px=240.0, radius_px=radius_px, blur_px=0.5)
    picture = draw_disc(scene)
    for profile in (picture[240, 320:], picture[240, 320::-1], picture[240:, 320], picture[240::-1, 320]):
        assert crossing(profile, 0.5) == pytest.approx(radius_px, abs=0.02)


@pytest.mark.parametrize("radius_px", [170.13, 190.4, 201.77])
def test_light_along_a_ray_from_the_centre_adds_up_to_the_radius(radius_px: float) -> None:
    # Whatever the blur, the sum over a ray is the place of the edge, up to sigma^2 / (2 R) = 0.0007 px; the
    # first pixel counts half. A pixel's height across the ray takes off 1 / (24 R), less than that.
    scene = replace(BARE, x_px=320.0, y_px=240.0, radius_px=radius_px, blur_px=0.5)
    ray = draw_disc(scene)[240, 320:].astype(float)
    assert ray.sum() - 0.5 == pytest.approx(radius_px, abs=0.003)


def test_disc_leaving_the_frame_is_cut_without_trace() -> None:
    whole = replace(BARE, x_px=300.25, y_px=240.5)
    cut = replace(whole, width_px=240, x_px=120.25)
    np.testing.assert_allclose(draw_disc(cut), draw_disc(whole)[:, 180:420], atol=1e-6)


def off_centre(rho_deg: float) -> float:
    """Return the distance from the disc's centre in radii: rho = arcsin(r) - S r (handbooks, from memory)."""
    r = sin(radians(rho_deg))
    for _ in range(5):
        r = sin(radians(rho_deg + r * 959.63 / 3600))
    return r


def test_north_turned_counter_clockwise_puts_a_northern_spot_to_the_left() -> None:
    # At 90 degrees counter-clockwise from up, north is left; west, right before, is up.
    scene = replace(BARE, north_angle_deg=90.0, spots=(Spot(30.0, 0.0, 1.5),))
    x, y = centroid(darkening(scene))
    assert (x - scene.x_px, y - scene.y_px) == pytest.approx((-scene.radius_px * off_centre(30.0), 0.0), abs=0.1)


def test_west_is_right_of_centre_and_left_when_mirrored() -> None:
    scene = replace(BARE, spots=(Spot(0.0, 40.0, 1.5),))
    offset_px = scene.radius_px * off_centre(40.0)
    plain, mirrored = (centroid(darkening(s)) for s in (scene, replace(scene, mirrored=True)))
    assert plain[0] - scene.x_px == pytest.approx(offset_px, abs=0.1)
    assert mirrored[0] - scene.x_px == pytest.approx(-offset_px, abs=0.1)


@pytest.mark.parametrize("mirrored", [False, True])
@pytest.mark.parametrize("north_angle_deg", [0.0, 37.0, -128.0])
def test_spot_lands_where_trigonometry_puts_it(north_angle_deg: float, mirrored: bool) -> None:
    lat, lon, b0, turn = (radians(a) for a in (-18.0, 34.0, 6.5, north_angle_deg))
    scene = replace(
        BARE,
        b0_deg=6.5,
        north_angle_deg=north_angle_deg,
        mirrored=mirrored,
        spots=(Spot(-18.0, 34.0, 1.0, ragged=0.1, stretch=1.2),),
    )
    # Smart, Text-book on Spherical Astronomy, heliographic coordinates: the arc rho from the
    # disc's centre and the position angle chi, here through the triangle pole, centre, spot.
    # The finite distance then enlarges the nearer parts.
    rho_deg = degrees(acos(sin(lat) * sin(b0) + cos(lat) * cos(lon) * cos(b0)))
    nearer = off_centre(rho_deg) / sin(radians(rho_deg))
    west = nearer * cos(lat) * sin(lon)
    north = nearer * (sin(lat) * cos(b0) - cos(lat) * cos(lon) * sin(b0))
    right, up = west * cos(turn) - north * sin(turn), west * sin(turn) + north * cos(turn)
    expected = (
        scene.x_px + (-right if mirrored else right) * scene.radius_px,
        scene.y_px - up * scene.radius_px,
    )
    assert centroid(darkening(scene)) == pytest.approx(expected, abs=0.08)


def test_area_of_a_spot_is_its_cap_foreshortened() -> None:
    # A small cap of radius r covers pi r^2 of the unit sphere, cos(45 deg) of that on the picture.
    scene = replace(BARE, spots=(Spot(0.0, 45.0, 1.4, umbra_share=0.0, penumbra_level=0.5),))
    expected = 0.5 * pi * (scene.radius_px * sin(radians(1.4))) ** 2 * cos(radians(45))
    assert darkening(scene).sum() == pytest.approx(expected, rel=0.01)


def test_tiny_spot_keeps_its_area() -> None:
    scene = replace(BARE, spots=(Spot(3.0, 2.0, 0.15, umbra_share=0.0, penumbra_level=0.0),))
    expected = pi * (scene.radius_px * sin(radians(0.15))) ** 2
    assert darkening(scene).sum() == pytest.approx(expected, rel=0.03)


def test_spot_behind_the_limb_is_not_drawn() -> None:
    assert not darkening(replace(BARE, spots=(Spot(0.0, 120.0, 2.0),))).any()


def test_faculae_show_at_the_limb_and_not_at_the_centre() -> None:
    plain = draw_disc(BARE)
    bright = [
        float((draw_disc(replace(BARE, peak=0.5, faculae=(Facula(0.0, lon, 6.0),))) - 0.5 * plain).max())
        for lon in (0.0, 65.0)
    ]
    assert bright[0] < 0.002
    assert bright[1] > 0.02


def test_bite_takes_the_area_of_the_dark_disc() -> None:
    scene = replace(BARE, bite=Bite(350.3, 250.6, 80.0))
    taken = draw_disc(BARE).sum(dtype=float) - draw_disc(scene).sum(dtype=float)
    assert taken == pytest.approx(pi * 80.0**2, rel=2e-4)


def test_unsharp_mask_overshoots_inside_the_limb() -> None:
    picture = draw_disc(replace(BARE, peak=0.5, sharpen=1.0))
    assert picture.max() > 0.53


def test_noise_and_sky_have_the_stated_size() -> None:
    sky = draw_disc(replace(BARE, sky_level=0.2, noise=0.02))[:30, :300]
    assert sky.mean() == pytest.approx(0.2, abs=0.001)
    assert sky.std() == pytest.approx(0.02, rel=0.03)


def test_everything_at_once_is_a_picture_of_the_frame() -> None:
    full = Scene(
        width_px=301,
        height_px=203,
        x_px=140.0,
        y_px=99.0,
        radius_px=70.0,
        sharpen=0.8,
        sky_gradient=(0.02, -0.03),
        halo=0.05,
        ring=Ring(150.0, 100.0, 85.0),
        prominences=(Prominence(40.0),),
        cloud=0.4,
        dust=4,
        caption="2026-05-25",
        gamma=1.3,
        tint=(1.0, 0.8, 0.5),
    )
    picture = draw_disc(full)
    assert picture.shape == (203, 301, 3)
    assert picture.dtype == np.float32
    assert picture.min() >= 0.0
    assert picture.max() <= 1.0
    for name in ("ring", "prominences", "cloud", "dust", "caption", "halo"):
        without = replace(full, **{name: getattr(Scene(), name)})
        assert np.abs(draw_disc(without) - picture).max() > 0.01, name


def test_same_seed_same_picture_and_another_seed_another() -> None:
    scene = Scene(cloud=0.2, dust=3)
    assert np.array_equal(draw_disc(scene), draw_disc(scene))
    assert not np.array_equal(draw_disc(scene), draw_disc(replace(scene, seed=2)))


def test_levels_are_rounded_over_the_full_scale() -> None:
    levels = np.array([[0.0, 0.5, 1.0]], dtype=np.float32)
    assert quantise(levels, 8).tolist() == [[0, 128, 255]]
    assert quantise(levels, 16).tolist() == [[0, 32768, 65535]]
    assert quantise(levels, 16).dtype == np.uint16


def test_spots_turn_by_the_synodic_rate() -> None:
    # 14.522 - 2.84 sin^2(10 deg) = 14.4364 deg/day sidereal (Howard, Gilman & Gilman 1984),
    # which is 0.2520 a day ahead of Carrington's 14.1844. L0 falls by about 13.2 a day.
    world = world_of([GroupPlan("a", 10.0, 100.0, follower_deg=0.0, length_deg=0.0, pores=0)], epoch_utc=EPOCH)
    ((_, first),) = world.sightings(0.0, l0_deg=110.0, b0_deg=1.0)
    ((_, later),) = world.sightings(3.0, l0_deg=70.4, b0_deg=1.0)
    assert first.longitude_deg == pytest.approx(-10.0, abs=1e-9)
    assert later.longitude_deg == pytest.approx(100.0 - 70.4 + 3 * 0.2520, abs=1e-3)


def test_leader_is_west_of_the_follower_and_nearer_the_equator() -> None:
    world = world_of([GroupPlan("a", -15.0, 0.0, leader_deg=1.5, follower_deg=0.9, pores=0)], epoch_utc=EPOCH)
    leader, follower = (spot for _, spot in world.sightings(0.0, l0_deg=0.0, b0_deg=0.0))
    assert leader.longitude_deg > follower.longitude_deg
    assert abs(leader.latitude_deg) < abs(follower.latitude_deg)
    assert leader.radius_deg > follower.radius_deg


def test_group_is_absent_before_its_birth_and_after_its_death() -> None:
    plan = GroupPlan("a", 12.0, 0.0, birth_day=2.0, life_days=10.0)
    world = world_of([plan], epoch_utc=EPOCH)
    counts = [len(world.sightings(day, l0_deg=0.0, b0_deg=0.0)) for day in (1.9, 6.0, 12.1)]
    assert counts[0] == counts[2] == 0
    assert counts[1] >= 2


def test_far_side_is_hidden() -> None:
    world = world_of([GroupPlan("a", 12.0, 0.0)], epoch_utc=EPOCH)
    assert world.sightings(0.0, l0_deg=180.0, b0_deg=0.0) == ()


def test_proper_motions_have_the_stated_rms() -> None:
    world = random_world(5, groups=60, proper_motion_deg_per_day=0.15)
    motions = np.array([spot.motion_deg_per_day for spot in world.spots])
    assert motions.std() == pytest.approx(0.15, rel=0.1)


def test_alt_azimuth_camera_turns_by_p_less_q() -> None:
    # At 52.1 N, 1.3 W on 2026-03-28 10:27:36, P = -25.93 and q = -19.336, so P - q = -6.59; on
    # 2026-10-20 11:09:52, P = +25.87 and q = -6.893, so +32.76 (two almanac libraries).
    views = [
        SunNumbers(EPOCH, -25.93, -6.8, 40.0, -19.336),
        SunNumbers(EPOCH + timedelta(days=1), 25.87, 5.4, 26.8, -6.893),
    ]
    world = random_world(1)
    altaz = plan_days(world, views, mount=Mount("altaz", Scene(), camera_angle_deg=0.0))
    assert [scene.north_angle_deg for _, scene in altaz] == pytest.approx([-6.59, 32.76], abs=0.01)
    equatorial = plan_days(world, views, mount=Mount("equatorial", Scene(), camera_angle_deg=170.0))
    assert [scene.north_angle_deg for _, scene in equatorial] == pytest.approx([144.07, -164.13], abs=0.01)


def test_scatter_of_centre_scale_and_level_is_as_stated() -> None:
    views = [SunNumbers(EPOCH, 0.0, 0.0, 0.0, 0.0)] * 400
    mount = Mount("altaz", Scene(), levelling_rms_deg=0.5, centre_rms_px=6.0, scale_rms=0.01, mirrored=True)
    scenes = [scene for _, scene in plan_days(world_of([], epoch_utc=EPOCH), views, mount=mount)]
    assert np.std([s.north_angle_deg for s in scenes]) == pytest.approx(0.5, rel=0.15)
    assert np.std([s.x_px for s in scenes]) == pytest.approx(6.0, rel=0.15)
    assert np.std([s.radius_px for s in scenes]) == pytest.approx(1.904, rel=0.15)
    assert all(s.mirrored for s in scenes)


def test_world_is_the_same_for_the_same_seed() -> None:
    assert random_world(3) == random_world(3)
    assert random_world(3) != random_world(4)


def test_spots_cross_the_disc_in_a_fortnight() -> None:
    # Synodic turn near the equator: 14.52 - 0.9856 deg/day, so 180 deg take 13.3 days (handbook value).
    world = world_of([GroupPlan("a", 0.0, 0.0, follower_deg=0.0, length_deg=0.0, pores=0)], epoch_utc=EPOCH)
    step = 0.05
    seen = [
        bool(world.sightings(day, l0_deg=-(14.1844 - 0.9856) * day, b0_deg=0.0)) for day in np.arange(-12.0, 12.0, step)
    ]
    hidden_share = 2.0 * degrees(asin(0.05)) / 180.0
    assert sum(seen) * step == pytest.approx(13.3 * (1.0 - hidden_share), abs=0.15)


def test_low_sun_is_flattened_as_the_handbook_says() -> None:
    # Meeus, chapter 16: about 0.8 % at 10 degrees, 0.1 % at 30 degrees.
    assert refraction_flattening(10.0) == pytest.approx(0.008, abs=0.0005)
    assert refraction_flattening(30.0) == pytest.approx(0.001, abs=0.0005)


def test_short_axis_follows_the_vertical() -> None:
    # The zenith lies at position angle q, celestial north at -q on an alt-azimuth camera without turn.
    view = SunNumbers(EPOCH, -20.0, 0.0, 0.0, 30.0, altitude_deg=12.0)
    world = world_of([], epoch_utc=EPOCH)

    def short_axis_deg(mount: Mount) -> float:
        ((_, scene),) = plan_days(world, [view], mount=mount)
        return scene.short_axis_angle_deg

    assert short_axis_deg(Mount("altaz", Scene())) == pytest.approx(0.0, abs=1e-9)
    assert short_axis_deg(Mount("equatorial", Scene())) == pytest.approx(30.0)
    assert short_axis_deg(Mount("equatorial", Scene(), mirrored=True)) == pytest.approx(-30.0)
