"""Grid and axis against the drawing of the tests, which shares no code with the program."""

from __future__ import annotations

import numpy as np
import pytest
from scenes.discs import Scene, place_on_picture

from archive.disc.aligned import STANDARD_FRAME
from archive.disc.graticule import axis_lines, grid_lines

CENTRE, RADIUS = STANDARD_FRAME.centre_px, STANDARD_FRAME.radius_px


def _drawn(b0_deg: float, places: list[tuple[float, float]]) -> np.ndarray:
    """Where the drawing puts places (latitude, distance from the central meridian) that face us."""
    scene = Scene(width_px=1024, height_px=1024, x_px=CENTRE, y_px=CENTRE, radius_px=RADIUS, b0_deg=b0_deg)
    put = [place_on_picture(scene, *place) for place in places]
    return np.array([(x, y) for x, y, mu in put if mu > 0.0])


@pytest.mark.parametrize("b0_deg", [-7.2, 0.0, 3.4, 7.2])
def test_lines_are_where_the_drawing_puts_their_places(b0_deg: float) -> None:
    for line in grid_lines(STANDARD_FRAME, b0_deg, step_deg=10.0):
        fine = np.arange(-180.0, 180.0, 0.25) if line.parallel else np.arange(-90.0, 90.01, 0.25)
        places = [(line.at_deg, float(at)) if line.parallel else (float(at), line.at_deg) for at in fine]
        drawn = _drawn(b0_deg, places)
        away = np.hypot(*(line.points_px[:, None, :] - drawn[None, :, :]).transpose(2, 0, 1)).min(axis=1)
        # A quarter of a degree is 2 px: half of that, and the points between.
        assert away.max() < 1.1, line.at_deg
        on_a_place = away[np.isclose(away, 0.0, atol=0.01)]
        assert on_a_place.size > 0.8 * away.size


def test_every_ten_degrees_the_equator_and_the_central_meridian() -> None:
    lines = grid_lines(STANDARD_FRAME, 0.0, step_deg=10.0)
    assert sorted({line.at_deg for line in lines if line.parallel}) == list(range(-80, 90, 10))
    # Those at 90 degrees are 0.27 degrees behind the limb: the Sun is not infinitely far.
    assert sorted({line.at_deg for line in lines if not line.parallel}) == list(range(-80, 90, 10))
    equator = next(line for line in lines if line.parallel and line.at_deg == 0.0)
    assert np.ptp(equator.points_px[:, 1]) < 0.01


def test_seen_from_the_north_the_lines_go_round_the_north_pole() -> None:
    lines = [line for line in grid_lines(STANDARD_FRAME, 7.2, step_deg=10.0) if line.parallel]
    assert len(next(line for line in lines if line.at_deg == 80.0).points_px) > 210
    assert len(next(line for line in lines if line.at_deg == -80.0).points_px) < 150
    meridians = {line.at_deg for line in grid_lines(STANDARD_FRAME, 7.2, step_deg=10.0) if not line.parallel}
    assert {100.0, 180.0} <= meridians


def test_the_axis_starts_at_the_pole_that_faces_us() -> None:
    (north, south) = axis_lines(STANDARD_FRAME, 7.2)
    pole = _drawn(7.2, [(90.0, 0.0)])[0]
    assert north[0] == pytest.approx(pole, abs=0.01)
    assert south[0] == pytest.approx((CENTRE, CENTRE + RADIUS), abs=0.01)
    assert north[1, 1] < CENTRE - RADIUS < CENTRE + RADIUS < south[1, 1]
