"""Smooth and corotating films of a drawn Sun, decoded: where the spots are, how still the disc is, what is blank.

The truth is the published rotation law and geometry of tests/scenes, which share no code with the package.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from scenes.discs import draw_disc, place_on_picture

from archive.disc.limb import fit_limb
from archive.errors import FactsError
from archive.films.job import FilmOptions
from archive.films.layout import film_layout
from archive.sun.view import sun_view
from whole.film_scenes import (
    EPOCH,
    STANDARD_SCENE,
    Shown,
    World,
    darkness_centre,
    drawn_days,
    film_job,
    film_of,
    lone_spots,
    scene_at,
    spot_errors_px,
)

AV1 = True  # see `conftest.py`
DAYS = [0.0, 1.04, 3.1, 4.0]  # a gap of two days in the midst


@pytest.fixture(scope="module")
def turning(tmp_path_factory: pytest.TempPathFactory) -> tuple[World, Shown]:
    folder = tmp_path_factory.mktemp("turning")
    world, job = drawn_days(folder, DAYS, FilmOptions(pace_s=0.32))
    return world, film_of(job, "smooth", folder / "turning.mp4")


@pytest.fixture(scope="module")
def long_gap(tmp_path_factory: pytest.TempPathFactory) -> Shown:
    """Two pictures nine days apart: with a reach of three days nobody knows what was in the middle."""
    folder = tmp_path_factory.mktemp("gap")
    _, job = drawn_days(folder, [0.0, 9.0], FilmOptions(pace_s=0.2, size_px=512))
    return film_of(job, "smooth", folder / "gap.mp4")


def radius_px(size_px: int) -> np.ndarray:
    y, x = np.mgrid[:size_px, :size_px] - (size_px - 1) / 2
    return np.hypot(x, y)


def bare(frame: np.ndarray) -> np.ndarray:
    """A frame without its caption and strip, 0 to 1."""
    picture = frame.astype(np.float32) / 255
    layout = film_layout("square", frame.shape[0])
    for box in (*(row.box for row in layout.caption[:2]), layout.strip):
        picture[box.top : box.bottom, box.left : box.right] = 0
    return picture


def test_every_spot_is_where_the_law_puts_it_also_across_a_gap(turning: tuple[World, Shown]) -> None:
    world, shown = turning
    assert len(shown.frames) == 33
    errors = [error for index in range(len(shown.frames)) for error in spot_errors_px(world, shown, index)]
    assert len(errors) > 100
    assert np.sqrt(np.mean(np.square(errors))) < 0.3  # 0.6 px are allowed
    assert max(errors) < 0.9


def test_the_disc_does_not_move_while_the_surface_does(turning: tuple[World, Shown]) -> None:
    _, shown = turning
    limbs = [fit_limb(bare(shown.frames[index])) for index in range(0, len(shown.frames), 4)]
    found = np.array([[limb.x_px, limb.y_px, limb.radius_px] for limb in limbs])
    assert np.ptp(found, axis=0).max() < 0.1
    assert np.abs(found - [511.5, 511.5, 460.8]).max() < 0.15


def test_the_disc_keeps_its_brightness_from_frame_to_frame(turning: tuple[World, Shown]) -> None:
    _, shown = turning
    inside = radius_px(1024) < 455
    means = np.array([frame[inside].mean() for frame in shown.frames])
    assert np.abs(np.diff(means) / means[:-1]).max() < 0.005


def test_limb_darkening_stays_with_the_disc(turning: tuple[World, Shown]) -> None:
    """Allen's limb darkening, which tests/scenes draws: with the surface it would have turned by 52 degrees."""
    _, shown = turning
    ring = np.abs(radius_px(1024) - 0.9 * 460.8) < 2
    mu = np.sqrt(1 - 0.9**2)
    expected = 1 - 0.93 + 0.23 + 0.93 * mu - 0.23 * mu**2
    for frame in shown.frames[::8]:
        east, west = (np.median(frame[ring & side]) for side in (_half("left"), _half("right")))
        centre = np.median(frame[radius_px(1024) < 20])
        assert (east / centre, west / centre) == (pytest.approx(expected, abs=0.02), pytest.approx(expected, abs=0.02))


