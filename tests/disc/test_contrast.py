"""The contrast exponent of drawn pictures, whose limb darkening is Allen's (Cox 2000, section 14.7) under a power."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from scenes.discs import Facula, Scene, Spot, draw_disc, quantise

from archive.disc.aligned import DiscFrame, align_disc
from archive.disc.brightness import brightness_plane
from archive.disc.contrast import ContrastExponent, contrast_exponent, true_depth
from archive.disc.limb import fit_limb
from archive.disc.tone import flatten_disc

REAL = Path(__file__).parents[3] / "shared" / "real"
FRAME = DiscFrame(660)
SCENE = Scene(
    width_px=690,
    height_px=675,
    x_px=345.0,
    y_px=337.0,
    radius_px=300.0,
    spots=(Spot(12.0, 20.0, 2.0), Spot(-15.0, -30.0, 1.0)),
    faculae=(Facula(10, 65, 6), Facula(-14, -60, 7, seed=2)),
)


def shown(picture: np.ndarray) -> ContrastExponent | None:
    brightness = brightness_plane(picture, full_scale=255.0)
    aligned = align_disc(brightness, fit_limb(brightness), north_angle_deg=0.0, mirrored=False, frame=FRAME)
    return contrast_exponent(aligned, flatten_disc(aligned, FRAME), FRAME)


def drawn(scene: Scene, exponent: float) -> np.ndarray:
    return quantise(np.clip(draw_disc(scene), 0.0, 1.0) ** exponent, 8)


@pytest.mark.parametrize("exponent", [0.6, 1.0, 1.3, 1.7])
@pytest.mark.parametrize("look", [{}, {"sharpen": 0.8}, {"noise": 0.02}, {"blur_px": 2.5}])
def test_limb_darkening_tells_the_exponent(exponent: float, look: dict[str, float]) -> None:
    """Its error is mostly that of the wavelength, which is one here. A little light of the sky bends a curve."""
    found = shown(drawn(replace(SCENE, sky_level=0.004, **look), exponent))
    assert found is not None
    assert found.exponent == pytest.approx(exponent, rel=0.06)
    assert found.sigma / found.exponent == pytest.approx(0.1, rel=0.3)


@pytest.mark.parametrize(
    ("exponent", "look"),
    [(1.0, {"cloud": 0.4}), (0.0, {}), (0.2, {})],
    ids=["cloud", "limb darkening removed", "nearly removed"],
)
def test_what_is_no_published_limb_darkening_tells_none(exponent: float, look: dict[str, float]) -> None:
    picture = draw_disc(replace(SCENE, **look))
    assert shown(quantise(np.where(picture > 0.1, np.clip(picture, 0.0, 1.0) ** exponent * 0.9, picture), 8)) is None


def test_a_depth_before_the_tone_curve() -> None:
    """A penumbra of 0.75 of the quiet Sun is 0.866 of it under a square root."""
    assert true_depth(np.array([1.0 - 0.75**0.5]), 0.5) == pytest.approx(0.25)
    assert true_depth(np.array([0.3]), 1.0) == pytest.approx(0.3)


@pytest.mark.skipif(not REAL.is_dir(), reason="the folder of real pictures (shared/real) is not here")
def test_days_of_one_instrument_show_one_exponent() -> None:
    """SDO/HMI quick-look pictures (README beside them); their later, flattened ones show none."""
    some = sorted((REAL / "hmi-2010-10").glob("*.jpg"))[::6]
    found = [shown(np.asarray(Image.open(path))) for path in some]
    exponents = [one.exponent for one in found if one is not None]
    assert len(exponents) == len(some)
    assert np.ptp(exponents) < 0.05
    assert shown(np.asarray(Image.open(REAL / "hmi-2024-07" / "20240701T120000Z.jpg"))) is None
