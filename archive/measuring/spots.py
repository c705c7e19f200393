"""Detection and measurement of the spots in one picture: position, area, umbral area.

A spot is what an observer counts: a pore, a spot with its penumbra, or, in a penumbra with several umbrae, one spot
for each resolved umbra. Such spots divide the penumbra by a watershed of the brightness, so that their areas add up to
the whole.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import scipy
from numpy.typing import NDArray

from archive.disc.aligned import DiscFrame, align_disc
from archive.disc.brightness import Plane
from archive.disc.contrast import ContrastExponent, contrast_exponent, true_depth
from archive.disc.tone import flatten_disc
from archive.measuring.darkness import Darkness, masked_gaussian_mean, measure_darkness
from archive.measuring.detail import AREA_REACH_RADII, effective_blur_px
from archive.measuring.rim import level_rim
from archive.measuring.true_area import (
    HALF_PENUMBRA_DEPTH,
    ImagingConditions,
    TrueArea,
    area_within,
    true_area,
    umbra_area,
)
from archive.measuring.umbrae import split_patch
from archive.model.constants import DISC_RADIUS_SHARE
from archive.model.observation import Disc, FoundSpots, Spot

__all__ = ["measure_spots"]

Floats = NDArray[np.floating[Any]]
Mask = NDArray[np.bool_]

# Small discs are enlarged for sub-pixel outlines; large ones are reduced for speed.
_MIN_RADIUS_PX, _MAX_RADIUS_PX = 230.0, 400.0
_MIN_DEPTH = 0.045  # fraction of the quiet disc's brightness: granulation and cloud stay below
# In 100,000 pixels of pure noise the largest is 4.5 sigma, and a patch has more than one. With 6, pores of coarse
# pictures are missed; with 5 nothing was found on 75 drawn spotless discs.
_NOISE_FACTOR = 5.0
_QUIET_FRACTION = 0.6  # of the threshold: how much darker than the quiet disc, regardless of faculae
# A small spot that faculae brighten almost to the level of the quiet disc still contrasts with them and is no wider
# than the blur. Gaps between drawn faculae have less contrast or are three times as wide.
_FACULAR_FACTOR, _FACULAR_QUIET_FRACTION, _FACULAR_AREA_BLURS = 1.75, 0.2, 10.0
# Of the threshold: how dark the middle of a spot is. In the blocks of 16 pixels that the limb crosses a JPEG ripples.
_PEAK_FACTOR, _LIMB_PEAK_FACTOR, _LIMB_MU = 1.25, 1.7, 0.36
# JPEG leaves ripples in the block of 8 pixels that holds a deep spot, of up to so much of its depth.
_RIPPLE_SHARE, _RIPPLE_PX = 0.12, 8
_MIN_AREA_BLURS = 1.0  # smallest area of a patch, in blurs squared: below, it is sharper than the picture, so noise
# In units of the blur Gaussian's curvature: drawn spots reach 1.1 plus noise, allowed at three standard errors (0.7 of
# the noise where it is as fine as the blur), and 1.7 in real pictures that were downsampled without smoothing, whose
# edge is as sharp as the pixels; single dead pixels reach 2.0 to 3.2, letters and lines of a pixel or two 1.4 and more.
_SPOT_CURVATURE, _CURVATURE_NOISE = 1.1, 2.1
_MAX_CURVATURE, _MAX_CURVATURE_SHARP, _SHARP_PX = 1.35, 1.8, 1.0
_SKIRT_BLURS = 1.5  # how far the blur spreads a patch's darkness beyond its detected outline
_MARGIN_BLURS = 5.0  # room for the skirts and, three times as wide, the surroundings
_SOME_ROWS = 4  # apart, for the median of what is the same all along a ring
_CENTRAL_MU = 0.6  # towards the limb relative noise is larger
# Of the quiet disc: darker is the Moon or outside the frame; umbrae that dark cover a thousandth at most.
_VISIBLE_LEVEL = 0.2
_RISE_FRACTION = 0.25  # of its depth: brightness rise between two umbrae needed to count them as two
_TOUCHING = np.ones((3, 3), dtype=bool)
# The largest group on record, of April 1947, covered 6132 MSH (Greenwich Photo-heliographic Results); one dark patch is
# less.
_MAX_MSH = 4000.0
# Where areas are told: within reach, and where no more of the surroundings than this is white.
_AREA_MU = float(np.sqrt(1.0 - AREA_REACH_RADII**2))
_WHITE, _MOST_WHITE = 0.985, 0.1
# Shares of an area by which it errs on drawn discs besides its mean depth (tests/studies/test_area_study.py), since
# penumbrae differ in brightness: always, and where a patch is divided.
_AREA_ERROR, _DIVIDED_ERROR = 0.06, 0.15
# In smaller spots of real pictures the ratio of umbra to spot scatters from 0 to 0.19, in larger ones from 0.15 to 0.32
# (those of `hmi-2010-10`: tests/studies/test_spot_study.py).
_LEAST_MSH_WITH_UMBRA = 100.0
_LIMB_ERROR_RADII = 0.001  # of a spot's distance from the centre, by which foreshortening errs
_UNKNOWN_CONTRAST = ContrastExponent(1.0, 0.3)  # encoded or finished pictures: 0.6 to 1.5 in real ones


@dataclass(frozen=True)
class _Scale:
    """`blur_px` is the total Gaussian blur of `Darkness.depth` in the frame, `smoothing_px` the part applied last.

    `max_curvature` is the largest curvature of a spot's profile in units of that Gaussian's, and `curvature_noise` the
    allowance per unit of noise to depth.
    """

    frame: DiscFrame
    blur_px: float
    smoothing_px: float
    max_curvature: float
    curvature_noise: float


@dataclass(frozen=True)
class _Seen:
    """One disc: its darkness, its brightness in the same frame, and what is known of its scale and contrast."""

    darkness: Darkness
    brightness: Floats
    scale: _Scale
    contrast: ContrastExponent


@dataclass(frozen=True)
class _Patch:
    """A dark patch cut out of the disc.

    `depth` is relative to the immediate surroundings, with the blurred skirts, and 0 beyond them; `core` is the patch
    without skirts; `msh` the area of each pixel; `threshold` the detection threshold; `corner` the first row and
    column. `whole` is the patch's true area and `darkness_px` its true integrated depth, before the tone curve;
    `area_error` the error of the area as a fraction, and `area_known` is False where that is not to be told.
    """

    depth: Floats
    core: Mask
    msh: Floats
    threshold: float
    corner: tuple[int, int]
    whole: TrueArea
    darkness_px: float
    area_error: float
    area_known: bool


def measure_spots(brightness: Plane, disc: Disc, *, north_angle_deg: float, mirrored: bool) -> FoundSpots:
    """Return the spots of a picture, largest first.

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
    contrast = contrast_exponent(aligned, flat, scale.frame) or _UNKNOWN_CONTRAST
    darkness = measure_darkness(
        level_rim(flat, scale.frame), scale.frame, blur_px=scale.blur_px, smoothing_px=scale.smoothing_px
    )
    seen = _Seen(darkness, aligned, scale, contrast)
    labels, _ = scipy.ndimage.label(_candidate_mask(darkness, scale.blur_px), structure=_TOUCHING)
    spots = []
    for number, box in enumerate(scipy.ndimage.find_objects(labels), start=1):
        cut = _padded(box, by_px=int(np.ceil(_MARGIN_BLURS * scale.blur_px)))
        patch = _patch(seen, labels[cut], number, cut)
        if patch is not None:
            spots += _patch_spots(patch, scale.frame)
    some = slice(None, None, _SOME_ROWS)
    plain = darkness.inside[some] & (darkness.mu[some] > _CENTRAL_MU)
    visible = (flat > _VISIBLE_LEVEL) & darkness.inside
    return FoundSpots(
        tuple(sorted(spots, key=lambda spot: (-spot.area_msh, spot.right, spot.up))),
        float(np.median(_threshold(darkness.noise[some][plain]))),
        float(np.count_nonzero(visible) / np.count_nonzero(darkness.inside)),
    )