def _half(side: str) -> np.ndarray:
    left = np.arange(1024) < 512
    return np.broadcast_to(left if side == "left" else ~left, (1024, 1024))


def test_frames_say_what_they_are(turning: tuple[World, Shown]) -> None:
    _, shown = turning
    frames = shown.listed["frames"]
    step = timedelta(days=1) / 8
    times = [shown.time_of(index) for index in range(len(frames))]
    assert {b - a for a, b in pairwise(times)} == {step}
    seen = {frame["observations"][0]: index for index, frame in enumerate(frames) if frame["kind"] == "observed"}
    assert len(seen) == len(DAYS)
    for number, index in enumerate(seen.values()):
        assert abs(times[index] - EPOCH - timedelta(days=DAYS[number])) <= step / 2
    assert all(len(frame["observations"]) == 2 for frame in frames if frame["kind"] == "between")


def test_a_quiet_disc_never_shows_blank_surface(turning: tuple[World, Shown]) -> None:
    """With pictures on both sides in reach all is known: nowhere the hatch's darkness but in spots."""
    world, shown = turning
    for index in range(1, len(shown.frames), 8):
        frame = bare(shown.frames[index])
        truth = draw_disc(scene_at(world, shown.time_of(index), noise=0.0, granulation=0.0))
        spotless = (truth > 0.97 * draw_disc(scene_at(lone_spots(0.0), EPOCH, noise=0.0)).min()) & (truth > 0.24)
        inside = radius_px(1024) < 0.99 * 460.8
        assert (frame[inside & spotless] > 0.2).all()


def test_surface_that_nobody_saw_reads_as_blank(long_gap: Shown) -> None:
    frames = long_gap.listed["frames"]
    middle = next(index for index, frame in enumerate(frames) if not frame["observations"])
    inside = radius_px(512) < 0.95 * 230.4
    quiet, blank = (long_gap.frames[index][inside].astype(float) for index in (0, middle))
    assert frames[middle]["kind"] == "between"
    # Nothing of it looks like quiet Sun: the hatch reaches 88 levels, quiet Sun near the limb begins at 132.
    assert np.percentile(blank, 99.9) < np.percentile(quiet, 1) - 40
    assert blank.std() > 5  # and the hatch shows


