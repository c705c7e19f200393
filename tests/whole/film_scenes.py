"""Days of a drawn Sun whose spots follow the rotation law, as discs ready for filming, and films read back."""

from __future__ import annotations

import json
import subprocess
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from pathlib import Path

import imageio_ffmpeg
import numpy as np
import pytest
from numpy.typing import NDArray
from scenes.discs import Scene, draw_disc, place_on_picture
from scenes.sun_days import GroupPlan, World, world_of

from archive.disc.aligned import STANDARD_FRAME
from archive.disk import Folder, StoredFile
from archive.films.film import FilmFiles, make_film
from archive.films.job import FilmJob, FilmOptions
from archive.films.production import plan_film
from archive.model.observation import Disc, Observation, Orientation, PictureFile
from archive.records.disc_files import fits_bytes
from archive.sun.view import sun_view

EPOCH = datetime(2026, 6, 1, 9, 0, tzinfo=UTC)
# Lone round spots, no proper motion: their centres are where the law puts them. L0 is 100 at the epoch.
SPOTS = [(14.0, 60.0), (-22.0, 92.0), (6.0, 118.0), (-9.0, 141.0), (31.0, 104.0)]
STANDARD_SCENE = Scene(
    width_px=STANDARD_FRAME.size_px,
    height_px=STANDARD_FRAME.size_px,
    x_px=STANDARD_FRAME.centre_px,
    y_px=STANDARD_FRAME.centre_px,
    radius_px=STANDARD_FRAME.radius_px,
    blur_px=1.3,
    sky_level=0.01,
    noise=0.002,
    granulation=0.004,
)


def lone_spots(l0_deg: float) -> World:
    """Spots as `SPOTS`, at longitudes counted from 100 at the central meridian."""
    plans = [
        GroupPlan(f"s{number}", latitude, longitude - 100.0 + l0_deg, 1.6, 0.0, 0.0, 0, seed=number)
        for number, (latitude, longitude) in enumerate(SPOTS)
    ]
    return replace(world_of(plans, epoch_utc=EPOCH), faculae=())


def scene_at(world: World, time_utc: datetime, **changes: object) -> Scene:
    """The scene of a north-up picture of the standard size."""
    sun = sun_view(time_utc, latitude_deg=0.0, longitude_deg=0.0)
    seen = world.sightings(world.days_at(time_utc), l0_deg=sun.l0_deg, b0_deg=sun.b0_deg)
    spots = tuple(replace(spot, ragged=0.0) for _, spot in seen)
    seed = int(world.days_at(time_utc) * 100) + 1
    return replace(STANDARD_SCENE, b0_deg=sun.b0_deg, spots=spots, seed=seed, **changes)  # type: ignore[arg-type]


def observed(time_utc: datetime) -> Observation:
    """An observation of that time whose north is known."""
    return Observation(
        id=f"{time_utc:%Y-%m-%dT%H%MZ}",
        time_utc=time_utc,
        site="Quay",
        instrument="Doorstep",
        band="white",
        picture=PictureFile("x.png", "0" * 64, 1024, 1024, 8),
        disc=Disc(511.5, 511.5, 460.8, 0.0, 0.1),
        orientation=Orientation("solved", 0.0, False, 0.2),
        sun=sun_view(time_utc, latitude_deg=0.0, longitude_deg=0.0),
    )


def film_job(
    folder: Path, pictures: Sequence[tuple[datetime, NDArray[np.float32]]], options: FilmOptions, look: str = "mono"
) -> FilmJob:
    """Write aligned discs into a folder; what a film is made from."""
    discs = {}
    chosen = [observed(time_utc) for time_utc, _ in pictures]
    for one, (_, picture) in zip(chosen, pictures, strict=True):
        discs[one.id] = StoredFile(Folder(folder), f"{one.id}.fits")
        (folder / f"{one.id}.fits").write_bytes(fits_bytes(picture, []))
    return FilmJob(chosen, discs, look, options)  # type: ignore[arg-type]


