"""Dark spots on a flattened disc, as evidence for orientation: where they are and how much they weigh."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import scipy
from numpy.typing import NDArray

from archive.disc.aligned import DiscFrame, align_disc
from archive.disc.brightness import Plane, block_mean
from archive.disc.separable import smoothed, upsampled
from archive.disc.tone import flatten_disc
from archive.model.observation import Disc

__all__ = ["DarkSpots", "find_dark_spots", "spots_as_it_came"]

Floats = NDArray[np.floating[Any]]

_FRAME_PX = 512
_BLUR_PX = 1.0
_LEAST_DEPTH = 0.05  # of the quiet disc: granulation and cloud stay below
_NOISE_FACTOR = 5.5
_LIMB_SHARE = 0.97  # nearer the limb the edge's own blur is dark
_LEAST_PX = 4
_MOST_SPOTS = 40
# The largest group on record, of April 1947, covered 6132 MSH (Greenwich Photo-heliographic Results); one dark patch is
# less.
_LARGEST_MSH = 4000.0
# A large spot has a dark core even near the limb, under a soft edge; thin cloud there has none (drawn discs).
_CLOUD_MSH, _CLOUD_DEPTH = 900.0, 0.15
_COARSE = 4


@dataclass(frozen=True)
class DarkSpots:
    """Spots of one disc, strongest first.

    `right` and `up` (N,) are distances from the disc's centre in radii, in the frame as given; `area_msh` (N,) is
    the area in millionths of the hemisphere, corrected for foreshortening; `depth` (N,) the deepest darkening.
    """

    right: Floats
    up: Floats
    area_msh: Floats
    depth: Floats


def spots_as_it_came(brightness: Plane, disc: Disc) -> DarkSpots:
    """Return the spots of a picture in its original orientation.

    Parameters
    ----------
    brightness : ndarray of shape (H, W), linear
    disc : Disc
        The limb in that picture.
    """
    frame = DiscFrame(_FRAME_PX)
    shrink = max(1, int(disc.radius_px / (1.2 * frame.radius_px)))
    if shrink > 1:
        # A block's mean is all that the coarse frame could hold, and far quicker than filtering the whole.
        brightness = block_mean(brightness, shrink)
        offset = (shrink - 1) / 2.0
        disc = replace(
            disc,
            x_px=(disc.x_px - offset) / shrink,
            y_px=(disc.y_px - offset) / shrink,
            radius_px=disc.radius_px / shrink,
        )
    aligned = align_disc(brightness, disc, north_angle_deg=0.0, mirrored=False, frame=frame)
    return find_dark_spots(flatten_disc(aligned, frame), frame)


def find_dark_spots(flat: NDArray[np.float32], frame: DiscFrame) -> DarkSpots:
    """Return the connected areas well below the quiet disc.

    Parameters
    ----------
    flat : ndarray of shape (size_px, size_px)
        From `archive.disc.tone.flatten_disc`: 1 is quiet Sun.
    frame : DiscFrame
    """
    place = (np.arange(frame.size_px) - frame.centre_px) / frame.radius_px
    distance = np.hypot(place[None, :], place[:, None])
    # Darkness on a scale far above that of spots is cloud or a poor fit.
    inside = distance < _LIMB_SHARE
    smooth = smoothed(np.where(inside, flat, np.float32(1.0)), _BLUR_PX)
    background = _background(smooth, inside, frame)
    depth = np.where(inside, background - smooth, 0.0)
    noise = 1.4826 * float(np.median(np.abs(depth[inside])))
    threshold = max(_LEAST_DEPTH, _NOISE_FACTOR * noise)
    labels, count = scipy.ndimage.label(depth > threshold, structure=np.ones((3, 3)))
    if count == 0:
        return DarkSpots(*(np.zeros(0) for _ in range(4)))
    row, column = np.nonzero(labels)
    label, dark = labels[row, column] - 1, depth[row, column]
    size_px = np.bincount(label)
    weight = np.bincount(label, dark)
    rows, columns = np.bincount(label, dark * row) / weight, np.bincount(label, dark * column) / weight
    deepest = np.zeros(count)
    np.maximum.at(deepest, label, dark)
    right, up = (columns - frame.centre_px) / frame.radius_px, (frame.centre_px - rows) / frame.radius_px
    mu = np.sqrt(np.clip(1.0 - right**2 - up**2, 0.01, 1.0))
    area_msh = 1e6 * size_px / (2.0 * np.pi * frame.radius_px**2 * mu)
    cloud = (area_msh > _LARGEST_MSH) | ((area_msh > _CLOUD_MSH) & (deepest < _CLOUD_DEPTH))
    keep = (size_px >= _LEAST_PX) & (deepest > 1.25 * threshold) & ~cloud
    order = np.argsort(-(weight / mu) * keep, kind="stable")[: min(int(keep.sum()), _MOST_SPOTS)]
    return DarkSpots(right[order], up[order], area_msh[order], deepest[order])


def _background(smooth: Floats, inside: NDArray[np.bool_], frame: DiscFrame) -> Floats:
    """Return the quiet disc's slow undulations: a wide mean that leaves spots out, worked on a coarse grid."""
    coarse = np.ascontiguousarray(smooth[::_COARSE, ::_COARSE])
    on_disc = inside[::_COARSE, ::_COARSE]
    width = frame.radius_px / 9.0 / _COARSE
    level: Floats = np.ones_like(coarse)
    for _ in range(2):
        quiet = (on_disc & (np.abs(coarse - level) < 0.04)).astype(np.float32)
        weight = smoothed(quiet, width, truncate=3.0)
        mean = smoothed(coarse * quiet, width, truncate=3.0) / np.maximum(weight, 1e-6)
        level = np.where(weight > 0.05, mean, np.float32(1.0))
    return upsampled(level, _COARSE, smooth.shape)
