"""Make the sample archive: a fortnight at an invented observatory.

Run from the checkout: ``PYTHONPATH=. python tests/make_sample_archive.py NEW-FOLDER``. The same script gives
the same bytes, as long as the image libraries' encoders stay the same.
"""

from __future__ import annotations

import math
import shutil
import sys
import tempfile
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import tomlkit
from numpy.typing import NDArray
from scenes.discs import Scene, Spot, draw_disc, quantise
from scenes.finish import dust_places
from scenes.sun_days import GroupPlan, Mount, SunNumbers, World, plan_days, world_of

from archive.execution.progress import silent
from archive.filing.adding import add_pictures
from archive.filing.statements import AddOptions
from archive.records.archive_files import files_of
from archive.records.folder import writing
from archive.records.new_archive import create_archive
from archive.records.settings import FilmSettings, InstrumentSettings, Settings, SiteSettings, keep_film
from archive.sun import sun_view

__all__ = [
    "DOORSTEP",
    "LATITUDE_DEG",
    "LONGITUDE_DEG",
    "OBSERVER",
    "PIER",
    "TITLE",
    "SamplePicture",
    "draw_pictures",
    "make_archive",
    "sample_pictures",
]

TITLE = "Teasel Bank Observatory"
OBSERVER = "the Teasel Bank observer"
LATITUDE_DEG, LONGITUDE_DEG = 52.1, -1.3
DOORSTEP = "Doorstep refractor"  # small robotic telescope, alt-azimuth, not mirrored, camera angle 0
PIER = "Pier refractor"  # equatorial, seen through a star diagonal: mirrored
PIER_CAMERA_ANGLE_DEG = 2.4
EPOCH = datetime(2026, 5, 25, tzinfo=UTC)
WARM = (1.0, 0.86, 0.55)
AMBER = (1.0, 0.74, 0.36)
CREAM = (1.0, 0.95, 0.82)

# On the first day Carrington longitudes 105 to 285 face us; only an old field of faculae lives there.
GROUPS = (
    GroupPlan("old field", -12.0, 268.0, 0.4, 0.3, 9.0, 0, birth_day=-40.0, life_days=38.0, seed=1),
    GroupPlan("first", 14.0, 97.0, 1.9, 1.25, 9.0, 5, birth_day=-12.0, life_days=60.0, seed=2),
    GroupPlan("second", -17.5, 79.0, 1.5, 0.0, 3.0, 2, birth_day=-20.0, life_days=70.0, seed=3),
    GroupPlan("third", 23.0, 61.0, 1.1, 0.9, 7.0, 4, birth_day=-6.0, life_days=34.0, seed=4),
    GroupPlan("newborn", -8.5, 104.0, 1.25, 0.95, 5.0, 4, birth_day=6.2, life_days=16.0, seed=5),
    GroupPlan("fifth", 10.5, 26.0, 2.3, 1.5, 11.0, 6, birth_day=-4.0, life_days=50.0, seed=6),
    GroupPlan("sixth", -23.0, 8.0, 0.85, 0.6, 6.0, 3, birth_day=-15.0, life_days=45.0, seed=7),
)


@dataclass(frozen=True)
class SamplePicture:
    """A drawn picture: what the observer would state, and after that what is true of it.

    The name of `file` carries the UTC of the capture's middle. `spots` holds group name and spot.
    """

    file: str
    time_utc: datetime
    instrument: str
    note: str
    length_s: float
    frames_captured: int
    frames_stacked: int
    exposure_s: float
    gain: float
    seeing: float
    transparency: str
    truth: Scene
    spots: tuple[tuple[str, Spot], ...]


@dataclass(frozen=True)
class _Shot:
    """One capture: when, with what, how it looks, and what the observer wrote."""

    stamp: str
    look: Scene
    note: str
    instrument: str = DOORSTEP
    kind: str = ".jpg"
    quality: int = 90
    length_s: float = 100.0
    frames: tuple[int, int] = (2100, 200)
    exposure_s: float = 1 / 250
    seeing: float = 3.0
    transparency: str = "clear"


