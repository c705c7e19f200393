"""A whole daily film with the files beside it, from drawn discs."""

import json
import re
import subprocess
from datetime import UTC, datetime, timedelta

import imageio_ffmpeg
import numpy as np
import pytest
from films.pictures import captioned, picture_of
from PIL import Image

from archive.errors import ArchiveError, FactsError, FolderError
from archive.films.film import FilmDisc, FilmHead, check_film_name, make_film
from archive.films.frames import film_frames
from archive.films.layout import film_layout
from archive.films.timeline import daily_timeline

AV1 = True  # see `conftest.py`
SIGHTINGS = [picture_of(f"2026-06-{day:02d}T0915Z", datetime(2026, 6, day, 9, 15, tzinfo=UTC)) for day in (3, 4, 7)]
DISC = FilmDisc(255.5, 255.5, 230.4)


def drawn(name, *, size=512):
    """A limb-darkened tinted disc with a dark spot that moves right by 13 px a day, from a seeded grain."""
    day = int(name[8:10])
    y, x = np.mgrid[:size, :size] - (size - 1) / 2
    radius = np.hypot(x, y) / (0.45 * size)
    light = np.where(radius < 1, 0.4 + 0.5 * np.sqrt(np.clip(1 - radius**2, 0, 1)), 0)
    light *= 1 - 0.7 * np.exp(-((x + 130 - 13 * day) ** 2 + y**2) / 40)
    light *= 1 + np.random.default_rng(day).normal(0, 0.01, light.shape)
    return (light[:, :, None] * np.array([1.0, 0.8, 0.5])).clip(0, 1).astype(np.float32)


def make(out, *, load=drawn, sightings=SIGHTINGS, disc=DISC, side_px=512, frames_per_second=10, **more):
    """A film from the parts that `plan_film` puts together, with pictures of the film's own size."""
    specs = daily_timeline(sightings, frames_per_second=frames_per_second)
    head = FilmHead("daily", side_px, side_px, disc, frames_per_second)
    return make_film(
        specs,
        film_frames(specs, load, layout=film_layout("square", side_px), overlay=captioned(side_px)),
        out,
        head=head,
        **more,
    )


@pytest.fixture(scope="module")
def film(tmp_path_factory):
    return make(tmp_path_factory.mktemp("films") / "june.mp4")


def test_a_film_has_poster_list_of_frames_and_clip(film):
    folder = film.mp4.parent
    names = sorted(path.name for path in folder.iterdir())
    # AV1 is there, for the encoder of these tests has it.
    assert names == ["june-av1.mp4", "june-loop.mp4", "june.jpg", "june.json", "june.mp4"]
    assert film.frames == 3 * 8 + 2 * 5
    assert (film.width_px, film.height_px) == (512, 512)
    assert imageio_ffmpeg.count_frames_and_secs(str(film.av1))[0] == film.frames


def test_the_list_names_every_frame_of_the_film(film):
    listed = json.loads(film.frames_json.read_text(encoding="utf-8"))
    assert {name: listed[name] for name in ("style", "frames_per_second", "width_px", "height_px", "disc")} == {
        "style": "daily",
        "frames_per_second": 10,
        "width_px": 512,
        "height_px": 512,
        "disc": {"x_px": 255.5, "y_px": 255.5, "radius_px": 230.4},
    }
    frames, seconds = imageio_ffmpeg.count_frames_and_secs(str(film.mp4))
    assert len(listed["frames"]) == frames == film.frames
    assert seconds == pytest.approx(3.4)
    assert listed["frames"][0] == {
        "index": 0,
        "time_utc": "2026-06-03T09:15:00Z",
        "kind": "observed",
        "observations": ["2026-06-03T0915Z"],
    }
    # The middle of the first cross-fade: half of a day later.
    assert listed["frames"][10] == {
        "index": 10,
        "time_utc": "2026-06-03T21:15:00Z",
        "kind": "between",
        "observations": ["2026-06-03T0915Z", "2026-06-04T0915Z"],
    }


def test_the_disc_lies_where_the_list_says(film):
    disc = json.loads(film.frames_json.read_text(encoding="utf-8"))["disc"]
    with Image.open(film.poster) as poster:
        light = np.asarray(poster.convert("L"), dtype=float)
    x = np.flatnonzero((light[60:] > 40).any(axis=0))  # below the caption
    widest = np.ptp(x) + 1
    assert (x.min() + x.max()) / 2 == pytest.approx(disc["x_px"], abs=0.6)
    assert widest / 2 == pytest.approx(disc["radius_px"], abs=1)


def test_the_poster_is_the_last_observation(film):
    with Image.open(film.poster) as poster:
        assert poster.size == (512, 512)
        shown = np.asarray(poster.convert("RGB"), dtype=float)[100:400, 100:400]
    closeness = {s.id: abs(shown - drawn(s.id)[100:400, 100:400] * 255).mean() for s in SIGHTINGS}
    assert min(closeness, key=closeness.get) == SIGHTINGS[-1].id
    assert min(closeness.values()) < 2


