"""Dark spots of drawn discs: where they are, how large, and what is none."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scenes.discs import Facula, Scene, Spot, draw_disc, place_on_picture

from archive.disc.limb import fit_limb
from archive.disc.spots import DarkSpots, spots_as_it_came

BASE = Scene(width_px=702, height_px=694, x_px=352.0, y_px=345.0, radius_px=300.0, noise=0.005)
SPOTS = (
    Spot(17.0, 21.0, 1.9, ragged=0.1, seed=1),
    Spot(-12.0, -34.0, 1.2, ragged=0.1, seed=2),
    Spot(8.0, 55.0, 1.5, seed=3),
    Spot(-24.0, -62.0, 2.2, seed=4),
    Spot(-6.0, 4.0, 0.7, seed=5),
)


def found(scene: Scene) -> DarkSpots:
    picture = draw_disc(scene).astype(np.float32)
    return spots_as_it_came(picture, fit_limb(picture))


def drawn_places(scene: Scene) -> np.ndarray:
    """Right and up (N, 2), in radii, of the spots drawn, by the scenes' own trigonometry."""
    places = np.array([place_on_picture(scene, spot.latitude_deg, spot.longitude_deg)[:2] for spot in scene.spots])
    return (places - [scene.x_px, scene.y_px]) / scene.radius_px * [1.0, -1.0]


def nearest(spots: DarkSpots, place: np.ndarray) -> int:
    return int(np.argmin(np.hypot(spots.right - place[0], spots.up - place[1])))


@pytest.mark.parametrize(("north_deg", "mirrored"), [(0.0, False), (130.0, False), (-50.0, True)])
def test_spots_are_found_where_they_were_drawn_and_no_others(north_deg: float, mirrored: bool) -> None:
    """As the picture came: neither turned nor un-mirrored."""
    scene = replace(BASE, spots=SPOTS, north_angle_deg=north_deg, mirrored=mirrored, b0_deg=5.0)
    spots = found(scene)
    assert len(spots.right) == len(SPOTS)
    for place in drawn_places(scene):
        number = nearest(spots, place)
        # A quarter of a degree, and a pixel and a half of the drawn picture.
        assert np.hypot(spots.right[number] - place[0], spots.up[number] - place[1]) < 0.005


def test_areas_are_those_of_the_sphere_with_a_soft_edge() -> None:
    """Area of a cap, 1e6 (1 - cos radius) MSH, whatever the foreshortening; but the outline runs where the blurred edge
    begins, about one pixel of the 230 px disc outside: small spots come out much too large."""
    scene = replace(BASE, spots=SPOTS)
    spots = found(scene)
    for spot, place in zip(SPOTS, drawn_places(scene), strict=True):
        half_px = 230.4 * np.radians(spot.radius_deg)
        mu = float(np.sqrt(1.0 - place @ place))
        least, most = (
            1e6
            * (1.0 - np.cos(np.radians(spot.radius_deg)))
            * (1.0 + edge_px / half_px)
            * (1.0 + edge_px / half_px / mu)
            for edge_px in (0.7, 1.4)
        )
        assert least < spots.area_msh[nearest(spots, place)] < most


def test_the_strongest_comes_first() -> None:
    scene = replace(BASE, spots=tuple(replace(spot, longitude_deg=0.5 * spot.longitude_deg) for spot in SPOTS))
    spots = found(scene)
    radii = [SPOTS[int(np.argmin(np.hypot(*(drawn_places(scene) - [x, y]).T)))].radius_deg
             for x, y in zip(spots.right, spots.up, strict=True)]  # fmt: skip
    assert radii == sorted(radii, reverse=True)


def test_large_pictures_give_what_small_ones_do() -> None:
    """The larger one is searched on a coarser grid."""
    small = replace(BASE, spots=SPOTS, noise=0.002)
    scale = 3.0
    large = replace(
        small, width_px=2106, height_px=2082, x_px=1057.0, y_px=1036.0, radius_px=scale * 300.0, blur_px=scale * 1.2
    )
    first, second = found(small), found(large)
    assert len(first.right) == len(second.right)
    for x, y, area_msh in zip(first.right, first.up, first.area_msh, strict=True):
        number = nearest(second, np.array([x, y]))
        assert np.hypot(second.right[number] - x, second.up[number] - y) < 0.003
        assert second.area_msh[number] == pytest.approx(area_msh, rel=0.2)


@pytest.mark.parametrize(
    "look",
    [
        {},
        {"noise": 0.02},
        {"granulation": 0.02},
        {"limb_u": (0.0, 0.0)},
        {"flattening": 0.04, "short_axis_angle_deg": 25.0},
        {"gamma": 1.8},
        {"sharpen": 0.8},
        {"sky_gradient": (0.05, -0.03)},
        {"faculae": (Facula(15.0, 60.0, 8.0), Facula(-20.0, -65.0, 9.0))},
    ],
    ids=lambda look: "-".join(look) or "plain",
)
def test_a_spotless_disc_has_none(look: dict[str, object]) -> None:
    assert len(found(replace(BASE, **look)).right) == 0


# Drawn clouds that make patches of 1,000 to 65,000 MSH near the limb. Of 240 others one leaves a patch of 500 MSH.
@pytest.mark.parametrize(
    ("cloud", "seed"),
    [
        (0.15, 10),
        (0.3, 7),
        (0.3, 18),
        (0.3, 28),
        (0.5, 0),
        (0.5, 5),
        (0.5, 129),
        (0.5, 132),
        (0.7, 5),
        (0.7, 13),
        (0.9, 5),
    ],
)
def test_thin_cloud_makes_no_spots(cloud: float, seed: int) -> None:
    assert len(found(replace(BASE, cloud=cloud, seed=seed)).right) == 0


@pytest.mark.parametrize("cloud", [0.0, 0.3])
def test_large_spots_at_the_limb_are_no_cloud(cloud: float) -> None:
    """Over 1,000 MSH at 0.93 to 0.96 of the radius, in soft seeing and among faculae."""
    spots = (Spot(12.0, 70.0, 2.7, ragged=0.1, seed=6), Spot(-9.0, -73.0, 2.9, ragged=0.1, seed=7))
    faculae = tuple(Facula(spot.latitude_deg, spot.longitude_deg, 6.0) for spot in spots)
    scene = replace(BASE, spots=spots, faculae=faculae, blur_px=2.0, cloud=cloud, seed=4)
    seen = found(scene)
    for place in drawn_places(scene):
        assert np.hypot(*place) > 0.92
        number = nearest(seen, place)
        assert np.hypot(seen.right[number] - place[0], seen.up[number] - place[1]) < 0.012
        assert seen.area_msh[number] > 700.0


def test_no_more_than_forty_are_kept() -> None:
    rng = np.random.default_rng(90)
    spots = tuple(
        Spot(float(latitude_deg), float(longitude_deg), float(rng.uniform(0.8, 1.4)))
        for latitude_deg in range(-32, 33, 8)
        for longitude_deg in range(-40, 41, 11)
    )
    assert len(spots) > 60
    assert len(found(replace(BASE, spots=spots)).right) == 40
