"""Frames as they go to the encoder: blends, captions, sizes."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import groupby

import numpy as np
import pytest
from films.pictures import captioned, picture_of

from archive.films.caption_words import caption_lines
from archive.films.drawing import Annotations, Label, draw_annotations
from archive.films.frames import film_frames
from archive.films.layout import film_layout
from archive.films.strip import draw_strip, strip_picture
from archive.films.timeline import FrameSpec, daily_timeline

SIZE = 480
JUNE = [
    picture_of("2026-06-03T0915Z", datetime(2026, 6, 3, 9, 15, tzinfo=UTC)),
    picture_of("2026-06-04T1111Z", datetime(2026, 6, 4, 11, 11, tzinfo=UTC)),
    picture_of("2026-06-06T0800Z", datetime(2026, 6, 6, 8, 0, tzinfo=UTC)),
]


def boxes(size):
    return [row.box for row in film_layout("square", size).caption[:2]]


def frames_of(specs, load, *, size_px):
    return film_frames(specs, load, layout=film_layout("square", size_px), overlay=captioned(size_px))


def drawn_disc(level, *, size=SIZE):
    """A disc of the standard place and size, level at its centre, 0.8 of that to the left; sky 0."""
    y, x = np.mgrid[:size, :size] - (size - 1) / 2
    disc = np.where(np.hypot(x, y) <= 0.45 * size, level, 0)
    return np.where(x < -0.2 * size, 0.8 * disc, disc).astype(np.float32)


def load(name):
    return drawn_disc(0.4 + 0.1 * int(name[9]))  # the day's last digit


def caption_mask(size):
    mask = np.zeros((size, size), bool)
    for box in boxes(size):
        mask[box.top : box.bottom, box.left : box.right] = True
    return mask


def observed(day=3, month=6, hour=9, minute=15):
    return FrameSpec(0, datetime(2026, month, day, hour, minute, tzinfo=UTC), "observed", ("a",), 0.0)


def test_nothing_changes_over_a_hold():
    specs = daily_timeline(JUNE, frames_per_second=6)
    pairs = zip(specs, frames_of(specs, load, size_px=SIZE), strict=True)
    for kind, run in groupby(pairs, key=lambda pair: (pair[0].kind, pair[0].observations)):
        if kind[0] == "observed":
            frames = [frame.copy() for _, frame in run]
            assert len(frames) == 5
            assert all(np.array_equal(frames[0], frame) for frame in frames)


def test_a_caption_changes_only_its_own_boxes():
    frame = next(frames_of([observed()], lambda _: drawn_disc(0.7), size_px=SIZE))
    bare = np.rint(drawn_disc(0.7) * 255).astype(np.uint8)
    changed = (frame != bare[:, :, None]).any(axis=2)
    assert changed.any()
    assert not (changed & ~caption_mask(SIZE)).any()


@pytest.mark.parametrize("size", [480, 601, 1024, 2048])
def test_the_caption_keeps_clear_of_the_disc_and_the_frame(size):
    y, x = np.nonzero(caption_mask(size))
    assert np.hypot(x - (size - 1) / 2, y - (size - 1) / 2).min() > 0.45 * size
    assert x.min() >= size // 64
    assert y.min() >= size // 64


@pytest.mark.parametrize("size", [480, 600, 1024, 2048])
@pytest.mark.parametrize("kind", ["observed", "between"])
def test_the_longest_captions_are_not_cut_off(size, kind):
    spec = FrameSpec(0, datetime(2026, 9, 28, 20, 44, tzinfo=UTC), kind, ("a",), 0.0)
    frame = next(frames_of([spec], lambda _: np.zeros((size, size), np.float32), size_px=size))
    for box, text in zip(boxes(size), caption_lines(spec), strict=True):
        row = frame[box.top : box.bottom, box.left : box.right, 0]
        assert row.any() == bool(text)
        assert not row[:, -1].any()
        assert not row[0].any()
        assert not row[-1].any()


def test_caption_says_day_and_time_and_that_nobody_looked():
    assert caption_lines(observed()) == ("3 June 2026, 09:15 UTC", "observed")
    # The frame of an evenly stepping film that is nearest to an observation of 09:02.
    near = replace(observed(), observed_utc=datetime(2026, 6, 3, 9, 2, 40, tzinfo=UTC))
    assert caption_lines(near) == ("3 June 2026, 09:15 UTC", "observed at 09:02")
    assert caption_lines(near, kind="date") == ("3 June 2026", "observed")
    between = FrameSpec(9, datetime(2026, 6, 3, 22, 1, tzinfo=UTC), "between", ("a", "b"), 0.5)
    assert caption_lines(between) == ("3 June 2026, 22:01 UTC", "between observations")
    nobody = FrameSpec(9, datetime(2026, 6, 3, 22, 1, tzinfo=UTC), "between", (), 0.0)
    assert caption_lines(nobody, kind="date") == ("3 June 2026", "not observed")


def test_letters_after_the_figures_stand_still_when_the_time_changes():
    # 11:11 is the narrowest time in proportional figures, 00:00 among the widest.
    frames = [
        next(frames_of([observed(hour=h, minute=m)], lambda _: drawn_disc(0.5), size_px=1024))
        for h, m in ((11, 11), (0, 0))
    ]
    box = boxes(1024)[0]
    ends = [np.flatnonzero(frame[box.top : box.bottom, box.left : box.right, 0].any(axis=0)).max() for frame in frames]
    assert ends[0] == ends[1]


def test_a_blend_is_the_weighted_mean_rounded_to_the_nearest_level():
    spec = FrameSpec(0, JUNE[0].time_utc, "between", ("dark", "bright"), 0.25)
    discs = {"dark": drawn_disc(0.4), "bright": drawn_disc(0.8)}
    frame = next(frames_of([spec], discs.__getitem__, size_px=SIZE))
    assert frame[240, 240].tolist() == [round(0.5 * 255)] * 3
    assert frame[240, 100].tolist() == [round(0.4 * 255)] * 3


def test_a_grey_disc_blends_with_a_tinted_one():
    spec = FrameSpec(0, JUNE[0].time_utc, "between", ("grey", "tinted"), 0.5)
    tinted = np.stack([drawn_disc(level) for level in (1.0, 0.6, 0.2)], axis=2)
    frame = next(frames_of([spec], {"grey": drawn_disc(0.4), "tinted": tinted}.__getitem__, size_px=SIZE))
    assert frame[240, 240].tolist() == [round(0.7 * 255), round(0.5 * 255), round(0.3 * 255)]


def test_each_disc_is_loaded_once_and_no_more_than_two_are_kept():
    calls = []
    specs = daily_timeline(JUNE, frames_per_second=4)
    for spec, _ in zip(specs, frames_of(specs, lambda n: calls.append(n) or load(n), size_px=SIZE), strict=True):
        assert set(calls[-2:]) >= set(spec.observations)
    assert calls == [sighting.id for sighting in JUNE]


def test_resampling_follows_the_pixel_centre_rule():
    # A small bright spot at (300.0, 700.0) of 1024 px must come to ((300.5) * s - 0.5, (700.5) * s - 0.5).
    y, x = np.mgrid[:1024, :1024]
    spot = np.exp(-((x - 300.0) ** 2 + (y - 700.0) ** 2) / (2 * 8.0**2)).astype(np.float32)
    frame = next(frames_of([observed()], lambda _: spot, size_px=600))[:, :, 0].astype(float)
    frame[caption_mask(600)] = 0
    y, x = np.mgrid[:600, :600]
    scale = 600 / 1024
    assert (frame * x).sum() / frame.sum() == pytest.approx(300.5 * scale - 0.5, abs=0.02)
    assert (frame * y).sum() / frame.sum() == pytest.approx(700.5 * scale - 0.5, abs=0.02)


def test_values_outside_the_display_range_are_clipped_not_wrapped():
    frame = next(frames_of([observed()], lambda _: np.full((SIZE, SIZE), 1.2, np.float32), size_px=SIZE))
    assert frame[240, 240].tolist() == [255, 255, 255]


@pytest.mark.parametrize("shape", [(480, 400), (480, 480, 4), (480,)])
def test_a_disc_of_another_shape_is_refused(shape):
    with pytest.raises(ValueError, match="must be"):
        next(frames_of([observed()], lambda _: np.zeros(shape, np.float32), size_px=SIZE))


def test_a_frame_too_small_for_its_caption_is_refused():
    with pytest.raises(ValueError, match="480 px"):
        next(frames_of([observed()], load, size_px=300))


@pytest.mark.parametrize("size", [480, 601, 1024, 2048])
def test_the_strip_keeps_clear_of_the_disc_and_the_frame(size):
    box = film_layout("square", size).strip
    assert box.top - (size - 1) / 2 > 0.45 * size
    assert box.bottom <= size - size // 64
    assert box.left == size - box.right >= size // 64


def strip_of(days, size=1024):
    sightings = [picture_of(f"d{day}", JUNE[0].time_utc + timedelta(days=day)) for day in days]
    first, last = sightings[0].time_utc, sightings[-1].time_utc
    return sightings, strip_picture(sightings, first, last, box=film_layout("square", size).strip, reach_days=3)


def test_the_strip_has_a_tick_a_picture_and_shows_the_gaps():
    _, strip = strip_of([0, 1, 2, 12])
    ticks = np.flatnonzero(strip[0])
    # A hundredth of the width is left free at both ends; 12 days lie between.
    width = strip.shape[1]
    expected = [width / 100 + day / 12 * (0.98 * width - 1) for day in (0, 1, 2, 12)]
    assert ticks == pytest.approx(expected, abs=1)
    line = strip[strip.shape[0] // 2] > 0
    day = (np.arange(width) - width / 100) / (0.98 * width - 1) * 12
    # With a reach of three days nobody knows of days 5 to 9.
    assert line[(day > 0.1) & (day < 4.9)].all()
    assert not line[(day > 5.1) & (day < 8.9)].any()
    assert line[(day > 9.1) & (day < 11.9)].all()


def test_the_pointer_moves_along_the_strip_with_time():
    sightings, strip = strip_of([0, 4])
    first, last = sightings[0].time_utc, sightings[-1].time_utc
    places = []
    for day in (0, 1, 2, 4):
        frame = np.zeros((1024, 1024, 3), np.uint8)
        spec = FrameSpec(0, first + timedelta(days=day), "between", ("d0", "d4"), 0.5)
        draw_strip(frame, strip, spec, box=film_layout("square", 1024).strip, first=first, last=last)
        box = film_layout("square", 1024).strip
        changed = frame[box.top : box.bottom, box.left : box.right, 0].astype(int) - strip
        weights = np.clip(changed, 0, None).sum(axis=0)
        places.append((weights * np.arange(weights.size)).sum() / weights.sum())
        frame[box.top : box.bottom, box.left : box.right] = 0
        assert not frame.any()
    assert places[1] == pytest.approx((3 * places[0] + places[3]) / 4, abs=3)
    assert places[2] == pytest.approx((places[0] + places[3]) / 2, abs=1)


def test_lines_and_names_are_drawn_where_they_are_told():
    frame = np.full((480, 480, 3), 60, np.uint8)
    line = np.array([[100.0, 200.0], [300.0, 200.0]])
    draw_annotations(frame, Annotations((line,), (Label("2298-3", 240.0, 320.0),)))
    changed = (frame != 60).any(axis=2)
    assert changed[200, 101:299].all()
    y, x = np.nonzero(changed & (np.arange(480) > 260)[:, None])
    assert (x.min() + x.max()) / 2 == pytest.approx(240, abs=3)
    assert (y.min() + y.max()) / 2 == pytest.approx(320, abs=4)
    assert not changed[:195].any()
