"""Spots of one picture: where they are, how large, how much of them is umbra.

A spot here is what an observer counts: a pore, a spot with its penumbra, and of a penumbra that holds several umbrae
one spot for each umbra that the picture resolves. Such spots share the penumbra among them, each taking what lies
nearest by the fall of the brightness, so that their areas add up to the whole.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from archive.disc.aligned import DiscFrame, align_disc
from archive.disc.brightness import Plane
from archive.disc.tone import flatten_disc
from archive.measuring.darkness import Darkness, darkness_of, mean_over
from archive.measuring.detail import shown_blur_px
from archive.measuring.true_area import (
    HALF_PENUMBRA,
    Foreshortening,
    area_within,
    true_area_px,
    umbra_area_px,
)
from archive.measuring.umbrae import split_patch
from archive.model.constants import DISC_RADIUS_SHARE
from archive.model.observation import Disc, FoundSpots, Spot

__all__ = ["measure_spots"]

Floats = NDArray[np.floating[Any]]
Mask = NDArray[np.bool_]

# Small discs are drawn larger, so that outlines fall between pixels; large ones smaller, for speed.
_LEAST_RADIUS_PX, _MOST_RADIUS_PX = 230.0, 400.0
_LEAST_DEPTH = 0.045  # of the quiet disc: granulation and cloud stay below
_NOISE_FACTOR = 6.0  # in 100,000 places of pure noise, 4.5 happens
_QUIET_SHARE = 0.6  # of that depth: how much darker than the quiet disc, whatever faculae there are around
# A small spot that faculae lift almost to the quiet disc still stands out of them, and is no wider than the blur makes
# it. Gaps between drawn faculae stand out by less, or are three times as wide.
_LIFTED_FACTOR, _LIFTED_QUIET_SHARE, _LIFTED_BLURS = 1.75, 0.2, 10.0
_PEAK_FACTOR = 1.25
_LEAST_BLURS = 2.0  # area of a patch, in blurs squared: what is smaller is sharper than the picture, so noise
# Of a Gaussian's own curvature: drawn spots reach 1.1 of it but for the noise, which counts thrice its standard error
# (0.7 of it where it is as fine as the blur), and 1.7 where a real picture was made smaller without care and its edge
# is finer than its pixels; single dead pixels 2.0 to 3.2, letters and lines of a pixel or two 1.4 and more.
_USUALLY_CURVED, _CURVED_NOISE = 1.1, 2.1
_MOST_CURVED, _MOST_CURVED_IN_FINE, _FINE_PX = 1.35, 1.8, 0.8
_SKIRT_BLURS = 1.5  # how far the blur carries a patch's darkness beyond what was found of it
_CUT_BLURS = 5.0  # holds the skirts and, three times as wide, the surroundings
_PLAINLY_SEEN_MU = 0.6  # towards the limb noise weighs more, and a spot is lost for that alone
_SHOWS = 0.2  # of the quiet disc: darker is the Moon or nothing; umbrae that dark cover a thousandth at most
_RISE_SHARE = 0.25  # of its depth: how far the brightness rises between a second umbra and the first
_TOUCHING = np.ones((3, 3), dtype=bool)
# The largest group on record, of April 1947, covered 6132 MSH (Greenwich, from memory); one dark patch is less.
_LARGEST_MSH = 4000.0


@dataclass(frozen=True)
class _Scale:
    """`blur_px` is the whole Gaussian blur of `Darkness.depth` in the frame, `smoothing_px` its last part.

    `most_curved` is how sharply a spot may be curved, in that Gaussian's own curvature, and `curved_noise` how much
    more where it is no darker than the noise.
    """

    frame: DiscFrame
    blur_px: float
    smoothing_px: float
    most_curved: float
    curved_noise: float


@dataclass(frozen=True)
class _Patch:
    """A dark patch cut out of the disc.

    `depth` is against the Sun just around the patch, skirts of blur included, 0 beyond them; `core` is the patch
    without skirts; `msh` what a pixel there covers; `least` the least depth that counts; `corner` the first row and
    column.
    """

    depth: Floats
    core: Mask
    msh: Floats
    least: float
    corner: tuple[int, int]
    seen: Foreshortening


def measure_spots(brightness: Plane, disc: Disc, *, north_angle_deg: float, mirrored: bool) -> FoundSpots:
    """Find and measure the spots of a picture, largest first.

    Parameters
    ----------
    brightness : ndarray of shape (H, W), linear
    disc : Disc
        The limb in that picture.
    north_angle_deg, mirrored
        See `archive.model.observation.Evidence`; 0 and False where north is unknown.
    """
    scale = _scale_for(disc)
    aligned = align_disc(brightness, disc, north_angle_deg=north_angle_deg, mirrored=mirrored, frame=scale.frame)
    flat = flatten_disc(aligned, scale.frame)
    darkness = darkness_of(flat, scale.frame, blur_px=scale.blur_px, smoothing_px=scale.smoothing_px)
    labels, _ = ndimage.label(_suspected(darkness, scale.blur_px), structure=_TOUCHING)
    spots = []
    for number, box in enumerate(ndimage.find_objects(labels), start=1):
        cut = _widened(box, by_px=int(np.ceil(_CUT_BLURS * scale.blur_px)))
        patch = _patch(darkness, labels[cut], number, cut, scale=scale)
        if patch is not None:
            spots += _spots_of(patch, scale.frame)
    plain = darkness.inside & (darkness.mu > _PLAINLY_SEEN_MU)
    return FoundSpots(
        tuple(sorted(spots, key=lambda spot: (-spot.area_msh, spot.right, spot.up))),
        float(np.median(_least_depth(darkness.noise[plain]))),
        float(np.mean(flat[darkness.inside] > _SHOWS)),
    )


def _scale_for(disc: Disc) -> _Scale:
    radius_px = float(np.clip(disc.radius_px, _LEAST_RADIUS_PX, _MOST_RADIUS_PX))
    frame = DiscFrame(round(radius_px / DISC_RADIUS_SHARE))
    blur_px = shown_blur_px(disc) * frame.radius_px / disc.radius_px
    coarser = disc.radius_px / frame.radius_px
    if coarser > 1.0:  # as `align_disc` smooths
        blur_px = float(np.hypot(blur_px, 0.5 * np.sqrt(coarser**2 - 1.0) / coarser))
    smoothing_px = float(np.clip(0.6 * blur_px, 0.6, 1.2))
    most_curved = _MOST_CURVED if disc.blur_px > _FINE_PX else _MOST_CURVED_IN_FINE
    whole_px = float(np.hypot(blur_px, smoothing_px))
    # Noise is as fine as the smoothing and the picture's own pixels leave it: drawn larger, those have some 0.45 of
    # their size as a Gaussian's sigma.
    noise_px = float(np.hypot(smoothing_px, 0.45 / coarser if coarser < 1.0 else 0.0))
    return _Scale(frame, whole_px, smoothing_px, most_curved, _CURVED_NOISE * (whole_px / noise_px) ** 2)


def _suspected(darkness: Darkness, blur_px: float) -> Mask:
    """Places well darker than their near surroundings, and darker than the quiet disc: a gap in faculae is not."""
    least = _least_depth(darkness.noise)
    dark = darkness.inside & (darkness.local > least)
    plain = dark & (darkness.depth > _QUIET_SHARE * least)
    distinct = (darkness.local > _LIFTED_FACTOR * least) & (darkness.depth > _LIFTED_QUIET_SHARE * least)
    lifted, _ = ndimage.label(ndimage.binary_propagation(dark & distinct, structure=_TOUCHING, mask=dark), _TOUCHING)
    narrow = np.bincount(lifted.ravel()) <= _LIFTED_BLURS * blur_px**2
    narrow[0] = False
    suspected: Mask = plain | narrow[lifted]
    return suspected


def _least_depth(noise: Floats) -> Floats:
    least: Floats = np.maximum(_LEAST_DEPTH, _NOISE_FACTOR * noise)
    return least


def _patch(
    darkness: Darkness, labels: NDArray[np.intp], number: int, cut: tuple[slice, slice], *, scale: _Scale
) -> _Patch | None:
    """The patch of that label, or None where it is no spot; `labels` as cut."""
    seed = labels == number
    mu = darkness.mu[cut]
    msh = 1e6 / (2.0 * np.pi * scale.frame.radius_px**2 * mu)
    if float(msh[seed].sum()) > _LARGEST_MSH or seed.sum() < _LEAST_BLURS * scale.blur_px**2:
        return None
    if _is_too_sharp(darkness.local[cut], seed, float(darkness.noise[cut][seed].mean()), scale):
        return None
    depth = _against_surroundings(darkness.depth[cut], seed, labels > 0, scale.blur_px)
    least = float(_least_depth(darkness.noise[cut][seed]).mean())
    if float(depth[seed].max()) < _PEAK_FACTOR * least:
        return None
    corner = (cut[0].start, cut[1].start)
    seen = Foreshortening(float(mu[seed].mean()), scale.blur_px)
    return _Patch(depth, seed | (depth > HALF_PENUMBRA), msh, least, corner, seen)


def _is_too_sharp(local: Floats, seed: Mask, noise: float, scale: _Scale) -> bool:
    """Whether a patch is more sharply curved than the picture's blur lets anything be: a dead pixel or row, letters.

    Nothing that a Gaussian has blurred is more sharply curved than that Gaussian, whatever it was before and whichever
    way one looks (for ``G * o`` with ``o >= 0``, ``-d2/dx2 <= 1 / sigma^2`` times its height, as that holds for G).
    """
    top = float(local[seed].max())
    dark = seed[1:-1, 1:-1] & (local[1:-1, 1:-1] > 0.5 * top)
    if not dark.any():
        return False
    height = np.where(dark, local[1:-1, 1:-1], 1.0)
    # Pairs of neighbours on opposite sides; those aslant are farther apart.
    level = np.minimum(local[:-2, 1:-1] + local[2:, 1:-1], local[1:-1, :-2] + local[1:-1, 2:])
    aslant = np.minimum(local[:-2, :-2] + local[2:, 2:], local[:-2, 2:] + local[2:, :-2])
    of_gaussian = 2.0 * (1.0 - np.exp(np.array([-0.5, -1.0]) / scale.blur_px**2))
    curved = np.maximum((2.0 - level / height) / of_gaussian[0], (2.0 - aslant / height) / of_gaussian[1])
    most = np.maximum(scale.most_curved, _USUALLY_CURVED + scale.curved_noise * noise / height)
    return bool((curved > most)[dark].any())


def _spots_of(patch: _Patch, frame: DiscFrame) -> list[Spot]:
    """The patch's true area and darkness, shared among its parts as their visible area and darkness are."""
    darkness_px = float(patch.depth.sum())
    area_px = true_area_px(area_within(patch.depth, HALF_PENUMBRA), darkness_px, patch.seen)
    parts = split_patch(patch.depth, patch.core, least_rise=patch.least, rise_share=_RISE_SHARE)
    core_depth = np.where(patch.core, np.maximum(patch.depth, 0.0), 0.0)
    spots = []
    for number in range(1, int(parts.max()) + 1):
        part = parts == number
        weight = np.where(part, core_depth, 0.0)
        part_px = area_px * float(part.sum() / patch.core.sum())
        umbra_px = umbra_area_px(part_px, darkness_px * float(weight.sum() / core_depth.sum()))
        msh_per_px = float(patch.msh[part].mean())
        right, up = _place(weight, patch.corner, frame)
        spots.append(Spot(right, up, part_px * msh_per_px, umbra_px * msh_per_px))
    return spots