def _look(frame: str, radius_px: float, **changes: object) -> Scene:
    """A finished look in a frame like ``720x600``, the disc near its middle."""
    width_px, height_px = (int(side) for side in frame.split("x"))
    start = Scene(
        width_px=width_px,
        height_px=height_px,
        x_px=width_px / 2 - 0.5,
        y_px=height_px / 2 - 0.5,
        radius_px=radius_px,
        sharpen=0.5,
        halo=0.012,
        sky_level=0.012,
        noise=0.0025,
        granulation=0.008,
        tint=WARM,
    )
    return replace(start, **changes)  # type: ignore[arg-type]


SHOTS = (
    _Shot(
        "20260525T091500Z",
        _look("720x600", 259.1, granulation=0.009),
        "First light for the archive, and **not one spot**: a blank disc. The faculae near the western "
        "limb are all that is left of something I missed.",
        seeing=3.5,
    ),
    _Shot(
        "20260526T085000Z",
        _look("720x600", 261.6, blur_px=1.0, sharpen=0.7, peak=0.84),
        "A spot has come round the eastern limb since yesterday, lying in bright faculae.",
        seeing=4.0,
    ),
    _Shot(
        "20260527T102200Z",
        _look("720x640", 271.5, tint=AMBER, peak=0.9, gamma=1.15),
        "The northern group is on now, leader first. There may be something dark right on the limb south "
        "of it; tomorrow will tell.",
    ),
    _Shot(
        "20260528T093000Z",
        _look("720x600", 260.4, cloud=0.32, halo=0.08, sky_level=0.05, blur_px=1.5, sharpen=0.3, noise=0.004),
        "Thin high cloud all morning; took what there was. The spots are there, the contrast is not.",
        seeing=2.0,
        transparency="thin cloud",
        exposure_s=1 / 160,
        frames=(1400, 140),
    ),
    _Shot(
        "20260529T110500Z",
        _look("720x720", 288.0, blur_px=1.3, sharpen=0.9, tint=CREAM, peak=0.88, dust=3, sky_level=0.006),
        "Set up the old refractor on the pier for a longer look, with its star diagonal, so *left and "
        "right are swapped*. A third group shows as a speck on the north-eastern limb.",
        instrument=PIER,
        quality=88,
        length_s=60.0,
        frames=(1800, 180),
        exposure_s=1 / 400,
        seeing=4.0,
    ),
    _Shot(
        "20260601T090500Z",
        _look("720x600", 260.4, tint=AMBER, peak=0.82),
        "Two days of cloud, then a clear morning. The first group is coming up to the meridian, and two "
        "tiny spots stand there in the south that were not to be seen on Friday. A large one is on the "
        "eastern limb.",
    ),
    _Shot(
        "20260602T151000Z",
        _look("720x600", 262.3, tint=None, peak=0.72, sharpen=0.4),
        "Kept this one in 16 bits, without a tint. The new southern group has grown in a day.",
        kind=".tif",
        seeing=3.0,
    ),
    _Shot(
        "20260603T183000Z",
        _look(
            "720x600",
            257.8,
            tint=(1.0, 0.68, 0.28),
            blur_px=1.9,
            sharpen=0.3,
            peak=0.66,
            noise=0.005,
            halo=0.03,
        ),
        "Only free in the evening: the Sun low over the hedge and visibly boiling. The disc should be a "
        "little flattened at this height.",
        seeing=1.5,
        transparency="haze",
        exposure_s=1 / 80,
        frames=(1500, 120),
    ),
    _Shot(
        "20260604T090500Z",
        _look("700x620", 265.0, peak=0.86, sharpen=0.6),
        "Six groups, the most so far.",
        seeing=3.5,
    ),
    _Shot(
        "20260604T140500Z",
        _look("720x700", 283.0, blur_px=1.4, sharpen=0.8, tint=CREAM, peak=0.8, dust=3, sky_level=0.006),
        "The same Sun from the pier in the afternoon, mirrored again by the diagonal.",
        instrument=PIER,
        quality=88,
        length_s=60.0,
        frames=(1800, 180),
        exposure_s=1 / 400,
        seeing=3.5,
    ),
    _Shot(
        "20260605T074000Z",
        _look("720x600", 261.0, tint=None, peak=0.78, sharpen=0.55),
        "Early, before work. Saved as a grey PNG.",
        kind=".png",
        seeing=3.0,
    ),
    _Shot(
        "20260606T113500Z",
        _look("720x600", 262.9, tint=AMBER, peak=0.88, sharpen=0.8, blur_px=1.1),
        "The first group is on its way to the western limb; the big one has come almost to the meridian.",
        seeing=4.0,
    ),
    _Shot(
        "20260607T095000Z",
        _look("720x600", 259.7, sharpen=0.6),
        "A fortnight done. The large group is a little past the meridian today, and the first ones are "
        "going round the western limb.",
        seeing=3.5,
    ),
)


