"""Draw a finished picture of the Sun whose truth is known."""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from scenes.finish import add_noise, add_sky, burn_caption, dim_by_cloud, granulate, set_dust, sharpened
from scenes.scene import Bite, Facula, Prominence, Ring, Scene, Spot
from scenes.surface import PixelBox, ideal_disc, place_on_picture

__all__ = [
    "Bite",
    "Facula",
    "Prominence",
    "Ring",
    "Scene",
    "Spot",
    "draw_disc",
    "place_on_picture",
    "quantise",
]


def draw_disc(scene: Scene) -> NDArray[np.float32]:
    """Return the picture in [0, 1], of shape (height, width), or (height, width, 3) where it is tinted.

    The blur acts on the ideal intensity, averaged over each pixel, on a frame wide enough that the
    picture's own edges leave no trace.
    """
    margin_px = int(np.ceil(5.0 * scene.blur_px * (1.0 + 1.5 * bool(scene.sharpen)))) + 8
    box = PixelBox(-margin_px, -margin_px, scene.width_px + margin_px, scene.height_px + margin_px)
    picture = ideal_disc(scene, box)
    if scene.blur_px:
        picture = ndimage.gaussian_filter(picture, scene.blur_px, truncate=5.0)
    granulate(scene, picture)
    add_sky(scene, picture, box)
    dim_by_cloud(scene, picture)
    set_dust(scene, picture, box)
    picture = sharpened(scene, picture)
    add_noise(scene, picture)
    frame = box.slices(PixelBox(0, 0, scene.width_px, scene.height_px))
    return _toned(scene, picture[frame])


def quantise(picture: NDArray[np.float32], bits: Literal[8, 16]) -> NDArray[np.uint8] | NDArray[np.uint16]:
    """Return whole levels, 0 to 255 or 0 to 65535, of a picture in [0, 1]."""
    whole: NDArray[np.float64] = np.rint(picture.astype(np.float64) * (2**bits - 1))
    return whole.astype(np.uint8) if bits == 8 else whole.astype(np.uint16)


def _toned(scene: Scene, picture: NDArray[np.float32]) -> NDArray[np.float32]:
    """Apply level, gamma, tint and caption."""
    toned = np.clip(picture * np.float32(scene.peak), 0.0, 1.0)
    if scene.gamma != 1.0:
        toned **= np.float32(1.0 / scene.gamma)
    if scene.tint is not None:
        toned = toned[..., None] * np.asarray(scene.tint, dtype=np.float32)
    if scene.caption is not None:
        burn_caption(toned, scene.caption)
    return np.ascontiguousarray(toned, dtype=np.float32)