def _widened(box: tuple[slice, slice], *, by_px: int) -> tuple[slice, slice]:
    rows, columns = (slice(max(0, side.start - by_px), side.stop + by_px) for side in box)
    return rows, columns


def _against_surroundings(depth: Floats, seed: Mask, suspected: Mask, blur_px: float) -> Floats:
    """Depth of a patch and its blurred skirts against the Sun just around it; 0 elsewhere."""
    away_px = ndimage.distance_transform_edt(~seed)
    others = suspected & ~seed
    others_px = ndimage.distance_transform_edt(~others) if others.any() else np.full_like(away_px, np.inf)
    skirt_px = _SKIRT_BLURS * blur_px
    domain = (away_px <= skirt_px) & (away_px <= others_px)
    around = (away_px > skirt_px) & (away_px <= 3.0 * skirt_px) & (others_px > skirt_px)
    width = skirt_px + 0.25 * float(np.sqrt(seed.sum()))
    level = mean_over(depth, around, width, least_weight=1e-4, otherwise=0.0)
    return np.where(domain, 1.0 - (1.0 - depth) / np.maximum(1.0 - level, 0.1), 0.0)


def _place(weight: Floats, corner: tuple[int, int], frame: DiscFrame) -> tuple[float, float]:
    """Centre of darkness, in radii from the disc's centre."""
    row, column = ndimage.center_of_mass(weight)
    x_px, y_px = column + corner[1], row + corner[0]
    return float(x_px - frame.centre_px) / frame.radius_px, float(frame.centre_px - y_px) / frame.radius_px
