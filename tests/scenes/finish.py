"""What air, optics and the observer's own finishing add to the ideal picture."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from scenes.scene import Scene
from scenes.surface import PixelBox

__all__ = ["add_noise", "add_sky", "burn_caption", "dim_by_cloud", "dust_places", "granulate", "set_dust", "sharpened"]

Picture = NDArray[np.float32]
SUN_RADIUS_ARCSEC = 960.0  # rounded mean semidiameter; only the grain of the texture depends on it


def granulate(scene: Scene, picture: Picture) -> None:
    """Multiply by a grainy texture of about 1.5 arcsec, never finer than the picture can show."""
    if not scene.granulation:
        return
    grain_px = max(0.9, 1.5 / SUN_RADIUS_ARCSEC * scene.radius_px)
    field, spread = _grain(scene.seed, picture.shape, grain_px)
    picture *= 1.0 + field * np.float32(scene.granulation / spread)


@lru_cache(maxsize=2)
def _grain(seed: int, shape: tuple[int, ...], grain_px: float) -> tuple[Picture, np.float32]:
    """Texture of a frame, and its standard deviation: many scenes of a test differ in something else."""
    field = np.random.default_rng([seed, 1]).standard_normal(shape, dtype=np.float32)
    coarse = ndimage.gaussian_filter(field, 2.2 * grain_px, truncate=3.0)
    field = ndimage.gaussian_filter(field, grain_px) - coarse
    return field, field.std()


def add_sky(scene: Scene, picture: Picture, box: PixelBox) -> None:
    """Add sky, gradient, aureole, ring and prominences; those at the limb stay behind the Sun's own light."""
    x, y = box.grid()
    gx, gy = scene.sky_gradient
    picture += np.float32(scene.sky_level)
    if gx or gy:
        picture += (gx * (x / scene.width_px - 0.5) + gy * (y / scene.height_px - 0.5)).astype(np.float32)
    if scene.halo:
        beyond = np.maximum(np.hypot(x - scene.x_px, y - scene.y_px) / scene.radius_px - 1.0, 0.0)
        picture += (scene.halo * np.exp(-beyond / 0.25)).astype(np.float32)
    if scene.ring is not None:
        ring = scene.ring
        off = (np.hypot(x - ring.x_px, y - ring.y_px) - ring.radius_px) / ring.width_px
        picture += (ring.level * np.exp(-0.5 * off * off)).astype(np.float32)
    _add_prominences(scene, picture, box)


def _add_prominences(scene: Scene, picture: Picture, box: PixelBox) -> None:
    if not scene.prominences:
        return
    x, y = box.grid()
    right, up = x - scene.x_px, scene.y_px - y
    height = np.hypot(right, up) / scene.radius_px - 1.0
    angle_deg = np.degrees(np.arctan2(-right, up))
    outside = 1.0 / (1.0 + np.exp(np.clip(-height * scene.radius_px / max(scene.blur_px, 0.3), -50, 50)))
    for tongue in scene.prominences:
        off_deg = (angle_deg - tongue.angle_deg + 180.0) % 360.0 - 180.0
        across = 0.5 * (off_deg / (0.5 * tongue.width_deg)) ** 2
        shape = np.exp(-across - np.maximum(height, 0.0) / tongue.height)
        picture += (tongue.level * outside * shape).astype(np.float32)


def dim_by_cloud(scene: Scene, picture: Picture) -> None:
    """Multiply by a smooth transmission between exp(-cloud) and 1."""
    if not scene.cloud:
        return
    rng = np.random.default_rng([scene.seed, 2])
    depth = np.zeros(picture.shape, dtype=np.float32)
    for cells, weight in ((3, 1.0), (6, 0.3)):
        coarse = rng.standard_normal((cells, cells)).astype(np.float32)
        zoom = tuple(size / cells for size in picture.shape)
        depth += weight * ndimage.zoom(coarse, zoom, order=3, mode="nearest", grid_mode=True)
    depth = (depth - depth.min()) / np.ptp(depth)
    picture *= np.exp(-scene.cloud * depth)


def dust_places(scene: Scene) -> list[tuple[float, float, float]]:
    """Return x, y and radius of each speck, in pixels of the picture."""
    rng = np.random.default_rng([scene.seed, 3])
    specks = []
    for _ in range(scene.dust):
        x_px, y_px = rng.uniform(0, scene.width_px), rng.uniform(0, scene.height_px)
        specks.append((x_px, y_px, scene.radius_px * rng.uniform(0.006, 0.016)))
    return specks


def set_dust(scene: Scene, picture: Picture, box: PixelBox) -> None:
    """Darken small soft specks, as dust near the sensor does."""
    for x_px, y_px, radius_px in dust_places(scene):
        patch = box.around(x_px, y_px, 3.0 * radius_px + 2.0)
        if patch.is_empty:
            continue
        x, y = patch.grid()
        off = np.hypot(x - x_px, y - y_px) / radius_px
        picture[box.slices(patch)] *= (1.0 - 0.12 * np.exp(-(off**4))).astype(np.float32)


def sharpened(scene: Scene, picture: Picture) -> Picture:
    """Return the picture with an unsharp mask, which overshoots at the limb as finished pictures do."""
    if not scene.sharpen:
        return picture
    detail: Picture = picture - ndimage.gaussian_filter(picture, max(1.5, 1.5 * scene.blur_px))
    return picture + np.float32(scene.sharpen) * detail


def add_noise(scene: Scene, picture: Picture) -> None:
    """Add Gaussian noise, the same in all pixels."""
    if scene.noise:
        picture += np.float32(scene.noise) * _noise(scene.seed, picture.shape)


@lru_cache(maxsize=2)
def _noise(seed: int, shape: tuple[int, ...]) -> Picture:
    return np.random.default_rng([seed, 4]).standard_normal(shape, dtype=np.float32)


def burn_caption(picture: Picture, caption: str) -> None:
    """Write white letters into the lower left corner, over whatever is there."""
    from PIL import Image, ImageDraw, ImageFont

    height, width = picture.shape[:2]
    sheet = Image.new("L", (width, height), 0)
    size_px = max(10, height // 40)
    ImageDraw.Draw(sheet).text((size_px, height - 2 * size_px), caption, fill=255, font=ImageFont.load_default(size_px))
    ink = np.asarray(sheet, dtype=np.float32) / 255.0
    if picture.ndim == 3:
        ink = ink[..., None]
    picture += ink * (1.0 - picture)
