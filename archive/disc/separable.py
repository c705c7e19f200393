"""Sums along columns and rows by sparse weights: resampling, smoothing, and coarse grids made fine.

Two products with matrices take a fraction of the time of filters that go over every pixel, most of all where fewer
pixels come out than go in.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Any

import numpy as np
import scipy
from numpy.typing import NDArray

__all__ = ["Weights", "smoothed", "upsampled", "weighted", "weights_about"]

_BLOCK = 32  # sums: so many neighbours share most of their pixels
# Multiplications: of larger products OpenBLAS makes pieces for several threads, which here wait more than they work.
_ONE_THREAD = 4 * 65_536
_LEAST_WEIGHT = 1e-6


@dataclass(frozen=True)
class Weights:
    """What each of N pixels counts in each of M sums: `sparse` (M, N), of which scipy has no type."""

    sparse: Any

    @cached_property
    def blocks(self) -> tuple[list[int], NDArray[np.float32]]:
        """The first pixel of each block of sums, and what those from there on count in them (blocks, pixels, sums).

        All are as wide as the widest.
        """
        count, length = self.sparse.shape
        number, pixel = np.repeat(np.arange(count), np.diff(self.sparse.indptr)), self.sparse.indices
        block = number // _BLOCK
        first, last = np.full(-(-count // _BLOCK), length), np.zeros(-(-count // _BLOCK), dtype=np.intp)
        np.minimum.at(first, block, pixel)
        np.maximum.at(last, block, pixel)
        wide = max(int((last - first).max()) + 1, 1)
        first = np.clip(first, 0, length - wide)
        dense = np.zeros((len(first), wide, _BLOCK), dtype=np.float32)
        dense[block, pixel - first[block], number % _BLOCK] = self.sparse.data
        return first.tolist(), dense


def weighted(plane: NDArray[np.float32], down: Weights, across: Weights) -> NDArray[np.float32]:
    """Return sums over columns by `down`, and over rows by `across`."""
    return _summed_across(down.sparse @ plane, across)


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
    fine: NDArray[np.float32] = down.sparse @ _summed_across(coarse, across)
    return fine


def _summed_across(plane: NDArray[np.float32], across: Weights) -> NDArray[np.float32]:
    """Return the sums over rows, some neighbours at a time by a dense product: a third of the sparse one's time."""
    first_px, blocks = across.blocks
    wide = blocks.shape[1]
    sums = np.empty((len(plane), across.sparse.shape[0]), dtype=np.float32)
    rows = max(_ONE_THREAD // (wide * _BLOCK), 1)
    even = len(plane) // rows * rows
    for part, height in ((slice(0, even), rows), (slice(even, len(plane)), max(len(plane) - even, 1))):
        strips, into = plane[part].reshape(-1, height, plane.shape[1]), sums[part].reshape(-1, height, sums.shape[1])
        for number, (first, weights) in enumerate(zip(first_px, blocks, strict=True)):
            some = into[..., number * _BLOCK : (number + 1) * _BLOCK]
            np.matmul(strips[..., first : first + wide], weights[:, : some.shape[2]], out=some)
    return sums


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
    return Weights(scipy.sparse.csr_array((values.astype(np.float32), (row, column)), shape=shape))