def test_nothing_is_shown_beyond_its_reach_and_it_fades_before(long_gap: Shown) -> None:
    inside = radius_px(512) < 0.5 * 230.4
    first = long_gap.time_of(0)
    levels = {
        (long_gap.time_of(index) - first) / timedelta(days=1): float(np.median(frame[inside]))
        for index, frame in enumerate(long_gap.frames)
    }
    known, blank = levels[0.0], min(levels.values())
    assert all(abs(level - known) < 0.02 * known for day, level in levels.items() if day <= 1.9)
    assert all(abs(level - blank) < 3 for day, level in levels.items() if 3.0 <= day <= 6.0)
    fading = [level for day, level in levels.items() if 2.0 < day < 3.0]
    assert fading == sorted(fading, reverse=True)
    assert blank + 10 < fading[len(fading) // 2] < known - 10


def test_one_picture_gives_a_still_film(tmp_path: Path) -> None:
    _, job = drawn_days(tmp_path, [0.0], FilmOptions(size_px=480))
    shown = film_of(job, "smooth", tmp_path / "one.mp4")
    assert {frame["kind"] for frame in shown.listed["frames"]} == {"observed"}
    assert len(shown.frames) == 50
    # The encoder's own refinement from frame to frame is all that changes.
    assert np.abs(np.diff(shown.frames.astype(int), axis=0)).mean() < 0.1


def test_no_picture_gives_no_film(tmp_path: Path) -> None:
    with pytest.raises(FactsError, match="choose a longer one"):
        film_of(film_job(tmp_path, [], FilmOptions()), "smooth", tmp_path / "none.mp4")


def test_a_part_that_the_frame_cut_off_is_blank_not_black_and_is_taken_from_another_picture(tmp_path: Path) -> None:
    world = lone_spots(sun_view(EPOCH, latitude_deg=0.0, longitude_deg=0.0).l0_deg)
    times = [EPOCH, EPOCH + timedelta(days=1)]
    pictures = [draw_disc(scene_at(world, time_utc)) for time_utc in times]
    pictures[0][700:] = 0.0  # the south was outside the first picture's frame
    job = film_job(tmp_path, list(zip(times, pictures, strict=True)), FilmOptions(pace_s=0.2))
    shown = film_of(job, "smooth", tmp_path / "cut.mp4")
    south = (radius_px(1024) < 400) & (np.arange(1024) > 720)[:, None]
    assert 20 < np.median(shown.frames[0][south]) < 100  # observed: blank
    assert np.median(shown.frames[2][south]) > 150  # between: from the second


def test_corotating_map_holds_longitudes_still(tmp_path: Path) -> None:
    _, job = drawn_days(tmp_path, [0.0, 1.0, 2.0], FilmOptions(pace_s=0.4, size_px=512))
    shown = film_of(job, "corotating", tmp_path / "map.mp4")
    window = shown.listed["map"]
    assert shown.listed["disc"] is None
    world = lone_spots(sun_view(EPOCH, latitude_deg=0.0, longitude_deg=0.0).l0_deg)
    for index in (0, len(shown.frames) - 1):
        days = world.days_at(shown.time_of(index))
        for spot in world.spots:
            latitude, longitude = spot.place_at(days)
            away = (longitude - window["longitude_deg"] + 180) % 360 - 180
            x = window["left_px"] + (window["width_px"] - 1) / 2 + away * window["px_per_deg"]
            y = window["top_px"] + (window["height_px"] - 1) / 2 - latitude * window["px_per_deg"]
            if abs(away) < 50:
                patch = shown.frames[index][round(y) - 2 : round(y) + 3, round(x) - 2 : round(x) + 3]
                assert np.median(patch) < 0.6 * np.median(shown.frames[index][200:300, 150:350])


def test_corotating_disc_keeps_its_face(tmp_path: Path) -> None:
    world, job = drawn_days(tmp_path, [0.0, 2.0], FilmOptions(pace_s=0.4, view="disc"))
    shown = film_of(job, "corotating", tmp_path / "face.mp4")
    facing_deg = sun_view(EPOCH + timedelta(days=1), latitude_deg=0.0, longitude_deg=0.0).l0_deg
    face = replace(STANDARD_SCENE, b0_deg=0.0)
    for index in (0, len(shown.frames) - 1):
        for spot in world.spots:
            latitude_deg, longitude_deg = spot.place_at(world.days_at(shown.time_of(index)))
            x_px, y_px, mu = place_on_picture(face, latitude_deg, longitude_deg - facing_deg)
            if mu > 0.6:
                assert darkness_centre(shown.frames[index], x_px, y_px) == pytest.approx((x_px, y_px), abs=0.9)


def test_same_pictures_give_the_same_film(tmp_path: Path) -> None:
    _, job = drawn_days(tmp_path, [0.0, 1.0], FilmOptions(pace_s=0.2, size_px=480, grid=True, axis=True))
    one, two = (film_of(job, "smooth", tmp_path / f"{name}.mp4", av1=True).files for name in ("one", "two"))
    assert one.mp4.read_bytes() == two.mp4.read_bytes()
    assert one.poster.read_bytes() == two.poster.read_bytes()
    assert one.av1 is not None
    assert two.av1 is not None
    assert one.av1.read_bytes() == two.av1.read_bytes()
