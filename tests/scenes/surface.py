"""The Sun without air, optics or noise: every pixel holds the mean intensity over its square."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scenes.scene import Facula, Scene, Spot

__all__ = ["PixelBox", "ideal_disc", "place_on_picture"]

Floats = NDArray[np.floating]
LIMB_BAND_PX = 4.0  # beyond it the mean over a pixel differs from its centre by less than 1e-4
LIMB_SAMPLES = 5
SUN_DISTANCE_RADII = 214.94  # 149,597,870.7 km in solar radii of 695,996 km


@dataclass(frozen=True)
class PixelBox:
    """Pixels [x0, x1) x [y0, y1) of the picture; may reach outside of the frame."""

    x0: int
    y0: int
    x1: int
    y1: int

    def around(self, x_px: float, y_px: float, reach_px: float) -> PixelBox:
        """Return the part of this box within reach of a point."""
        return PixelBox(
            max(self.x0, int(np.floor(x_px - reach_px))),
            max(self.y0, int(np.floor(y_px - reach_px))),
            min(self.x1, int(np.ceil(x_px + reach_px)) + 1),
            min(self.y1, int(np.ceil(y_px + reach_px)) + 1),
        )

    @property
    def is_empty(self) -> bool:
        return self.x0 >= self.x1 or self.y0 >= self.y1

    def slices(self, inner: PixelBox) -> tuple[slice, slice]:
        """Return where `inner` lies in an array of this box."""
        return (
            slice(inner.y0 - self.y0, inner.y1 - self.y0),
            slice(inner.x0 - self.x0, inner.x1 - self.x0),
        )

    def grid(self) -> tuple[Floats, Floats]:
        """Return x of shape (1, W) and y of shape (H, 1)."""
        x, y = np.arange(self.x0, self.x1, dtype=float), np.arange(self.y0, self.y1, dtype=float)
        return x[None, :], y[:, None]


def ideal_disc(scene: Scene, box: PixelBox) -> NDArray[np.float32]:
    """Return the mean intensity in every pixel of a box, disc centre 1, sky 0."""
    picture = np.zeros((box.y1 - box.y0, box.x1 - box.x0), dtype=np.float32)
    inner = box.around(scene.x_px, scene.y_px, scene.radius_px + LIMB_BAND_PX)
    if inner.is_empty:
        return picture
    x, y = inner.grid()
    u, v = _unit_disc(scene, x, y)
    rho2 = u * u + v * v
    view = picture[box.slices(inner)]
    view[...] = np.where(rho2 < 1.0, _limb_darkened(scene, rho2), 0.0)
    band = np.abs(np.sqrt(rho2) - 1.0) * scene.radius_px < LIMB_BAND_PX
    view[band] = _mean_in_band(scene, inner, band)
    for facula in scene.faculae:
        _lay_facula(scene, facula, picture, box)
    _lay_spots(scene, picture, box)
    if scene.bite is not None:
        bite = scene.bite
        picture *= 1.0 - _disc_coverage(box, bite.x_px, bite.y_px, bite.radius_px)
    return picture


def place_on_picture(scene: Scene, latitude_deg: float, longitude_deg: float) -> tuple[float, float, float]:
    """Return x and y (px, picture as delivered) and mu of a heliographic place; hidden where mu < 0."""
    west, north, towards = _towards(scene, latitude_deg, longitude_deg)
    # The sphere as seen from a finite distance: what lies farther off looks smaller, and the limb hides the rest.
    nearness = np.sqrt(SUN_DISTANCE_RADII**2 - 1.0) / (SUN_DISTANCE_RADII - towards)
    west, north, mu = west * nearness, north * nearness, towards - 1.0 / SUN_DISTANCE_RADII
    turn = np.radians(scene.north_angle_deg)
    u = west * np.cos(turn) - north * np.sin(turn)
    v = west * np.sin(turn) + north * np.cos(turn)
    if scene.mirrored:
        u = -u
    tilt = np.radians(scene.short_axis_angle_deg)
    along_short = -u * np.sin(tilt) + v * np.cos(tilt)
    along_long = u * np.cos(tilt) + v * np.sin(tilt)
    along_short *= 1.0 - scene.flattening
    right = along_long * np.cos(tilt) - along_short * np.sin(tilt)
    up = along_long * np.sin(tilt) + along_short * np.cos(tilt)
    return scene.x_px + scene.radius_px * right, scene.y_px - scene.radius_px * up, float(mu)


def _towards(scene: Scene, latitude_deg: float, longitude_deg: float) -> tuple[float, float, float]:
    """Unit vector of a place: to the west, to the north, to the observer (tilt B0)."""
    lat, lon, b0 = np.radians([latitude_deg, longitude_deg, scene.b0_deg])
    west = np.cos(lat) * np.sin(lon)
    north = np.sin(lat) * np.cos(b0) - np.cos(lat) * np.cos(lon) * np.sin(b0)
    mu = np.sin(lat) * np.sin(b0) + np.cos(lat) * np.cos(lon) * np.cos(b0)
    return float(west), float(north), float(mu)


def _unit_disc(scene: Scene, x: Floats, y: Floats) -> tuple[Floats, Floats]:
    """Picture to the unit disc, right and up, with the flattening undone."""
    right, up = (x - scene.x_px) / scene.radius_px, (scene.y_px - y) / scene.radius_px
    if not scene.flattening:
        right, up = np.broadcast_arrays(right, up)
        return right, up
    tilt = np.radians(scene.short_axis_angle_deg)
    along_short = (-right * np.sin(tilt) + up * np.cos(tilt)) / (1.0 - scene.flattening)
    along_long = right * np.cos(tilt) + up * np.sin(tilt)
    return (
        along_long * np.cos(tilt) - along_short * np.sin(tilt),
        along_long * np.sin(tilt) + along_short * np.cos(tilt),
    )


def _limb_darkened(scene: Scene, rho2: Floats) -> Floats:
    u2, v2 = scene.limb_u
    mu2 = np.clip(1.0 - rho2, 0.0, 1.0)
    level: Floats = 1.0 - u2 - v2 + u2 * np.sqrt(mu2) + v2 * mu2
    return level


def _offsets(samples: int) -> Floats:
    return (np.arange(samples) + 0.5) / samples - 0.5


def _mean_in_band(scene: Scene, box: PixelBox, band: NDArray[np.bool_]) -> Floats:
    """Mean over sub-pixels along the limb; each sub-pixel counts by how far the limb covers it."""
    rows, columns = np.nonzero(band)
    total = np.zeros(rows.size)
    tilt = np.radians(scene.short_axis_angle_deg)
    for dy in _offsets(LIMB_SAMPLES):
        for dx in _offsets(LIMB_SAMPLES):
            u, v = _unit_disc(scene, columns + (box.x0 + dx), rows + (box.y0 + dy))
            rho = np.hypot(u, v)
            along_short = (-u * np.sin(tilt) + v * np.cos(tilt)) / (1.0 - scene.flattening)
            along_long = u * np.cos(tilt) + v * np.sin(tilt)
            # First-order distance to the ellipse: exact for the circle.
            inside_px = (1.0 - rho) * rho * scene.radius_px / np.hypot(along_long, along_short)
            total += np.clip(0.5 + LIMB_SAMPLES * inside_px, 0.0, 1.0) * _limb_darkened(scene, rho * rho)
    return total / LIMB_SAMPLES**2


def _disc_coverage(box: PixelBox, x_px: float, y_px: float, radius_px: float) -> NDArray[np.float32]:
    """Share of each pixel that a disc covers (edge taken as straight over a pixel, its slope neglected)."""
    x, y = box.grid()
    total = np.zeros((box.y1 - box.y0, box.x1 - box.x0))
    for dy in _offsets(3):
        for dx in _offsets(3):
            distance = np.hypot(x + dx - x_px, y + dy - y_px)
            total += np.clip(0.5 + 3 * (radius_px - distance), 0.0, 1.0)
    return (total / 9).astype(np.float32)


def _patch(scene: Scene, mark: Spot | Facula, box: PixelBox, reach: float) -> PixelBox | None:
    """Pixels that a mark can touch, or None where it is behind the Sun or out of the frame."""
    x, y, mu = place_on_picture(scene, mark.latitude_deg, mark.longitude_deg)
    if mu < -np.sin(np.radians(mark.radius_deg * reach)):
        return None
    patch = box.around(x, y, scene.radius_px * np.radians(mark.radius_deg) * reach + 2.0)
    return None if patch.is_empty else patch


def _seen_from(scene: Scene, mark: Spot | Facula, x: Floats, y: Floats) -> tuple[Floats, Floats, Floats]:
    """West and north of a mark's centre (deg on the sphere, azimuthal equidistant), and mu."""
    u, v = _unit_disc(scene, x, y)
    mu = np.sqrt(np.clip(1.0 - u * u - v * v, 0.0, 1.0))
    if scene.mirrored:
        u = -u
    turn = np.radians(scene.north_angle_deg)
    # A pixel's line of sight meets the sphere nearer to the centre than at infinite distance (Meeus, ch. 29's angle).
    angle = np.arcsin(np.clip(np.hypot(u, v), 0.0, 1.0))
    share = np.hypot(u, v) * np.arcsin(1.0 / SUN_DISTANCE_RADII)
    inwards = np.sin(angle - share) / np.maximum(np.hypot(u, v), 1e-12)
    u, v = u * inwards, v * inwards
    seen = (u * np.cos(turn) + v * np.sin(turn), -u * np.sin(turn) + v * np.cos(turn), np.cos(angle - share))
    lat, lon, b0 = np.radians([mark.latitude_deg, mark.longitude_deg, scene.b0_deg])
    centre = _towards(scene, mark.latitude_deg, mark.longitude_deg)
    west = (np.cos(lon), np.sin(lon) * np.sin(b0), -np.sin(lon) * np.cos(b0))
    north = (
        -np.sin(lat) * np.sin(lon),
        np.cos(lat) * np.cos(b0) + np.sin(lat) * np.cos(lon) * np.sin(b0),
        np.cos(lat) * np.sin(b0) - np.sin(lat) * np.cos(lon) * np.cos(b0),
    )
    a, b, c = (sum(s * d for s, d in zip(seen, axis, strict=True)) for axis in (west, north, centre))
    sine = np.hypot(a, b)
    scale = np.degrees(np.arctan2(sine, c)) / np.maximum(sine, 1e-12)
    return a * scale, b * scale, mu


