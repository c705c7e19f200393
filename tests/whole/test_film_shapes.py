"""Films of each shape, with all that may be drawn beside the disc, as they are decoded again."""

import numpy as np
import pytest

from archive.films.job import FilmOptions
from archive.films.layout import film_layout
from whole.film_scenes import drawn_days, film_of

SIZES = {"square": (480, 480), "wide": (854, 480), "tall": (480, 854)}


@pytest.mark.parametrize("shape", SIZES)
def test_a_film_has_its_shape_and_its_spots_where_the_list_says_the_disc_is(shape, tmp_path):
    _, job = drawn_days(tmp_path, [0.0], FilmOptions(size_px=480, pace_s=0.2, shape=shape, caption="none"))
    shown = film_of(job, "daily", tmp_path / "film.mp4")
    assert shown.frames.shape[1:] == SIZES[shape][::-1]
    assert (shown.listed["width_px"], shown.listed["height_px"]) == SIZES[shape]
    disc = shown.listed["disc"]
    y, x = np.mgrid[: SIZES[shape][1], : SIZES[shape][0]]
    lit = shown.frames[0] > 60
    assert x[lit].mean() == pytest.approx(disc["x_px"], abs=1.0)
    assert y[lit].mean() == pytest.approx(disc["y_px"], abs=1.0)
    assert np.sqrt(lit.sum() / np.pi) == pytest.approx(disc["radius_px"], rel=0.02)


def changed_frame(tmp_path, **options):
    """The last frame of a film with options, and that of the film without."""
    frames = []
    for number, chosen in enumerate(({}, options)):
        _, job = drawn_days(tmp_path, [0.0], FilmOptions(size_px=480, pace_s=0.2, **chosen))
        frames.append(film_of(job, "daily", tmp_path / f"film-{number}.mp4").frames)
    return frames


@pytest.mark.parametrize("option", [{"marks": True}, {"earth": True}, {"credit": "Quay Observatory"}])
def test_what_is_drawn_beside_the_disc_leaves_the_disc_alone(option, tmp_path):
    bare, dressed = changed_frame(tmp_path, **option)
    layout = film_layout("square", 480)
    y, x = np.mgrid[:480, :480]
    x_px, y_px = layout.disc_centre_px
    within = np.hypot(x - x_px, y - y_px) < layout.disc.radius_px - 8  # of the blocks that the encoder works in
    change = np.abs(bare[0].astype(int) - dressed[0])
    assert change[~within].max() > 60
    assert change[within].max() < 12


def test_the_earth_is_in_the_scale_of_the_disc(tmp_path):
    # 6371.0 km (mean radius of the Earth) to 695 700 km (nominal solar radius, IAU 2015 resolution B3); at 2160 px that
    # is 8.9 px, so that a tenth of a pixel along its edge is 2 %.
    _, job = drawn_days(tmp_path, [0.0], FilmOptions(size_px=2160, pace_s=0.2, earth=True))
    frame = film_of(job, "daily", tmp_path / "film.mp4").frames[0].astype(float)
    box = job.layout.earth.box
    part = frame[box.top - 10 : box.bottom + 10, box.right - 24 : box.right + 4]
    radius_px = np.sqrt(part.sum() / 214 / np.pi)
    assert radius_px == pytest.approx(job.layout.disc.radius_px * 6371.0 / 695_700, rel=0.04)


def test_a_title_stands_before_the_film_and_the_last_frame_is_held(tmp_path):
    _, job = drawn_days(tmp_path, [0.0], FilmOptions(size_px=480, pace_s=0.2, title_card=True, hold_s=1.0))
    frames = film_of(job, "daily", tmp_path / "film.mp4").listed["frames"]
    titles = [frame.get("title", False) for frame in frames]
    assert titles == [True] * 50 + [False] * (len(frames) - 50)
    assert len(frames) == 50 + 6 + 25
