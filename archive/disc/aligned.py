"""The north-up disc: turned, un-mirrored, made round and brought to one size in one resampling."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import NDArray

from archive.disc.brightness import Plane, as_shares, block_mean
from archive.disc.separable import Weights, weighted, weights_about
from archive.model.constants import DISC_RADIUS_SHARE, DISC_SIDE_PX
from archive.model.observation import LARGE_PX, Disc

__all__ = ["STANDARD_FRAME", "DiscFrame", "align_disc", "frame_to_picture"]

_MARGIN_PX = 24
# What lies farther out changes no pixel by a thousandth of one of 255 levels.
_GAUSSIAN_REACH, _FALL_PX, _SPLINE_REACH = 4.0, 4, 10
_FINER = 2.0  # than the frame: what a large picture is first made smaller to
_UPRIGHT_PX = 1e-3  # over the whole frame


@dataclass(frozen=True)
class DiscFrame:
    """A square frame with the disc at its centre; both in pixels."""

    size_px: int

    @property
    def centre_px(self) -> float:
        """x and y of the disc's centre, (0, 0) the centre of the top-left pixel."""
        return (self.size_px - 1) / 2.0

    @property
    def radius_px(self) -> float:
        """Radius of the disc, a fixed share of the side."""
        return DISC_RADIUS_SHARE * self.size_px


STANDARD_FRAME = DiscFrame(DISC_SIDE_PX)