def _scale_for(disc: Disc) -> _Scale:
    radius_px = float(np.clip(disc.radius_px, _MIN_RADIUS_PX, _MAX_RADIUS_PX))
    frame = DiscFrame(round(radius_px / DISC_RADIUS_SHARE))
    blur_px = effective_blur_px(disc) * frame.radius_px / disc.radius_px
    coarser = disc.radius_px / frame.radius_px
    if coarser > 1.0:  # as `align_disc` smooths
        blur_px = float(np.hypot(blur_px, 0.5 * np.sqrt(coarser**2 - 1.0) / coarser))
    smoothing_px = float(np.clip(0.6 * blur_px, 0.6, 1.2))
    max_curvature = _MAX_CURVATURE if disc.blur_px > _SHARP_PX else _MAX_CURVATURE_SHARP
    whole_px = float(np.hypot(blur_px, smoothing_px))
    # The noise has the scale of the smoothing and of the original pixels: enlarged, a pixel is like a Gaussian with a
    # sigma of 0.45 of its size.
    noise_px = float(np.hypot(smoothing_px, 0.45 / coarser if coarser < 1.0 else 0.0))
    return _Scale(frame, whole_px, smoothing_px, max_curvature, _CURVATURE_NOISE * (whole_px / noise_px) ** 2)


