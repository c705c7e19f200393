"""The derotated surface: positions by an independent drawing (tests/scenes shares no code), weights, looks."""

import numpy as np
import pytest
from scenes.scene import Scene
from scenes.surface import place_on_picture

from archive.disc.aligned import DiscFrame
from archive.disc.derotation import (
    CARRINGTON_FRAME,
    SPOT_LAW,
    ViewGeometry,
    WeightedSurface,
    derotated_box,
    disc_canvas,
    visible_surface,
    weighted_surfaces,
)
from archive.disc.painted import disc_palette, painted
from archive.disc.tone import looked_at
from archive.model.choices import LOOKS

FRAME = DiscFrame(512)
ALL = (slice(None), slice(None))


def dotted(places, b0_deg):
    """A quiet disc with a soft dark dot at each (latitude, central meridian distance)."""
    scene = Scene(x_px=FRAME.centre_px, y_px=FRAME.centre_px, radius_px=FRAME.radius_px, b0_deg=b0_deg)
    y, x = np.mgrid[: FRAME.size_px, : FRAME.size_px]
    flat = np.ones((FRAME.size_px, FRAME.size_px), np.float32)
    for latitude, meridian in places:
        x_px, y_px, mu = place_on_picture(scene, latitude, meridian)
        assert mu > 0.2
        flat -= 0.5 * np.exp(-((x - x_px) ** 2 + (y - y_px) ** 2) / (2 * 2.0**2)).astype(np.float32)
    return flat


def on_frame(value, canvas):
    whole = np.ones((FRAME.size_px, FRAME.size_px), np.float32)
    whole[canvas.top : canvas.top + value.shape[0], canvas.left : canvas.left + value.shape[1]] = value
    return whole


def dark_centre(picture, x_px, y_px, reach=9):
    left, top = round(x_px) - reach, round(y_px) - reach
    dark = np.clip(0.97 - picture[top : top + 2 * reach + 1, left : left + 2 * reach + 1], 0, None)
    y, x = np.mgrid[: dark.shape[0], : dark.shape[1]]
    return left + (dark * x).sum() / dark.sum(), top + (dark * y).sum() / dark.sum()


@pytest.mark.parametrize("days", [-2.0, -0.4, 1.3, 2.5])
def test_dots_move_along_their_latitudes_by_the_published_law(days):
    """14.522 - 2.84 sin^2 deg/day sidereal (Howard, Gilman & Gilman 1984); L0 falls by 13.2 deg/day."""
    places = [(0.0, -12.0), (24.0, 5.0), (-33.0, 14.0), (52.0, -8.0)]
    then, now = ViewGeometry(10.0, 5.0, 200.0), ViewGeometry(10.0 + days, 5.3, 200.0 - 13.2 * days)
    surface = visible_surface(dotted(places, then.b0_deg), FRAME, then)
    canvas = disc_canvas(FRAME)
    value, _ = derotated_box([WeightedSurface(surface, 1.0, 1.0)], canvas, now, drift=SPOT_LAW, box=ALL)
    scene = Scene(x_px=FRAME.centre_px, y_px=FRAME.centre_px, radius_px=FRAME.radius_px, b0_deg=now.b0_deg)
    for latitude, meridian in places:
        rate = 14.522 - 2.84 * np.sin(np.radians(latitude)) ** 2 - 14.1844 + 13.2
        x_px, y_px, _ = place_on_picture(scene, latitude, meridian + rate * days)
        found = dark_centre(on_frame(value, canvas), x_px, y_px)
        assert found == pytest.approx((x_px, y_px), abs=0.12)


def test_a_rigidly_rotating_surface_keeps_its_carrington_longitudes():
    places = [(0.0, -12.0), (40.0, 14.0)]
    then, held = ViewGeometry(0.0, -4.0, 350.0), ViewGeometry(99.0, 0.0, 5.0)
    surface = visible_surface(dotted(places, then.b0_deg), FRAME, then)
    canvas = disc_canvas(FRAME)
    value, _ = derotated_box([WeightedSurface(surface, 1.0, 1.0)], canvas, held, drift=CARRINGTON_FRAME, box=ALL)
    scene = Scene(x_px=FRAME.centre_px, y_px=FRAME.centre_px, radius_px=FRAME.radius_px)
    for latitude, meridian in places:
        x_px, y_px, _ = place_on_picture(scene, latitude, meridian - 15.0)
        assert dark_centre(on_frame(value, canvas), x_px, y_px) == pytest.approx((x_px, y_px), abs=0.12)


