"""Sums along columns and rows by sparse weights: resampling, smoothing, and coarse grids made fine.

Two products with sparse matrices take a fraction of the time of filters that go over every pixel, most of all where
fewer pixels come out than go in.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import numpy as np
import scipy
from numpy.typing import NDArray

__all__ = ["Weights", "smoothed", "transposed", "upsampled", "weighted", "weights_about"]

Weights = Any
"""A sparse matrix (M, N): what each of N pixels counts in each of M sums. Scipy has no types."""

_STRIP_ROWS = 16
_LEAST_WEIGHT = 1e-6


def weighted(plane: NDArray[np.float32], down: Weights, across: Weights) -> NDArray[np.float32]:
    """Return sums over columns by `down`, and over rows by `across`; along rows memory is read thrice as fast."""
    return transposed(across @ transposed(down @ plane))


def weights_about(middle_px: NDArray[np.intp], weights: NDArray[np.float64], length: int) -> Weights:
    """Return weights of pixels as a sparse matrix, mirrored about the first and last pixel.

    Parameters
    ----------
    middle_px : ndarray of shape (M,)
        The pixel to which the middle one of the weights belongs, or the left one of two in the middle.
    weights : ndarray of shape (M, K)
    length : int
        Pixels of the row.
    """
    number, step = np.nonzero(np.abs(weights) > _LEAST_WEIGHT)
    pixel = np.abs(middle_px[number] - (weights.shape[1] - 1) // 2 + step)
    last = max(length - 1, 1)
    pixel = last - np.abs(last - pixel % (2 * last))
    return _sparse(weights[number, step], number, pixel, (len(middle_px), length))


def smoothed(
    plane: NDArray[np.float32], sigma_px: float, *, truncate: float = 4.0, step: int = 1
) -> NDArray[np.float32]:
    """Return a plane smoothed by a Gaussian, every `step`-th row and column of it.

    Parameters
    ----------
    plane : ndarray of shape (H, W)
    sigma_px : float
    truncate : float
        In sigmas.
    step : int
    """
    down, across = (_gaussian(length, sigma_px, truncate, step) for length in plane.shape)
    return weighted(plane, down, across)


def upsampled(coarse: NDArray[np.float32], step: int, shape: tuple[int, ...]) -> NDArray[np.float32]:
    """Return the linear interpolation of a coarse grid that holds every `step`-th row and column."""
    down, across = (
        _between(length, coarse_length, step) for length, coarse_length in zip(shape, coarse.shape, strict=True)
    )
    # Along the rows first, while they are few.
    fine: NDArray[np.float32] = down @ transposed(across @ transposed(coarse))
    return fine


def transposed(plane: NDArray[np.float32]) -> NDArray[np.float32]:
    """Columns as rows, some rows at a time: what they become is written by whole lines of the processor's cache."""
    turned = np.empty(plane.shape[::-1], dtype=plane.dtype)
    for top in range(0, len(plane), _STRIP_ROWS):
        turned[:, top : top + _STRIP_ROWS] = plane[top : top + _STRIP_ROWS].T
    return turned


@lru_cache(maxsize=32)
def _gaussian(length: int, sigma_px: float, truncate: float, step: int) -> Weights:
    """A Gaussian about every `step`-th pixel, reflected about the border."""
    reach = int(truncate * sigma_px + 0.5)
    away = np.arange(-reach, reach + 1)
    weights = np.exp(-0.5 * (away / sigma_px) ** 2)
    weights /= weights.sum()
    middles = np.arange(0, length, step)
    pixel = (middles[:, None] + away) % (2 * length)
    pixel = np.minimum(pixel, 2 * length - 1 - pixel)
    number = np.repeat(np.arange(len(middles)), len(away))
    return _sparse(np.tile(weights, len(middles)), number, pixel.ravel(), (len(middles), length))


@lru_cache(maxsize=16)
def _between(length: int, coarse_length: int, step: int) -> Weights:
    place = np.minimum(np.arange(length) / step, coarse_length - 1)
    before = np.minimum(place.astype(np.intp), max(coarse_length - 2, 0))
    after = np.minimum(before + 1, coarse_length - 1)
    share = place - before
    number = np.arange(length)
    return _sparse(
        np.concatenate([1.0 - share, share]),
        np.concatenate([number, number]),
        np.concatenate([before, after]),
        (length, coarse_length),
    )


def _sparse(
    values: NDArray[np.float64], row: NDArray[np.intp], column: NDArray[np.intp], shape: tuple[int, int]
) -> Weights:
    return scipy.sparse.csr_array((values.astype(np.float32), (row, column)), shape=shape)