AT_THE_LIMB = "20260526T085000Z.jpg"


def sample_pictures() -> list[SamplePicture]:
    """Return all pictures in time order with their truth, undrawn: the sample archive holds them."""
    world = world_of(GROUPS, epoch_utc=EPOCH)
    return [_sample(world, shot, number) for number, shot in enumerate(SHOTS)]


def draw_pictures(folder: Path) -> list[SamplePicture]:
    """Write all pictures into a folder, which must exist, and return them in time order with their truth."""
    pictures = sample_pictures()
    for sample, shot in zip(pictures, SHOTS, strict=True):
        _write(folder / sample.file, draw_disc(sample.truth), shot)
    return pictures


def _sample(world: World, shot: _Shot, number: int) -> SamplePicture:
    time_utc = datetime.strptime(shot.stamp, "%Y%m%dT%H%M%SZ").replace(tzinfo=UTC)
    sun = sun_view(time_utc, latitude_deg=LATITUDE_DEG, longitude_deg=LONGITUDE_DEG)
    view = SunNumbers(
        time_utc, sun.p_deg, sun.b0_deg, sun.l0_deg, sun.parallactic_angle_deg, altitude_deg=sun.altitude_deg
    )
    ((_, truth),) = plan_days(world, [view], mount=_mount(shot, seed=100 + number))
    return SamplePicture(
        file=shot.stamp + shot.kind,
        time_utc=time_utc,
        instrument=shot.instrument,
        note=shot.note,
        length_s=shot.length_s,
        frames_captured=shot.frames[0],
        frames_stacked=shot.frames[1],
        exposure_s=shot.exposure_s,
        gain=0.0,
        seeing=shot.seeing,
        transparency=shot.transparency,
        truth=truth,
        spots=world.sightings(world.days_at(time_utc), l0_deg=sun.l0_deg, b0_deg=sun.b0_deg),
    )


def _mount(shot: _Shot, *, seed: int) -> Mount:
    if shot.instrument == PIER:
        return Mount("equatorial", shot.look, PIER_CAMERA_ANGLE_DEG, mirrored=True, centre_rms_px=8.0, seed=seed)
    return Mount("altaz", shot.look, levelling_rms_deg=0.25, centre_rms_px=5.0, scale_rms=0.001, seed=seed)


def _write(path: Path, picture: NDArray[np.float32], shot: _Shot) -> None:
    import tifffile
    from PIL import Image

    if shot.kind == ".tif":
        tifffile.imwrite(path, quantise(picture, 16), compression="zlib", predictor=True, metadata=None)
    elif shot.kind == ".png":
        Image.fromarray(quantise(picture, 8)).save(path, optimize=True)
    else:
        Image.fromarray(quantise(picture, 8)).save(path, quality=shot.quality, optimize=True)