def _candidate_mask(darkness: Darkness, blur_px: float) -> Mask:
    """Return pixels darker than their surroundings and than the quiet disc, which excludes gaps between faculae."""
    threshold = _threshold(darkness.noise)
    dark = darkness.inside & (darkness.local > threshold)
    patches, count = scipy.ndimage.label(dark, _TOUCHING)
    patch, limit = patches[dark], threshold[dark]  # few pixels of all
    local, depth = darkness.local[dark], darkness.depth[dark]
    plain = depth > _QUIET_FRACTION * limit
    distinct = (local > _FACULAR_FACTOR * limit) & (depth > _FACULAR_QUIET_FRACTION * limit)
    narrow = np.bincount(patch, minlength=count + 1) <= _FACULAR_AREA_BLURS * blur_px**2
    narrow &= np.bincount(patch[distinct], minlength=count + 1) > 0
    # A spot amid faculae is plain in its middle alone; its outline is then where it is half as dark.
    middle = distinct & (depth > _PEAK_FACTOR * limit)
    deepest = np.zeros(count + 1)
    np.maximum.at(deepest, patch[middle], local[middle])
    outline = (deepest[patch] > 0.0) & (local > 0.5 * deepest[patch])
    candidates = np.zeros_like(dark)
    candidates[dark] = plain | narrow[patch] | outline
    return candidates


def _threshold(noise: Floats) -> Floats:
    threshold: Floats = np.maximum(_MIN_DEPTH, _NOISE_FACTOR * noise)
    return threshold


def _patch(seen: _Seen, labels: NDArray[np.intp], number: int, cut: tuple[slice, slice]) -> _Patch | None:
    """Return the patch of that label, or None where it is not a spot; `labels` as cut."""
    darkness, scale, contrast = seen.darkness, seen.scale, seen.contrast
    seed = labels == number
    mu = darkness.mu[cut]
    msh = 1e6 / (2.0 * np.pi * scale.frame.radius_px**2 * mu)
    if float(msh[seed].sum()) > _MAX_MSH or seed.sum() < _MIN_AREA_BLURS * scale.blur_px**2:
        return None
    if _is_sharper_than_blur(darkness.local[cut], seed, float(darkness.noise[cut][seed].mean()), scale):
        return None
    depth = _relative_depth(darkness.depth[cut], seed, labels > 0, scale.blur_px)
    threshold = float(_threshold(darkness.noise[cut][seed]).mean())
    ripple = _RIPPLE_SHARE * float(darkness.local[_padded(cut, by_px=_RIPPLE_PX)].max())
    at_mu = float(mu[seed].mean())
    peak_factor = _PEAK_FACTOR if at_mu > _LIMB_MU else _LIMB_PEAK_FACTOR
    if float(depth[seed].max()) < max(peak_factor * threshold, ripple):
        return None
    corner = (cut[0].start, cut[1].start)
    before = true_depth(depth, contrast.exponent)
    darkness_px = max(float(before.sum()), 1e-6)
    whole = true_area(area_within(before, HALF_PENUMBRA_DEPTH), darkness_px, ImagingConditions(at_mu, scale.blur_px))
    white = seen.brightness[cut] > _WHITE
    around = (depth == 0.0) & darkness.inside[cut]
    known = at_mu > _AREA_MU and float(white[around].mean() if around.any() else 1.0) < _MOST_WHITE
    core = seed | (depth > HALF_PENUMBRA_DEPTH)
    return _Patch(depth, core, msh, threshold, corner, whole, darkness_px, _area_error(whole, contrast, at_mu), known)


def _area_error(whole: TrueArea, contrast: ContrastExponent, mu: float) -> float:
    """Return the standard error of a patch's area as a fraction."""
    foreshortening = _LIMB_ERROR_RADII * np.sqrt(1.0 - mu**2) / mu**2
    # The outline of a spot that is large against the blur hardly depends on contrast, the darkness of a small one does.
    tone = 0.5 * contrast.sigma / contrast.exponent
    return float(np.linalg.norm([_AREA_ERROR, whole.depth_sigma / whole.depth, foreshortening, tone]))