def test_a_held_picture_stands_still_in_the_decoded_film(film):
    command = [imageio_ffmpeg.get_ffmpeg_exe(), "-loglevel", "error", "-i", film.mp4, "-pix_fmt", "gray"]
    raw = subprocess.run([*command, "-f", "rawvideo", "pipe:1"], capture_output=True, check=True).stdout
    frames = np.frombuffer(raw, np.uint8).reshape(-1, 512, 512).astype(int)
    for start in (0, 13, 26):
        hold = frames[start : start + 8]
        assert abs(np.diff(hold, axis=0)).mean() < 0.05
    assert abs(frames[13] - frames[0]).mean() > 0.5  # and the pictures do differ


def test_the_clip_is_small_whatever_its_content(tmp_path, monkeypatch):
    monkeypatch.setattr("archive.films.film.has_av1", lambda: False)  # noise takes the AV1 encoder seconds
    noise = np.random.default_rng(7)
    sightings = [picture_of(f"n{n:03d}", datetime(2026, 6, 1, tzinfo=UTC) + timedelta(days=n)) for n in range(24)]
    film = make(
        tmp_path / "noise.mp4",
        load=lambda _: noise.random((480, 480), np.float32),
        sightings=sightings,
        disc=FilmDisc(239.5, 239.5, 216),
        side_px=480,
        frames_per_second=6,
    )
    assert film.loop.stat().st_size <= 2_000_000
    assert film.mp4.stat().st_size > 4_000_000  # the material does ask for more


def test_same_pictures_give_the_same_files(film, tmp_path):
    again = make(tmp_path / "june.mp4")
    for name in ("mp4", "poster", "frames_json", "loop", "av1"):
        assert getattr(again, name).read_bytes() == getattr(film, name).read_bytes()


def test_a_failure_midway_keeps_all_old_files(tmp_path):
    film = make(tmp_path / "june.mp4", sightings=SIGHTINGS[:1])
    before = {path: path.read_bytes() for path in tmp_path.iterdir()}

    def broken(name):
        if name == SIGHTINGS[2].id:
            raise OSError(5, "Input/output error", name)
        return drawn(name)

    with pytest.raises(FolderError, match=r"june\.mp4: cannot be written: Input/output error"):
        make(film.mp4, load=broken)
    assert {path: path.read_bytes() for path in tmp_path.iterdir()} == before


def test_progress_ends_at_its_total(tmp_path):
    seen = []
    make(tmp_path / "june.mp4", sightings=SIGHTINGS[:2], on_progress=lambda *pair: seen.append(pair))
    total = seen[0][1]
    assert seen == [(n, total) for n in range(1, total + 1)]


def test_a_film_on_a_full_disk_is_one_clear_line_and_leaves_nothing(tmp_path):
    """The limit on a file's size stands for the full disk: the encoder's own and this program's writes fail."""
    resource = pytest.importorskip("resource", reason="POSIX limits")
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    for limit in (0, 20_000):
        resource.setrlimit(resource.RLIMIT_FSIZE, (limit, before[1]))
        try:
            with pytest.raises(ArchiveError, match=r"june\.mp4: ") as refused:
                make(tmp_path / "june.mp4", sightings=SIGHTINGS[:1])
        finally:
            resource.setrlimit(resource.RLIMIT_FSIZE, before)
        assert "\n" not in str(refused.value)
        assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(("name", "advice"), [("june.avi", "june.mp4"), ("June.MP4", "June.mp4"), ("june", "june.mp4")])
def test_a_name_of_another_kind_is_refused_with_one_that_is_taken(tmp_path, name, advice):
    with pytest.raises(FactsError, match=rf"must end in \.mp4.*write {re.escape(advice)}$"):
        check_film_name(tmp_path / name)
    with pytest.raises(FactsError, match="is a folder"):
        check_film_name(tmp_path)


def test_a_missing_folder_is_named(tmp_path):
    with pytest.raises(FolderError, match=r"folder .*nodir does not exist"):
        check_film_name(tmp_path / "nodir" / "june.mp4")


@pytest.mark.parametrize("name", ["june.mp4", "june.jpg", "june.json", "june-loop.mp4", "june-av1.mp4"])
def test_no_file_of_another_origin_is_replaced(tmp_path, name):
    (tmp_path / name).write_text('{"frames": 7}', encoding="utf-8")
    with pytest.raises(FolderError, match=rf"{re.escape(name)}: would be overwritten"):
        check_film_name(tmp_path / "june.mp4")


def test_an_earlier_film_may_be_replaced(tmp_path):
    film = make(tmp_path / "june.mp4", sightings=SIGHTINGS[:1])
    check_film_name(film.mp4)
