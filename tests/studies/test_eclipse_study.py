"""Drawn eclipses: both limbs in crescents of all kinds, and a series from first to last contact with north by the Moon.

The figures are printed. Reduced unless the environment variable NORTHLIMB_STUDY is `full`.
"""

from __future__ import annotations

import io
import os
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from scenes.discs import Bite, Scene, draw_disc, quantise
from scenes.eclipses import CORPUS_CHRISTI, Camera, drawn_scene, sky_at

from archive.commands.main import main
from archive.disc.brightness import brightness_plane
from archive.disc.crescent import fit_crescent
from archive.errors import PictureError
from archive.model.angles import difference_deg
from archive.model.measured import Crescent
from archive.stages.archive import opened_archive
from archive.stages.survey import Survey, survey
from archive.sun.view import sun_view

pytestmark = pytest.mark.study

FULL = os.environ.get("NORTHLIMB_STUDY") == "full"
COVERED = (0.05, 0.15, 0.3, 0.5, 0.7, 0.8, 0.9, 0.95, 0.98) if FULL else (0.3, 0.95)
DRAWN, LARGEST_PX, SERIES = (40, 300.0, 40) if FULL else (2, 110.0, 5)
LIMB_DARKENING = [(0.93, -0.23), (0.8, -0.1), (0.6, -0.1), (1.0, -0.3)]
RADIUS_SIGMA_PX = 0.1  # of other pictures of the day


@dataclass(frozen=True)
class Case:
    """A drawn crescent, and its limbs with the radii known; None where it is refused."""

    scene: Scene
    crescent: Crescent | None

    def off(self) -> tuple[float, float, float, float]:
        """Return how far off the centres of Sun and Moon are, in px and in their own errors."""
        assert self.crescent is not None
        assert self.scene.bite is not None
        sun, moon, bite = self.crescent.sun, self.crescent.moon, self.scene.bite
        sun_px = float(np.hypot(sun.x_px - self.scene.x_px, sun.y_px - self.scene.y_px))
        moon_px = float(np.hypot(moon.x_px - bite.x_px, moon.y_px - bite.y_px))
        return sun_px, moon_px, sun_px / sun.sigma_px, moon_px / moon.sigma_px


def covered_share(apart: float, ratio: float) -> float:
    """Return how much of a disc another hides, `apart` and `ratio` in its radii, by counting points."""
    grid = (np.arange(400) + 0.5) / 200.0 - 1.0
    x, y = np.meshgrid(grid, grid)
    inside = np.hypot(x, y) < 1.0
    return float(np.mean(np.hypot(x - apart, y)[inside] < ratio))


def crescent_scene(covered: float, seed: int) -> Scene:
    """Return a Sun of any size, sharpness, exposure and finish, so much of it behind a Moon of any size and side."""
    rng = np.random.default_rng([20231014, round(1000 * covered), seed])
    radius_px, ratio = float(rng.uniform(90.0, LARGEST_PX)), float(rng.uniform(0.94, 1.07))
    least, most = abs(1.0 - ratio) + 1e-3, 1.0 + ratio
    for _ in range(20):
        middle = (least + most) / 2.0
        least, most = (middle, most) if covered_share(middle, ratio) > covered else (least, middle)
    apart_px, turn = least * radius_px, float(rng.uniform(0.0, 2.0 * np.pi))
    side_px = 2.0 * radius_px * float(rng.uniform(1.1, 1.5))
    x_px, y_px = side_px / 2.0 + float(rng.uniform(-3, 3)), side_px / 2.0 + 10.0
    return Scene(
        width_px=int(side_px),
        height_px=int(side_px) + 20,
        x_px=x_px,
        y_px=y_px,
        radius_px=radius_px,
        bite=Bite(x_px + apart_px * float(np.cos(turn)), y_px + apart_px * float(np.sin(turn)), ratio * radius_px),
        limb_u=LIMB_DARKENING[int(rng.integers(4))],
        blur_px=float(rng.uniform(0.7, 3.0)),
        noise=float(rng.choice([0.0, 0.004, 0.01, 0.02])),
        cloud=float(rng.choice([0.0, 0.0, 0.3, 0.6])),
        sky_level=float(rng.choice([0.0, 0.02, 0.05])),
        halo=float(rng.choice([0.0, 0.0, 0.05])),
        peak=float(rng.choice([0.4, 0.6, 0.9, 0.9, 2.5, 6.0])),
        gamma=float(rng.choice([1.0, 1.0, 1.0, 1.8, 2.2])),
        sharpen=float(rng.choice([0.0, 0.0, 0.0, 0.8])),
        seed=seed,
    )


