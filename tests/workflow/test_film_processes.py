"""Frames painted by several processes: the same as those that one paints."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from archive.films.film import FilmStyle
from archive.workflow.executor import executor_at
from archive.workflow.film_cutting import FilmOptions
from archive.workflow.filming import shot
from workflow.turning import drawn_days

ALL_PROCESSORS = True


@pytest.mark.parametrize("style", ["smooth", "corotating"])
def test_frames_do_not_depend_on_who_paints_them(style: FilmStyle, tmp_path: Path) -> None:
    options = FilmOptions(pace_s=1.6, size_px=240, grid=True)
    _, cutting = drawn_days(tmp_path, [0.0, 1.0, 2.2, 3.0], options)
    specs, alone, _ = shot(cutting, style)
    with executor_at(None) as executor:
        _, together, _ = shot(cutting, style, executor=executor)
        pairs = list(zip(alone, together, strict=True))
    assert len(specs) == len(pairs) >= 96
    assert [number for number, (one, other) in enumerate(pairs) if not np.array_equal(one, other)] == []
    assert len({one.tobytes() for one, _ in pairs}) > 40