def _lay_spots(scene: Scene, picture: NDArray[np.float32], box: PixelBox) -> None:
    """Darken by the darkest spot at each place, so that overlapping spots do not darken twice."""
    level = np.ones_like(picture)
    for spot in scene.spots:
        patch = _patch(scene, spot, box, spot.stretch**0.5 * (1.0 + 2.0 * spot.ragged))
        if patch is None:
            continue
        part = level[box.slices(patch)]
        np.minimum(part, _spot_level(scene, spot, patch), out=part)
    picture *= level


def _spot_level(scene: Scene, spot: Spot, patch: PixelBox) -> Floats:
    """Mean level over each pixel; small spots are sampled finely enough that their area is right."""
    radius_px = scene.radius_px * np.radians(spot.radius_deg)
    samples = int(np.clip(np.ceil(14.0 / radius_px), 4, 14))
    x, y = patch.grid()
    offsets = _offsets(samples)
    fine_x = (x[..., None] + offsets).reshape(1, -1)
    fine_y = (y + offsets).reshape(-1, 1)
    a, b, _ = _seen_from(scene, spot, fine_x, fine_y)
    a, b = a / spot.stretch**0.5, b * spot.stretch**0.5
    distance = np.hypot(a, b) / spot.radius_deg
    umbra_edge, edge = np.full_like(distance, spot.umbra_share), np.ones_like(distance)
    if spot.ragged:
        rng = np.random.default_rng([spot.seed, 10])
        angle = np.arctan2(b, a)
        edge += spot.ragged * _even_waves(rng, angle)
        umbra_edge *= 1.0 + spot.ragged * _even_waves(rng, angle)
    level = np.where(distance < edge, spot.penumbra_level, 1.0)
    level[distance < umbra_edge] = spot.umbra_level
    mean: Floats = level.reshape(y.size, samples, x.size, samples).mean(axis=(1, 3))
    return mean


