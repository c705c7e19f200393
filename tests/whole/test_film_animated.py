"""A film as GIF and as WebP, read back by Pillow."""

import json

import numpy as np
import pytest
from PIL import Image

from archive.errors import FactsError
from archive.films import animation
from archive.films.animation import write_animation
from archive.films.job import FilmOptions
from archive.films.production import plan_animation
from archive.films.styles import render_frames
from whole.film_scenes import drawn_days


def animated(folder, name, **options):
    _, job = drawn_days(folder, [0.0, 1.0], FilmOptions(size_px=480, pace_s=0.4, **options))
    specs, frames, head, table = plan_animation(job, "daily")
    return job, specs, write_animation(folder / name, specs, frames, head=head, table=table)


@pytest.mark.parametrize("ending", ["gif", "webp"])
def test_an_animated_picture_shows_what_the_film_shows(tmp_path, ending):
    job, specs, made = animated(tmp_path, f"sun.{ending}", shape="tall")
    wanted = next(iter(render_frames(job, "daily", specs)))
    with Image.open(made.path) as picture:
        assert picture.format == ending.upper()
        assert picture.size == (480, 854)
        shown = np.asarray(picture.convert("RGB")).astype(int)
        durations = []
        for index in range(picture.n_frames):
            picture.seek(index)
            picture.load()
            durations.append(picture.info["duration"])
    # Frames alike are one, shown for longer: 12.5 a second.
    assert sum(durations) == pytest.approx(80 * len(specs), abs=80)
    assert np.abs(shown - wanted).mean() < 2.0
    listed = json.loads(made.frames_json.read_text(encoding="utf-8"))
    assert len(listed["frames"]) == made.frames == len(specs)
    assert listed["frames_per_second"] == 12.5
    assert (listed["width_px"], listed["height_px"]) == (480, 854)


def test_a_smaller_size_is_kept_where_the_bound_asks_for_it(tmp_path, monkeypatch):
    _, _, made = animated(tmp_path, "sun.gif")
    monkeypatch.setattr(animation, "MOST_BYTES", made.size_bytes - 1)
    _, _, smaller = animated(tmp_path, "smaller.gif")
    assert smaller.width_px == 360
    assert smaller.size_bytes < made.size_bytes
    monkeypatch.setattr(animation, "MOST_BYTES", 1000)
    with pytest.raises(FactsError, match="choose a shorter span"):
        animated(tmp_path, "none.gif")
    assert not (tmp_path / "none.gif").exists()