def drawn_days(folder: Path, days: Sequence[float], options: FilmOptions, **changes: object) -> tuple[World, FilmJob]:
    """Draw the lone spots on some days after the epoch."""
    world = lone_spots(sun_view(EPOCH, latitude_deg=0.0, longitude_deg=0.0).l0_deg)
    times = [EPOCH + timedelta(days=day) for day in days]
    pictures = [(time_utc, _drawn(scene_at(world, time_utc, **changes))) for time_utc in times]
    return world, film_job(folder, pictures, options)


@lru_cache(maxsize=12)
def _drawn(scene: Scene) -> NDArray[np.float32]:
    """A scene that many tests ask for."""
    picture = draw_disc(scene)
    picture.setflags(write=False)
    return picture


@dataclass(frozen=True)
class Shown:
    """A film's list of frames, and its pixels as decoded, (N, S, S) grey levels."""

    files: FilmFiles
    listed: dict[str, object]
    frames: NDArray[np.uint8]

    def time_of(self, index: int) -> datetime:
        return datetime.fromisoformat(self.listed["frames"][index]["time_utc"])  # type: ignore[index]


def film_of(job: FilmJob, style: str, out: Path, *, av1: bool = False) -> Shown:
    """Make a film and read it back with the bundled decoder.

    Unless wanted it has no AV1 version, as with an encoder that lacks AV1: that takes longer than all else.
    """
    specs, frames, head = plan_film(job, style)  # type: ignore[arg-type]
    with pytest.MonkeyPatch.context() as patch:
        if not av1:
            patch.setattr("archive.films.film.has_av1", lambda: False)
        files = make_film(specs, frames, out, head=head)
    return Shown(
        files,
        json.loads(files.frames_json.read_text(encoding="utf-8")),
        decoded(files.mp4, files.width_px, files.height_px),
    )


def decoded(path: Path, width_px: int, height_px: int) -> NDArray[np.uint8]:
    command = [imageio_ffmpeg.get_ffmpeg_exe(), "-loglevel", "error", "-i", path, "-pix_fmt", "gray"]
    raw = subprocess.run([*command, "-f", "rawvideo", "pipe:1"], capture_output=True, check=True).stdout
    return np.frombuffer(raw, np.uint8).reshape(-1, height_px, width_px)


def spot_errors_px(world: World, shown: Shown, index: int, *, least_mu: float = 0.35) -> list[float]:
    """How far each spot of a frame is from where the law puts it, by the centre of its darkness."""
    time_utc = shown.time_of(index)
    scene = scene_at(world, time_utc)
    errors = []
    for spot in scene.spots:
        x_px, y_px, mu = place_on_picture(scene, spot.latitude_deg, spot.longitude_deg)
        if mu >= least_mu:
            found = darkness_centre(shown.frames[index], x_px, y_px)
            errors.append(float(np.hypot(found[0] - x_px, found[1] - y_px)))
    return errors


def darkness_centre(frame: NDArray[np.uint8], x_px: float, y_px: float, reach_px: int = 24) -> tuple[float, float]:
    """The centre of what is darker than its surroundings (a plane through them) near a place."""
    left, top = round(x_px) - reach_px, round(y_px) - reach_px
    part = frame[top : top + 2 * reach_px + 1, left : left + 2 * reach_px + 1].astype(float)
    y, x = np.mgrid[: part.shape[0], : part.shape[1]] - reach_px
    ring = np.hypot(x, y) > 0.8 * reach_px
    plane = np.linalg.lstsq(np.stack([np.ones(ring.sum()), x[ring], y[ring]], axis=1), part[ring], rcond=None)[0]
    dark = np.clip(plane[0] + plane[1] * x + plane[2] * y - part - 6.0, 0.0, None)
    assert dark.sum() > 300, "no spot there"
    return left + reach_px + float((dark * x).sum() / dark.sum()), top + reach_px + float((dark * y).sum() / dark.sum())
