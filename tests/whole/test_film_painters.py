"""Frames painted by several threads: the same as those that one paints, and whatever stops them stops the film."""

from __future__ import annotations

import threading
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from archive.films.frames import Paint, painted_frames
from archive.films.job import FilmOptions
from archive.films.production import plan_film
from archive.films.timeline import FrameSpec
from archive.model.choices import FILM_STYLES, FilmStyle
from whole.film_scenes import drawn_days


@pytest.mark.parametrize("style", FILM_STYLES)
def test_frames_do_not_depend_on_who_paints_them(style: FilmStyle, tmp_path: Path) -> None:
    options = FilmOptions(pace_s=0.4, size_px=480, grid=True)
    _, job = drawn_days(tmp_path, [0.0, 1.0, 2.2, 3.0], options)
    specs, alone, _ = plan_film(job, style)
    _, together, _ = plan_film(job, style, painters=3)
    pairs = list(zip(alone, together, strict=True))
    assert len(specs) == len(pairs) >= 24
    assert [number for number, (one, other) in enumerate(pairs) if not np.array_equal(one, other)] == []
    assert len({one.tobytes() for one, _ in pairs}) > 10


@pytest.mark.parametrize("painters", [1, 3])
def test_a_fault_in_one_frame_ends_the_film_there(painters: int) -> None:
    times = [datetime(2026, 6, 3, 9, minute, tzinfo=UTC) for minute in range(20)]
    specs = [FrameSpec(number, time, "observed", ("a",), 0.0) for number, time in enumerate(times)]

    def prepare(spec: FrameSpec) -> Paint:
        def paint() -> NDArray[np.uint8]:
            if spec.index == 7:
                raise MemoryError("no room for frame 7")
            return np.full((4, 4, 3), spec.index, np.uint8)

        return paint

    frames = painted_frames(specs, prepare, overlay=lambda frame, spec: None, painters=painters)
    assert [int(next(frames)[0, 0, 0]) for _ in range(7)] == list(range(7))
    with pytest.raises(MemoryError, match="frame 7"):
        next(frames)
    assert not [thread for thread in threading.enumerate() if thread.name.startswith("painter")]


def test_a_film_that_is_given_up_leaves_no_painter(tmp_path: Path) -> None:
    _, job = drawn_days(tmp_path, [0.0, 1.0], FilmOptions(size_px=240))
    _, frames, _ = plan_film(job, "smooth", painters=2)
    next(frames)
    assert any(thread.name.startswith("painter") for thread in threading.enumerate())
    frames.close()
    assert not [thread for thread in threading.enumerate() if thread.name.startswith("painter")]