def make_archive(folder: Path) -> None:
    """Make the archive by the program's own commands: what the observer would have done, in one go."""
    settings = Settings(
        title=TITLE,
        observer=OBSERVER,
        time_zone="Europe/London",
        sites=(
            SiteSettings(name="Teasel Bank", latitude_deg=LATITUDE_DEG, longitude_deg=LONGITUDE_DEG, elevation_m=60),
        ),
        instruments=(
            InstrumentSettings(
                name=DOORSTEP, mount="altaz", mirrored="no", camera_angle_deg=0.0, filter="full-aperture film"
            ),
            InstrumentSettings(
                name=PIER,
                mount="equatorial",
                mirrored="yes",
                camera_angle_deg=PIER_CAMERA_ANGLE_DEG,
                filter="full-aperture glass",
            ),
        ),
    )
    create_archive(folder, settings)
    with tempfile.TemporaryDirectory() as scratch:
        samples = draw_pictures(Path(scratch))
        for sample in samples:
            _write_note(Path(scratch) / sample.file, sample)
        for added in add_pictures(files_of(folder), [Path(scratch)], AddOptions(), on_progress=silent):
            if added.status != "added" or added.warnings:
                raise SystemExit(f"{added.picture}: {added.status}: {added.causes or added.warnings}")
    for sample in samples:
        _correct_by_hand(folder, sample)
    with writing(files_of(folder)):
        keep_film(files_of(folder), FilmSettings(days=7))
    shutil.rmtree(folder / ".northlimb")


def _correct_by_hand(folder: Path, sample: SamplePicture) -> None:
    """What the observer's eye knows better: specks of a single day, and a spot nearer the limb than is searched."""
    record = folder / f"{sample.time_utc:%Y/%Y-%m-%d/%H%MZ}.toml"
    sun = sun_view(sample.time_utc, latitude_deg=LATITUDE_DEG, longitude_deg=LONGITUDE_DEG)
    with record.open("a", encoding="utf-8") as text:
        if sample.file == AT_THE_LIMB:
            _, spot = max(sample.spots, key=lambda named: named[1].radius_deg)
            longitude_deg = (sun.l0_deg + spot.longitude_deg) % 360.0
            area_msh = 1e6 * (1.0 - math.cos(math.radians(spot.radius_deg)))
            text.write(
                f"\n[[groups]]\nlatitude_deg = {spot.latitude_deg:.1f}\n"
                f"carrington_longitude_deg = {longitude_deg:.1f}\nspots = 1\narea_msh = {area_msh:.0f}.0\n"
            )
        for x_px, y_px, radius_px in dust_places(sample.truth):
            if math.hypot(x_px - sample.truth.x_px, y_px - sample.truth.y_px) < sample.truth.radius_px:
                text.write(
                    f"\n[[dust]]\nx_px = {x_px:.0f}.0\ny_px = {y_px:.0f}.0\nradius_px = {radius_px + 4.0:.0f}.0\n"
                )


def _write_note(picture: Path, sample: SamplePicture) -> None:
    """What the observer states, in a note beside the picture."""
    keys = {
        key: getattr(sample, key)
        for key in (
            "instrument", "length_s", "frames_captured", "frames_stacked", "exposure_s", "gain", "seeing",
            "transparency", "note",
        )
    }  # fmt: skip
    text = tomlkit.dumps({key: value for key, value in keys.items() if value is not None})
    picture.with_suffix(".toml").write_text(text, encoding="utf-8")


def main(arguments: list[str]) -> int:
    """Make the archive in the new folder named on the command line."""
    if len(arguments) != 1:
        sys.stderr.write("usage: make_sample_archive.py NEW-FOLDER\n")
        return 2
    make_archive(Path(arguments[0]))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
