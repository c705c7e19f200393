"""Derotation: the Sun's surface moved from the moments when it was seen to another moment, or another view of it.

Every pixel of the wanted picture is a place on the Sun; the rotation law gives where that place was when a picture
was taken, and the picture is read there. Limb darkening is not derotated: it belongs to the disc, and was taken out
before (`archive.disc.tone.flatten_disc`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Any

import numpy as np
import scipy
from numpy.typing import NDArray

from archive.disc.aligned import DiscFrame
from archive.disc.interpolation import read_between
from archive.model.angles import difference_deg
from archive.model.constants import SUN_DISTANCE_RADII
from archive.sun.heliographic import LIMB_RADII, from_disc
from archive.sun.rotation import carrington_drift_deg_per_day

__all__ = [
    "CARRINGTON_FRAME",
    "SPOT_LAW",
    "Canvas",
    "Drift",
    "Surface",
    "ViewGeometry",
    "WeightedSurface",
    "derotated_box",
    "disc_canvas",
    "map_canvas",
    "visible_surface",
    "weighted_surfaces",
]

Floats = NDArray[np.floating[Any]]
Plane = NDArray[np.float32]

# Nearer the limb than this the edge's blur has its say; the correction starts inside of it.
_EDGE_FROM = 0.965
_EDGE_TO = 1.01
_EDGE_LEVEL = 0.5  # of the quiet disc: farther out, what the blurred edge holds is more sky than Sun
_UNSEEN_LEVEL = 0.05  # of the quiet disc: darker than any umbra, so outside the frame, or behind the Moon
_UNSEEN_SHARE = 1e-4
# Surface seen nearer the limb than this (cosine to the line of sight) and shown farther in fades out: it was smeared.
_LOW_MU = 0.12
_LIMB_MU = 0.002  # the limb is seen, whatever the last digits say
_FADE_DAYS = 1.0  # the last day of the reach
_MOMENT_DAYS = 1e-4
_STRIP_ROWS = 32
# Of each of the two nearest pixels in what lies halfway between; makes good what linear reading smooths.
_NEAR_SHARE = np.float32(0.625)


@dataclass(frozen=True)
class Drift:
    """How places move in Carrington longitude: ``at_equator + sine_squared * sin^2(latitude)``, deg/day."""

    at_equator_deg_per_day: float
    sine_squared_deg_per_day: float


def _spot_law() -> Drift:
    equator, pole = (float(rate) for rate in carrington_drift_deg_per_day(np.array([0.0, 90.0])))
    return Drift(equator, pole - equator)


SPOT_LAW = _spot_law()
CARRINGTON_FRAME = Drift(0.0, 0.0)


@dataclass(frozen=True)
class ViewGeometry:
    """A view of the Sun: time (days from any one zero), tilt B0, and the longitude L0 of the central meridian."""

    time_days: float
    b0_deg: float
    l0_deg: float


@dataclass(frozen=True)
class Surface:
    """A picture's surface: 1 is quiet Sun, also at and beyond the limb; `seen` is 1 or 0, None where all of it is 1."""

    flat: Plane
    seen: Plane | None
    frame: DiscFrame
    at: ViewGeometry

    @cached_property
    def finer(self) -> Plane:
        """`flat` with a place between every two of its own, (2 S, 2 S): linear between these is as good as cubic."""
        height, width = self.flat.shape
        rows = np.empty((2 * height, width), dtype=np.float32)
        rows[::2], rows[1::2] = self.flat, _between_neighbours(self.flat, axis=0)
        finer = np.empty((2 * height, 2 * width), dtype=np.float32)
        for first in range(0, len(rows), _STRIP_ROWS):  # they stay in the processor's cache
            part = rows[first : first + _STRIP_ROWS]
            finer[first : first + _STRIP_ROWS, ::2] = part
            finer[first : first + _STRIP_ROWS, 1::2] = _between_neighbours(part, axis=1)
        return finer


@dataclass(frozen=True)
class Canvas:
    """Directions of a picture's pixels: unit vectors (H, W) to the west, to the sky's north, towards the observer.

    `left` and `top` are the position of the canvas in its picture.
    """

    west: Plane
    north: Plane
    towards: Plane
    left: int
    top: int

    @cached_property
    def full_share(self) -> Plane:
        """One over the cosine to the line of sight from which a surface has its full share, (H, W)."""
        low_mu = np.clip(self.towards - np.float32(1.0 / SUN_DISTANCE_RADII), 0.0, _LOW_MU) + np.float32(_LIMB_MU)
        share: Plane = (np.float32(1.0) / low_mu).astype(np.float32)
        return share


@dataclass(frozen=True)
class WeightedSurface:
    """A surface in a blend: its weight, and how much it is trusted (0 to 1)."""

    surface: Surface
    weight: float
    trust: float


