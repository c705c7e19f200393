"""Every second day of real pictures withheld: the derotated surface compared with a day it does not include.

Pictures: SDO/HMI quick-look continuum of October 2010 (see the README beside them), one a day, north up.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from archive.disc.aligned import DiscFrame, align_disc
from archive.disc.brightness import brightness_plane
from archive.disc.derotation import (
    SPOT_LAW,
    Surface,
    WeightedSurface,
    derotated_box,
    disc_canvas,
    visible_surface,
    weighted_surfaces,
)
from archive.disc.limb import fit_limb
from archive.disc.spots import find_dark_spots
from archive.disc.tone import flatten_disc
from archive.films.job import view_geometry
from archive.reading import read_pixels
from archive.sun.heliographic import from_disc

REAL = Path(__file__).parents[3] / "shared" / "real" / "hmi-2010-10"
pytestmark = pytest.mark.skipif(not REAL.is_dir(), reason=f"{REAL} is missing: real pictures not tried")

FRAME = DiscFrame(512)
CANVAS = disc_canvas(FRAME)
PART = np.s_[CANVAS.top : CANVAS.top + CANVAS.west.shape[0], CANVAS.left : CANVAS.left + CANVAS.west.shape[1]]
PLACE = (np.arange(FRAME.size_px) - FRAME.centre_px) / FRAME.radius_px
WEST, NORTH = (plane[PART] for plane in np.broadcast_arrays(PLACE[None, :], -PLACE[:, None]))
INSIDE_60_DEG = np.hypot(WEST, NORTH) < np.sin(np.radians(60))


@dataclass(frozen=True)
class Withheld:
    """A day's own flattened disc, and the four ways to guess it from the days beside it."""

    flat: NDArray[np.float32]
    smooth: NDArray[np.float32]
    before: NDArray[np.float32]
    after: NDArray[np.float32]
    cross_fade: NDArray[np.float32]
    b0_deg: float


@pytest.fixture(scope="module")
def days() -> list[Withheld]:
    """The days of 15 to 27 October: before and after there are few spots."""
    pictures = [_flattened(REAL / f"201010{day}T120000Z.jpg") for day in range(14, 29)]
    return [_withheld(*pictures[n : n + 3]) for n in range(len(pictures) - 2)]


def _flattened(path: Path) -> tuple[NDArray[np.float32], Surface]:
    pixels = read_pixels(path.read_bytes(), path.name)
    bright = brightness_plane(pixels.values, full_scale=pixels.full_scale)
    aligned = align_disc(bright, fit_limb(bright), north_angle_deg=0.0, mirrored=False, frame=FRAME)
    flat = flatten_disc(aligned, FRAME)
    time_utc = datetime.strptime(path.stem, "%Y%m%dT%H%M%SZ").replace(tzinfo=UTC)
    return flat, visible_surface(flat, FRAME, view_geometry(time_utc))


def _withheld(*three: tuple[NDArray[np.float32], Surface]) -> Withheld:
    (first_flat, first), (flat, day), (last_flat, last) = three

    def carried(shares: tuple[WeightedSurface, ...]) -> NDArray[np.float32]:
        return derotated_box(shares, CANVAS, day.at, drift=SPOT_LAW, box=np.s_[:, :])[0]

    return Withheld(
        flat[PART],
        carried(weighted_surfaces([first, last], day.at.time_days, reach_days=3.0)),
        carried((WeightedSurface(first, 1.0, 1.0),)),
        carried((WeightedSurface(last, 1.0, 1.0),)),
        0.5 * (first_flat[PART] + last_flat[PART]),
        day.at.b0_deg,
    )


def _likeness(one: NDArray[np.float32], other: NDArray[np.float32]) -> float:
    return float(np.corrcoef(one[INSIDE_60_DEG], other[INSIDE_60_DEG])[0, 1])


def test_the_blend_is_more_like_the_day_than_either_neighbour_and_far_more_than_a_cross_fade(
    days: list[Withheld],
) -> None:
    likeness = np.array(
        [[_likeness(guess, day.flat) for guess in (day.smooth, day.before, day.after, day.cross_fade)] for day in days]
    )
    print("mean correlation of blend, before, after, cross-fade:", likeness.mean(axis=0).round(3))
    assert (likeness[:, 0] > likeness[:, 1:3].max(axis=1)).all()
    assert likeness[:, 0].mean() > 4 * likeness[:, 3].mean()


def test_the_day_s_larger_groups_are_where_the_blend_shows_them(days: list[Withheld]) -> None:
    """Centres of darkness; a group counts with 250 MSH and more: smaller ones are mostly being born or dying."""
    errors = [error for day in days for error in _group_errors_deg(day, least_msh=250.0)]
    rms_deg = float(np.sqrt(np.mean(np.square(errors))))
    print(f"{len(errors)} sightings: rms {rms_deg:.2f} deg, median {np.median(errors):.2f} deg")
    assert len(errors) >= 10
    assert rms_deg < 0.5
    assert np.median(errors) < 0.15


def _group_errors_deg(day: Withheld, *, least_msh: float) -> list[float]:
    whole = np.zeros((FRAME.size_px, FRAME.size_px), dtype=np.float32)
    whole[PART] = day.flat
    spots = find_dark_spots(whole, FRAME)
    errors = []
    for members in _clusters(spots.right, spots.up, np.flatnonzero(np.hypot(spots.right, spots.up) < 0.87)):
        if spots.area_msh[members].sum() >= least_msh:
            near = np.min([np.hypot(WEST - spots.right[n], NORTH - spots.up[n]) for n in members], axis=0) < 0.06
            places = [_centre(flat, near) for flat in (day.flat, day.smooth)]
            (lat, lon), (seen_lat, seen_lon) = (from_disc(*place, b0_deg=day.b0_deg) for place in places)
            errors.append(float(np.hypot(lat - seen_lat, (lon - seen_lon) * np.cos(np.radians(lat)))))
    return errors


def _clusters(right: NDArray, up: NDArray, numbers: NDArray) -> list[list[int]]:
    """Spots within some 8 degrees of each other, strongest first."""
    clusters: list[list[int]] = []
    for number in numbers:
        near = [one for one in clusters if min(np.hypot(right[one] - right[number], up[one] - up[number])) < 0.14]
        if near:
            near[0].append(int(number))
        else:
            clusters.append([int(number)])
    return clusters


def _centre(flat: NDArray[np.float32], near: NDArray[np.bool_]) -> tuple[NDArray, NDArray]:
    dark = np.clip(0.95 - flat, 0.0, None) * near
    return np.asarray((dark * WEST).sum() / dark.sum()), np.asarray((dark * NORTH).sum() / dark.sum())