def measured(scene: Scene) -> Case:
    levels, quality = quantise(draw_disc(scene), 8), (0, 0, 75, 90, 95)[scene.seed % 5]
    if quality:
        packed = io.BytesIO()
        Image.fromarray(levels).save(packed, "jpeg", quality=quality)
        levels = np.asarray(Image.open(packed))
    assert scene.bite is not None
    try:
        crescent = fit_crescent(brightness_plane(levels, full_scale=255.0))
    except PictureError:
        return Case(scene, None)
    return Case(scene, crescent.with_radii(scene.radius_px, scene.bite.radius_px, RADIUS_SIGMA_PX))


def test_crescents_of_all_kinds_are_measured_and_none_is_wrong_and_sure() -> None:
    for covered in COVERED:
        cases = [measured(crescent_scene(covered, seed)) for seed in range(DRAWN)]
        off = np.array([case.off() for case in cases if case.crescent is not None])
        print(
            f"\n{100 * covered:.0f} % covered: {len(off)} of {len(cases)} measured; the Sun's centre off by "
            f"{np.median(off[:, 0]):.2f} px in the median, {np.percentile(off[:, 0], 90):.2f} for nine in ten, "
            f"{off[:, 0].max():.2f} at most, {off[:, 2].max():.1f} of its errors; the Moon's by "
            f"{np.median(off[:, 1]):.2f}, {np.percentile(off[:, 1], 90):.2f}, {off[:, 1].max():.2f}, "
            f"{off[:, 3].max():.1f}",
            end="",
        )
        assert len(off) >= 0.8 * len(cases) - 1
        assert np.median(off[:, 0]) < 0.5
        # Four in a normal distribution; the tone curves and codecs of thin crescents have a longer tail.
        assert np.max(off[:, 2]) < 6.0
        assert np.percentile(off[:, 3], 90) < 6.0


def drawn_series(folder: Path, *, mirrored: bool, late: timedelta) -> dict[str, float]:
    """Draw the annular eclipse of 2023 October 14 at Corpus Christi; return north (deg) by the picture's time.

    An alt-azimuth camera, turned by hand half-way, its exposure changed too; the clock is so much late.
    """
    truth = {}
    place = {"latitude_deg": CORPUS_CHRISTI[0], "longitude_deg": CORPUS_CHRISTI[1]}
    for number in range(SERIES):
        moment = datetime(2023, 10, 14, 15, 45, tzinfo=UTC) + number * timedelta(minutes=150) / (SERIES - 1)
        second = 2 * number > SERIES
        base = Scene(width_px=250, height_px=260, x_px=126.4, y_px=128.2, blur_px=1.3, seed=number)
        base = base if not second else Scene(**{**base.__dict__, "peak": 0.5})
        camera = Camera(-31.0 if second else 12.0, mirrored, 9.6)
        scene = drawn_scene(sky_at(moment), camera, p_deg=sun_view(moment, **place).p_deg, base=base)
        told = moment + late
        Image.fromarray(quantise(draw_disc(scene), 8)).save(folder / f"{told:%Y%m%dT%H%M%SZ}.png", compress_level=1)
        truth[f"{told:%Y-%m-%dT%H%MZ}"] = scene.north_angle_deg
    return truth


def surveyed(folder: Path, pictures: Path) -> Survey:
    words = ["--title", "T", "--observer", "A. Teal", "--site", "Corpus Christi,27.80,-97.40", "--instrument", "D"]
    assert main(["new", str(folder), *words, "--mount", "unknown", "--time-zone", "America/Chicago"]) == 0
    assert main(["add", str(folder), str(pictures)]) == 0
    with opened_archive(folder) as archive:
        return survey(archive)


@pytest.mark.parametrize(("mirrored", "late_minutes"), [(True, 6.0), (False, 0.0)] if FULL else [(True, 6.0)])
def test_a_series_is_kept_whole_with_north_its_mirroring_and_its_clock(
    tmp_path: Path, mirrored: bool, late_minutes: float
) -> None:
    pictures = tmp_path / "pictures"
    pictures.mkdir()
    truth = drawn_series(pictures, mirrored=mirrored, late=timedelta(minutes=late_minutes))
    found = surveyed(tmp_path / "sun", pictures)
    assert len(found.observations) + len(found.unmeasured) == SERIES
    known = [one for one in found.observations if one.orientation.is_known]
    assert len(known) >= 0.8 * SERIES
    off = []
    for one in known:
        assert one.orientation.mirrored is mirrored
        assert one.orientation.north_angle_deg is not None
        assert one.orientation.sigma_deg is not None
        off.append(abs(difference_deg(one.orientation.north_angle_deg, truth[one.id])))
        assert off[-1] < 4.0 * one.orientation.sigma_deg
        told = [remark for remark in one.remarks if "the Moon before the Sun fits" in remark]
        assert bool(told) is bool(late_minutes)
        assert not told or "6.0 ±" in told[0]
    print(
        f"\n{len(known)} of {SERIES} with north, off by {np.median(off):.2f} deg in the median, {max(off):.2f} at most"
    )