def visible_surface(flat: Plane, frame: DiscFrame, at: ViewGeometry) -> Surface:
    """Return the surface of a flattened disc for derotation: its blurred or sharpened edge restored to quiet Sun.

    Parameters
    ----------
    flat : ndarray of shape (size_px, size_px)
        From `archive.disc.tone.flatten_disc`.
    frame : DiscFrame
    at : ViewGeometry
        Of the picture.
    """
    places = _edge_places(frame)
    restored = np.where(places.near, flat, np.float32(1.0))
    # The pixels of the edge from the centre outwards.
    edge = flat.ravel()[places.edge]
    rings = (np.median(ring) if ring.size else 1.0 for ring in np.split(edge, places.ring_starts))
    levels = np.maximum(np.fromiter(rings, dtype=np.float64), 1e-3)
    level = np.interp(places.edge_radius, places.ring_radii, levels / levels[0])
    restored.ravel()[places.edge] = np.where(level > _EDGE_LEVEL, edge / np.maximum(level, _EDGE_LEVEL), 1.0)
    return Surface(restored, _seen(flat, places), frame, at)


@dataclass(frozen=True)
class _EdgePlaces:
    """What depends on a frame alone, not to be changed: where the disc's edge is, outwards from its inner side.

    `edge` are the edge's pixels by their places in memory, `ring_starts` where in these the second ring begins, the
    third, and so on; rings are half a pixel wide. `near` (S, S) is True up to the edge's outer side, `within` up to its
    inner one.
    """

    near: NDArray[np.bool_]
    within: NDArray[np.bool_]
    edge: NDArray[np.intp]
    edge_radius: Floats
    ring_starts: NDArray[np.intp]
    ring_radii: Floats


@lru_cache(maxsize=2)
def _edge_places(frame: DiscFrame) -> _EdgePlaces:
    place = (np.arange(frame.size_px, dtype=np.float32) - np.float32(frame.centre_px)) / np.float32(frame.radius_px)
    radius = np.hypot(place[None, :], place[:, None])
    edge = np.flatnonzero((radius > _EDGE_FROM) & (radius < _EDGE_TO))
    edge = edge[np.argsort(radius.ravel()[edge], kind="stable")]
    edge_radius = radius.ravel()[edge]
    bounds = np.linspace(_EDGE_FROM, _EDGE_TO, int(np.ceil((_EDGE_TO - _EDGE_FROM) * frame.radius_px * 2.0)) + 1)
    starts = np.searchsorted(edge_radius, bounds[1:-1])
    middles = 0.5 * (bounds[1:] + bounds[:-1])
    return _EdgePlaces(radius < _EDGE_TO, radius < _EDGE_FROM, edge, edge_radius, starts, middles)


def _seen(flat: Plane, places: _EdgePlaces) -> Plane | None:
    """Return where the picture shows the Sun at all; None where it does everywhere."""
    unseen = (flat < _UNSEEN_LEVEL) & places.within
    if np.count_nonzero(unseen) < _UNSEEN_SHARE * unseen.size:
        return None
    # Two pixels more: what is read between a seen and an unseen pixel is neither.
    widened: NDArray[np.bool_] = scipy.ndimage.maximum_filter(unseen, size=5)
    return (~widened).astype(np.float32)


def _between_neighbours(plane: Plane, *, axis: int) -> Plane:
    """Return what lies halfway from each row (or column) to the next, by the cubic through two on either side."""
    first, last = np.take(plane, [0], axis), np.take(plane, [-1], axis)
    near = np.concatenate([first, plane, last, last], axis)
    before, here, there, beyond = (
        (near[step:][: len(plane)] for step in range(4))
        if axis == 0
        else (near[:, step:][:, : plane.shape[1]] for step in range(4))
    )
    between: Plane = here + there
    between *= _NEAR_SHARE
    far = before + beyond
    far *= np.float32(0.5) - _NEAR_SHARE
    between += far
    return between


def disc_canvas(frame: DiscFrame) -> Canvas:
    """Return the canvas of a north-up disc: the square that just holds it; beyond the limb it repeats the limb."""
    first = max(0, int(np.floor(frame.centre_px - frame.radius_px)) - 1)
    place = (np.arange(first, frame.size_px - first) - frame.centre_px) / frame.radius_px
    west, north = np.broadcast_arrays(place[None, :], -place[:, None])
    latitude_deg, meridian_deg = from_disc(west, north, b0_deg=0.0)
    return Canvas(*_vectors(latitude_deg, meridian_deg), first, first)


def map_canvas(longitudes_deg: Floats, latitudes_deg: Floats, *, left: int, top: int) -> Canvas:
    """Return the canvas of a flat map: a column per longitude (from the view's L0), a row per latitude, B0 = 0."""
    longitude_deg, latitude_deg = np.meshgrid(longitudes_deg, latitudes_deg)
    return Canvas(*_vectors(latitude_deg, longitude_deg), left, top)


def _vectors(latitude_deg: Floats, meridian_deg: Floats) -> tuple[Plane, Plane, Plane]:
    latitude, meridian = np.radians(latitude_deg), np.radians(meridian_deg)
    west = np.cos(latitude) * np.sin(meridian)
    towards = np.cos(latitude) * np.cos(meridian)
    return west.astype(np.float32), np.sin(latitude).astype(np.float32), towards.astype(np.float32)


