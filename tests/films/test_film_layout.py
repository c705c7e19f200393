"""The shapes of films: nothing is cut off, and nothing lies on the disc or on anything else."""

from itertools import combinations

import numpy as np
import pytest

from archive.films.layout import film_layout

SHAPES = {"square": 1.0, "wide": 16 / 9, "tall": 9 / 16}
SIDES = (480, 1024, 1080, 2160)


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("side_px", SIDES)
def test_frames_have_the_shape_that_is_asked_for(shape, side_px):
    layout = film_layout(shape, side_px)
    assert min(layout.width_px, layout.height_px) == side_px
    assert layout.width_px / layout.height_px == pytest.approx(SHAPES[shape], abs=0.003)
    assert layout.width_px % 2 == layout.height_px % 2 == 0


def test_usual_sizes_are_those_of_high_definition():
    # 1920 x 1080 is the picture of Recommendation ITU-R BT.709.
    wide, tall = film_layout("wide", 1080), film_layout("tall", 1080)
    assert (wide.width_px, wide.height_px) == (1920, 1080)
    assert (tall.width_px, tall.height_px) == (1080, 1920)


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("side_px", SIDES)
def test_words_and_strip_lie_beside_the_disc_and_beside_each_other(shape, side_px):
    layout = film_layout(shape, side_px)
    boxes = [*(row.box for row in layout.caption[:2]), layout.credit.box, layout.earth.box, layout.strip]
    x_px, y_px = layout.disc_centre_px
    for box in boxes:
        assert 0 <= box.left < box.right <= layout.width_px
        assert 0 <= box.top < box.bottom <= layout.height_px
        nearest = np.clip(x_px, box.left, box.right - 1), np.clip(y_px, box.top, box.bottom - 1)
        assert np.hypot(nearest[0] - x_px, nearest[1] - y_px) > layout.disc.radius_px
    for one, other in combinations(boxes, 2):
        apart = one.right <= other.left or other.right <= one.left or one.bottom <= other.top or other.bottom <= one.top
        assert apart, (one, other)


def test_words_of_a_wide_film_lie_in_the_title_safe_area():
    # SMPTE ST 2046-1 (from memory): the central 90 % of width and of height.
    layout = film_layout("wide", 1080)
    for box in (*(row.box for row in layout.caption), layout.credit.box, layout.earth.box, layout.strip):
        assert box.left >= 96
        assert box.right <= 1824
        assert box.top >= 54
        assert box.bottom <= 1026
