"""Discs as AVIF: smaller than the JPEG and nearer to the truth, the same bytes each time."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from scenes.discs import Scene, Spot, draw_disc

from archive.records.disc_files import LIGHT_QUALITIES, avif_bytes, levels_jpeg_bytes, shrunk_levels, whole_levels


@pytest.fixture
def disc() -> np.ndarray:
    drawn = draw_disc(Scene(width_px=512, height_px=512, radius_px=230.0, spots=(Spot(18.0, 20.0, 2.5),)))
    return whole_levels(np.repeat(drawn[..., None], 3, axis=-1), full_scale=1.0)


def test_the_light_disc_is_near_the_jpeg_in_all_but_bytes(disc: np.ndarray, tmp_path: Path) -> None:
    (tmp_path / "light.avif").write_bytes(avif_bytes(shrunk_levels(disc, size_px=512), quality=LIGHT_QUALITIES[512]))
    (tmp_path / "disc.jpg").write_bytes(levels_jpeg_bytes(disc))
    with Image.open(tmp_path / "light.avif") as light:
        assert (light.format, light.size) == ("AVIF", (512, 512))
        shown = np.asarray(light.convert("L"), dtype=float)
    wanted = disc[..., 0].astype(float)
    # 40 dB is where differences of pictures are no longer seen (common practice, no single source).
    assert 10 * np.log10(255.0**2 / np.mean((shown - wanted) ** 2)) > 40
    assert (tmp_path / "light.avif").stat().st_size < 0.8 * (tmp_path / "disc.jpg").stat().st_size


def test_the_bytes_are_the_same_each_time_and_hold_no_metadata(disc: np.ndarray, tmp_path: Path) -> None:
    (tmp_path / "one.avif").write_bytes(avif_bytes(shrunk_levels(disc, size_px=256), quality=LIGHT_QUALITIES[256]))
    (tmp_path / "other.avif").write_bytes(avif_bytes(shrunk_levels(disc, size_px=256), quality=LIGHT_QUALITIES[256]))
    data = (tmp_path / "one.avif").read_bytes()
    assert data == (tmp_path / "other.avif").read_bytes()
    assert b"Exif" not in data
    assert b"xmp" not in data.lower()