def test_a_picture_at_its_own_time_is_itself_and_known_to_the_very_limb():
    rng = np.random.default_rng(5)
    flat = 1 + 0.02 * rng.standard_normal((512, 512)).astype(np.float32)
    at = ViewGeometry(0.0, 6.0, 10.0)
    surface = visible_surface(flat, FRAME, at)
    canvas = disc_canvas(FRAME)
    value, cover = derotated_box([WeightedSurface(surface, 1.0, 1.0)], canvas, at, drift=SPOT_LAW, box=ALL)
    y, x = np.mgrid[:512, :512] - FRAME.centre_px
    inside = np.hypot(x, y) < FRAME.radius_px
    assert np.abs(on_frame(value, canvas) - surface.flat)[inside].max() < 0.02  # cubic between 1/32 pixels
    assert on_frame(cover, canvas)[inside].min() == pytest.approx(1.0)


def test_what_was_behind_the_limb_is_not_known():
    then, now = ViewGeometry(0.0, 0.0, 100.0), ViewGeometry(2.0, 0.0, 100.0 - 26.4)
    surface = visible_surface(np.ones((512, 512), np.float32), FRAME, then)
    canvas = disc_canvas(FRAME)
    _, cover = derotated_box([WeightedSurface(surface, 1.0, 1.0)], canvas, now, drift=SPOT_LAW, box=ALL)
    row = on_frame(cover, canvas)[256]
    # Along the equator 2 x 13.54 degrees have come round the east limb: sin(90 - 27.1) of the radius.
    edge = FRAME.centre_px - FRAME.radius_px * np.sin(np.radians(90 - 27.1))
    assert row[int(FRAME.centre_px - FRAME.radius_px) + 2 : int(edge) - 1].max() < 0.05
    assert row[int(edge) + 16 : 480].min() > 0.99


def test_shares_are_linear_between_two_and_end_with_the_reach():
    ends = [visible_surface(np.ones((512, 512), np.float32), FRAME, ViewGeometry(day, 0.0, 0.0)) for day in (0.0, 2.0)]
    one, two = weighted_surfaces(ends, 0.5, reach_days=3.0)
    assert one.weight / (one.weight + two.weight) == pytest.approx(0.75)
    assert (one.trust, two.trust) == (1.0, 1.0)
    trusts = [weighted_surfaces(ends[:1], day, reach_days=3.0)[0].trust for day in (1.9, 2.5, 3.0, 4.0)]
    assert trusts == pytest.approx([1.0, 0.5, 0.0, 0.0])
    assert weighted_surfaces(ends[:1], 0.0, reach_days=3.0)[0].weight > 0


@pytest.mark.parametrize("edge", ["blurred", "sharpened"])
def test_the_limb_is_alike_however_the_picture_was_finished(edge):
    y, x = np.mgrid[:512, :512] - FRAME.centre_px
    off = (FRAME.radius_px - np.hypot(x, y)) / 1.8
    flat = np.clip(0.5 + off / 2, 0, 1)
    if edge == "sharpened":
        flat = flat * (1 + 0.15 * np.exp(-0.5 * (off - 2.5) ** 2))
    surface = visible_surface(flat.astype(np.float32), FRAME, ViewGeometry(0.0, 0.0, 0.0))
    assert np.abs(surface.flat - 1).max() < 0.06


@pytest.mark.parametrize("look", LOOKS)
def test_a_film_has_the_colours_of_the_pictures(look):
    rng = np.random.default_rng(8)
    flat = np.clip(1 + 0.3 * rng.standard_normal((512, 512)), 0.1, 1.2).astype(np.float32)
    at = ViewGeometry(0.0, 0.0, 0.0)
    surface = visible_surface(flat, FRAME, at)
    canvas = disc_canvas(FRAME)
    palette = disc_palette(FRAME, canvas, look)
    shown = painted([WeightedSurface(surface, 1.0, 1.0)], canvas, at, drift=SPOT_LAW, palette=palette, shape=(512, 512))
    value, _ = derotated_box([WeightedSurface(surface, 1.0, 1.0)], canvas, at, drift=SPOT_LAW, box=ALL)
    expected = looked_at(on_frame(value, canvas), FRAME, look=look)
    y, x = np.mgrid[:512, :512] - FRAME.centre_px
    inside = np.hypot(x, y) < FRAME.radius_px - 1
    assert np.abs(shown.astype(float) - expected * 255)[inside].max() < 1.5