def _is_sharper_than_blur(local: Floats, seed: Mask, noise: float, scale: _Scale) -> bool:
    """Return whether a patch has more curvature than the picture's blur allows: a dead pixel or row, letters.

    Nothing blurred by a Gaussian has more curvature than that Gaussian, in any direction: for ``G * o`` with ``o >=
    0``, ``-d2/dx2 <= 1 / sigma^2`` times its height, because that holds for G.
    """
    top = float(local[seed].max())
    dark = seed[1:-1, 1:-1] & (local[1:-1, 1:-1] > 0.5 * top)
    if not dark.any():
        return False
    height = np.where(dark, local[1:-1, 1:-1], 1.0)
    # Pairs of neighbours on opposite sides; diagonal ones are farther apart.
    level = np.minimum(local[:-2, 1:-1] + local[2:, 1:-1], local[1:-1, :-2] + local[1:-1, 2:])
    diagonal = np.minimum(local[:-2, :-2] + local[2:, 2:], local[:-2, 2:] + local[2:, :-2])
    of_gaussian = 2.0 * (1.0 - np.exp(np.array([-0.5, -1.0]) / scale.blur_px**2))
    curvature = np.maximum((2.0 - level / height) / of_gaussian[0], (2.0 - diagonal / height) / of_gaussian[1])
    limit = np.maximum(scale.max_curvature, _SPOT_CURVATURE + scale.curvature_noise * noise / height)
    return bool((curvature > limit)[dark].any())


def _patch_spots(patch: _Patch, frame: DiscFrame) -> list[Spot]:
    """Return the patch's spots: true area and darkness are divided in proportion to visible area and darkness."""
    parts = split_patch(patch.depth, patch.core, min_rise=patch.threshold, rise_fraction=_RISE_FRACTION)
    core_depth = np.where(patch.core, np.maximum(patch.depth, 0.0), 0.0)
    several = int(parts.max()) > 1
    error = float(np.hypot(patch.area_error, _DIVIDED_ERROR if several else 0.0))
    spots = []
    for number in range(1, int(parts.max()) + 1):
        part = parts == number
        weight = np.where(part, core_depth, 0.0)
        part_px = patch.whole.area_px * float(part.sum() / patch.core.sum())
        umbra = umbra_area(part_px, patch.darkness_px * float(weight.sum() / core_depth.sum()), patch.whole.depth_sigma)
        msh_per_px = float(patch.msh[part].mean())
        umbra_shows = patch.area_known and patch.whole.umbra_shows and part_px * msh_per_px >= _LEAST_MSH_WITH_UMBRA
        right, up = _centroid(weight, patch.corner, frame)
        spots.append(
            Spot(
                right,
                up,
                part_px * msh_per_px,
                umbra.area_px * msh_per_px if umbra_shows else None,
                error * part_px * msh_per_px if patch.area_known else None,
                umbra.sigma_px * msh_per_px if umbra_shows else None,
                patch.area_known,
            )
        )
    return spots


def _padded(box: tuple[slice, slice], *, by_px: int) -> tuple[slice, slice]:
    rows, columns = (slice(max(0, side.start - by_px), side.stop + by_px) for side in box)
    return rows, columns


def _relative_depth(depth: Floats, seed: Mask, candidates: Mask, blur_px: float) -> Floats:
    """Return the depth of a patch and its blurred skirts relative to its immediate surroundings; 0 elsewhere."""
    away_px = scipy.ndimage.distance_transform_edt(~seed)
    others = candidates & ~seed
    others_px = scipy.ndimage.distance_transform_edt(~others) if others.any() else np.full_like(away_px, np.inf)
    skirt_px = _SKIRT_BLURS * blur_px
    domain = (away_px <= skirt_px) & (away_px <= others_px)
    around = (away_px > skirt_px) & (away_px <= 3.0 * skirt_px) & (others_px > skirt_px)
    width = skirt_px + 0.25 * float(np.sqrt(seed.sum()))
    level = masked_gaussian_mean(depth, around, width, min_weight=1e-4, default=0.0)
    return np.where(domain, 1.0 - (1.0 - depth) / np.maximum(1.0 - level, 0.1), 0.0)


def _centroid(weight: Floats, corner: tuple[int, int], frame: DiscFrame) -> tuple[float, float]:
    """Return the centroid of darkness, in radii from the disc's centre."""
    row, column = scipy.ndimage.center_of_mass(weight)
    x_px, y_px = column + corner[1], row + corner[0]
    return float(x_px - frame.centre_px) / frame.radius_px, float(frame.centre_px - y_px) / frame.radius_px