def frame_to_picture(
    disc: Disc, frame: DiscFrame, *, north_angle_deg: float, mirrored: bool
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the affine map from the frame (north up, east left) to the picture as displayed.

    Returns
    -------
    matrix : ndarray of shape (2, 2)
    offset : ndarray of shape (2,)
        ``(x, y) = matrix @ (x_frame, y_frame) + offset``, pixels, x right and y down.
    """
    turn = np.radians(north_angle_deg)
    # Columns: where solar west (frame right) and north (frame up) point in the un-mirrored picture, as (right, up).
    turned = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    displayed = np.diag([-1.0, 1.0]) @ turned if mirrored else turned
    short = np.radians(disc.short_axis_angle_deg)
    short_axis = np.array([-np.sin(short), np.cos(short)])
    flattened = np.eye(2) - disc.flattening * np.outer(short_axis, short_axis)
    down = np.diag([1.0, -1.0])
    matrix = down @ flattened @ displayed @ down * (disc.radius_px / frame.radius_px)
    centre = np.array([frame.centre_px, frame.centre_px])
    return matrix, np.array([disc.x_px, disc.y_px]) - matrix @ centre


def align_disc(
    brightness: Plane,
    disc: Disc,
    *,
    north_angle_deg: float,
    mirrored: bool,
    frame: DiscFrame = STANDARD_FRAME,
) -> NDArray[np.float32]:
    """Resample a picture once, by a cubic spline, to the north-up frame.

    Where the frame is coarser than the picture, a Gaussian first takes away what the frame could not hold; of a large
    picture the mean of square blocks does the first part of that.

    Parameters
    ----------
    brightness : ndarray of shape (H, W), linear
    disc : Disc
        The limb in that picture.
    north_angle_deg, mirrored
        See `archive.model.observation.Evidence`.
    frame : DiscFrame

    Returns
    -------
    ndarray of shape (size_px, size_px), float32
        0 where the picture does not reach.
    """
    matrix, offset = frame_to_picture(disc, frame, north_angle_deg=north_angle_deg, mirrored=mirrored)
    cut, corner = _cut_out(brightness, disc, frame)
    coarser = disc.radius_px / frame.radius_px
    block = max(1, int(coarser / _FINER)) if cut.size > LARGE_PX else 1
    light = as_shares(cut) if block == 1 else block_mean(cut, block)
    # A block's mean blurs as well: its variance is that of even chance over its pixels.
    variance_px2 = max(0.25 * (coarser**2 - 1.0) - (block**2 - 1.0) / 12.0, 0.0)
    kernel = _spline_kernel(float(np.sqrt(variance_px2)) / block)
    matrix, offset = matrix / block, (offset - corner - (block - 1) / 2.0) / block
    side = np.arange(frame.size_px)
    if abs(matrix[0, 1]) + abs(matrix[1, 0]) < _UPRIGHT_PX / frame.size_px:
        return _read_at(light, side * matrix[0, 0] + offset[0], side * matrix[1, 1] + offset[1], kernel)
    aligned: NDArray[np.float32] = scipy.ndimage.affine_transform(
        _filtered(light, kernel),
        # scipy speaks rows before columns.
        matrix[::-1, ::-1],
        offset=offset[::-1],
        output_shape=(frame.size_px, frame.size_px),
        output=np.float32,
        order=3,
        mode="constant",
        cval=0.0,
        prefilter=False,
    )
    return aligned


def _read_at(
    light: NDArray[np.float32], x_px: NDArray[np.float64], y_px: NDArray[np.float64], kernel: NDArray[np.float64]
) -> NDArray[np.float32]:
    """Return the filtered picture's spline at columns `x_px` and rows `y_px`; 0 where the picture does not reach.

    Filter and spline are one set of weights for each row and each column, which is ten times as fast as one by one.
    """
    return weighted(light, _read_weights(y_px, len(light), kernel), _read_weights(x_px, light.shape[1], kernel))


def _filtered(light: NDArray[np.float32], kernel: NDArray[np.float64]) -> NDArray[np.float32]:
    """Return the picture filtered along its columns and its rows, mirrored about its border."""
    down, across = (weights_about(np.arange(length), np.tile(kernel, (length, 1)), length) for length in light.shape)
    return weighted(light, down, across)


def _read_weights(place_px: NDArray[np.float64], length: int, kernel: NDArray[np.float64]) -> Weights:
    """Return the weights of a row's pixels at each place between them, none at a place outside."""
    first = np.floor(place_px)
    after = place_px - first
    before = 1.0 - after
    # The cubic B-spline: Unser 1999, IEEE Signal Processing Magazine 16 (6), 22.
    spline = (
        before**3 / 6.0,
        2.0 / 3.0 - after**2 * (2.0 - after) / 2.0,
        2.0 / 3.0 - before**2 * (2.0 - before) / 2.0,
        after**3 / 6.0,
    )
    weights = np.zeros((len(place_px), len(kernel) + 3))
    for step, share in enumerate(spline):
        weights[:, step : step + len(kernel)] += share[:, None] * kernel
    weights[(place_px < 0.0) | (place_px > length - 1.0)] = 0.0
    return weights_about(first.astype(np.intp), weights, length)


def _spline_kernel(sigma_px: float) -> NDArray[np.float64]:
    """A Gaussian's weights, none of 0, and those that make pixels the coefficients of a cubic spline, in one.

    Both fall off so fast that a few are all. Two passes over the picture thus take the place of four.
    """
    reach = max(_SPLINE_REACH, int(np.ceil(_GAUSSIAN_REACH * sigma_px)) + _FALL_PX)
    single = np.zeros(8 * reach + 1)
    single[len(single) // 2] = 1.0
    if sigma_px > 0.0:
        single = scipy.ndimage.gaussian_filter1d(single, sigma_px, truncate=_GAUSSIAN_REACH)
    weights = scipy.ndimage.spline_filter1d(single, order=3)[3 * reach : -3 * reach]
    kernel: NDArray[np.float64] = weights / weights.sum()
    return kernel


def _cut_out(brightness: Plane, disc: Disc, frame: DiscFrame) -> tuple[Plane, NDArray[np.float64]]:
    """Return the part of the picture that the frame shows, and the place of its top-left pixel as (x, y)."""
    reach_px = disc.radius_px / frame.radius_px * frame.size_px / np.sqrt(2.0) + _MARGIN_PX
    height, width = brightness.shape
    left, top = max(0, int(disc.x_px - reach_px)), max(0, int(disc.y_px - reach_px))
    right, bottom = min(width, int(disc.x_px + reach_px) + 1), min(height, int(disc.y_px + reach_px) + 1)
    return brightness[top:bottom, left:right], np.array([left, top], dtype=np.float64)