def weighted_surfaces(
    surfaces: Sequence[Surface], time_days: float, *, reach_days: float
) -> tuple[WeightedSurface, ...]:
    """Return how surfaces share in the picture of a moment: by nearness in time, fading out over the reach's last day.

    Two surfaces on both sides of the moment are weighted linearly in time.
    """
    shares = []
    for surface in surfaces:
        age_days = abs(surface.at.time_days - time_days)
        trust = float(np.clip((reach_days - age_days) / min(_FADE_DAYS, max(reach_days, _MOMENT_DAYS)), 0.0, 1.0))
        shares.append(WeightedSurface(surface, trust / max(age_days, _MOMENT_DAYS), trust))
    return tuple(shares)


def derotated_box(
    shares: Sequence[WeightedSurface], canvas: Canvas, at: ViewGeometry, *, drift: Drift, box: tuple[slice, slice]
) -> tuple[Plane, Plane]:
    """Return the blended surface of a part of a canvas in a view geometry, and how far it covers.

    Parameters
    ----------
    shares : sequence of WeightedSurface
        None at all leaves everything blank.
    canvas : Canvas
    at : ViewGeometry
        Its time counts with `SPOT_LAW` only.
    drift : Drift
        `SPOT_LAW`, or `CARRINGTON_FRAME` for a surface that turns as a whole.
    box : tuple of slice
        Rows and columns. A few rows at a time are several times faster than all at once: they stay in the
        processor's cache.

    Returns
    -------
    value : ndarray of the box's shape, float32
        1 is quiet Sun; where nothing covers it is 1 too.
    cover : ndarray of the same shape
        1 where the surface is known, 0 where no picture shows it.
    """
    west, north, towards = canvas.west[box], canvas.north[box], canvas.towards[box]
    tilt = np.radians(at.b0_deg)
    sine, cosine = np.float32(np.sin(tilt)), np.float32(np.cos(tilt))
    full_share = canvas.full_share[box]
    # Heliographic: north is now along the axis, towards in the equator's plane.
    north, towards = north * cosine + towards * sine, towards * cosine - north * sine
    place = (west, north, towards, north * north)
    total, weights, cover = (np.zeros_like(west) for _ in range(3))
    for share in shares:
        value, mu, seen = _read_surface(share.surface, place, at, drift)
        part = mu * full_share
        np.minimum(part, np.float32(1.0), out=part)
        if seen is not None:
            part *= seen
        cover += part * np.float32(share.trust) if share.trust < 1.0 else part
        mu *= np.float32(share.weight)
        part *= mu
        value *= part
        total += value
        weights += part
    unknown = weights <= 0.0
    np.copyto(total, 1.0, where=unknown)
    np.copyto(weights, 1.0, where=unknown)
    value = np.divide(total, weights, out=total)
    return value, np.clip(cover, 0.0, 1.0, out=cover)


def _read_surface(
    surface: Surface, place: tuple[Plane, Plane, Plane, Plane], at: ViewGeometry, drift: Drift
) -> tuple[Plane, Plane, Plane | None]:
    """Read a surface where places were when it was seen.

    Parameters
    ----------
    surface : Surface
    place : tuple of four ndarrays of one shape, float32
        Heliographic unit vectors (west, north, towards the central meridian as seen from `at`), and north squared.
    at : ViewGeometry
    drift : Drift

    Returns
    -------
    value : ndarray of that shape
    mu : ndarray
        Cosine to the line of sight then, 0 behind the limb.
    seen : ndarray or None
        Whether the picture shows the place; None where it shows all.
    """
    west, north, meridian, north_squared = place
    then = surface.at
    days = then.time_days - at.time_days
    turn_deg = difference_deg(at.l0_deg, then.l0_deg) + drift.at_equator_deg_per_day * days
    turn = north_squared * np.float32(np.radians(drift.sine_squared_deg_per_day * days))
    turn += np.float32(np.radians(turn_deg))
    sine, cosine = np.sin(turn), np.cos(turn)
    west, meridian = west * cosine + meridian * sine, meridian * cosine - west * sine
    tilt = np.radians(then.b0_deg)
    tilt_sine, tilt_cosine = np.float32(np.sin(tilt)), np.float32(np.cos(tilt))
    towards = north * tilt_sine + meridian * tilt_cosine
    north = north * tilt_cosine - meridian * tilt_sine
    near = np.float32(LIMB_RADII * surface.frame.radius_px) / (np.float32(SUN_DISTANCE_RADII) - towards)
    centre = np.float32(surface.frame.centre_px)
    x_px, y_px = west * near + centre, centre - north * near
    seen = None if surface.seen is None else read_between(surface.seen, x_px, y_px)
    x_px *= np.float32(2.0)
    y_px *= np.float32(2.0)
    value = read_between(surface.finer, x_px, y_px)
    # The cosine to the line of sight, to 1e-5.
    mu = np.maximum(towards + np.float32(_LIMB_MU - 1.0 / SUN_DISTANCE_RADII), 0.0)
    return value, mu, seen