def _even_waves(rng: np.random.Generator, angle: Floats) -> Floats:
    """An uneven outline, -2 to 2, of even harmonics: alike at opposite points, so the centre stays put."""
    orders = (2, 4, 6, 10, 16)
    heights = rng.normal(size=len(orders)) / np.sqrt(orders)
    phases = rng.uniform(0.0, 2.0 * np.pi, len(orders))
    waves = np.zeros_like(angle)
    for order, height, phase in zip(orders, heights, phases, strict=True):
        waves += height * np.cos(order * angle + phase)
    return np.clip(waves, -2.0, 2.0)


def _lay_facula(scene: Scene, facula: Facula, picture: NDArray[np.float32], box: PixelBox) -> None:
    """Brighten a patch; its texture is a handful of seeded blobs."""
    patch = _patch(scene, facula, box, 1.6)
    if patch is None:
        return
    rng = np.random.default_rng([facula.seed, 11])
    a, b, mu = _seen_from(scene, facula, *patch.grid())
    glow = np.zeros_like(a)
    for west, north in rng.normal(scale=0.45 * facula.radius_deg, size=(14, 2)):
        size = facula.radius_deg * rng.uniform(0.06, 0.2)
        glow += np.exp(-((a - west) ** 2 + (b - north) ** 2) / (2.0 * size * size))
    part = picture[box.slices(patch)]
    part *= 1.0 + facula.contrast * (1.0 - mu) * np.minimum(glow, 1.5)
