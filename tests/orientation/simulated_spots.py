"""Simulated spot lists, moved from day to day by the rotation law of the drawn scenes; no pictures are drawn.

Law, perspective and frames are those of `scenes`, which is independent of the package.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime

import numpy as np
from scenes.discs import Scene, place_on_picture
from scenes.sun_days import GroupPlan, World, world_of

from archive.orientation.spots import SpottedPicture

__all__ = ["CAMERA_ANGLE_DEG", "View", "dated_late_by", "simulated_pictures", "three_groups", "views_of", "with_specks"]

EPOCH = datetime(2026, 9, 1, tzinfo=UTC)
SYNODIC_DEG_PER_DAY = 13.2  # by which L0 falls: 360 deg in 27.2753 days (Meeus, chapter 29)
L0_DEG = 100.0
CENTROID_RMS = 0.002
CAMERA_ANGLE_DEG = 40.0


@dataclass(frozen=True)
class View:
    """The day of a picture, its true north angle, and that of the mount without the camera angle."""

    day: float
    north_deg: float
    sky_deg: float | None = None


def three_groups(seed: int) -> World:
    """Return three groups that face the Earth for a week: spots of 20 to 1000 MSH, proper motions of 0.1 deg/day."""
    return world_of(
        [
            GroupPlan(f"g{number}", latitude_deg, L0_DEG + east_deg, 1.5, 1.0, 7.0, 3,
                      proper_motion_deg_per_day=0.05, seed=10 * seed + number)
            for number, (latitude_deg, east_deg) in enumerate([(17.0, 12.0), (-11.0, -28.0), (24.0, -50.0)])
        ],
        epoch_utc=EPOCH,
    )  # fmt: skip


def views_of(seed: int, *, days: Sequence[float] = (0.0, 1.1, 1.9, 3.2, 4.0, 5.1), mount: bool = False) -> list[View]:
    """Return views with random angles; with a mount, half a degree rms about one camera angle."""
    rng = np.random.default_rng([seed, 60])
    skies = rng.uniform(-180.0, 180.0, len(days))
    north = skies + (CAMERA_ANGLE_DEG + rng.normal(scale=0.5, size=len(days)) if mount else 0.0)
    return [
        View(day, float(angle), float(sky) if mount else None)
        for day, angle, sky in zip(days, north, skies, strict=True)
    ]


def simulated_pictures(
    world: World, views: Sequence[View], *, mirrored: bool, b0_deg: float = 6.0, seed: int = 1
) -> list[SpottedPicture]:
    """Return the measurements of each picture: positions with a little noise, areas, largest spots first."""
    rng = np.random.default_rng([seed, 61])
    return [_picture(world, view, rng, mirrored=mirrored, b0_deg=b0_deg) for view in views]


def _picture(world: World, view: View, rng: np.random.Generator, *, mirrored: bool, b0_deg: float) -> SpottedPicture:
    l0_deg = (L0_DEG - SYNODIC_DEG_PER_DAY * view.day) % 360.0
    x_px, y_px = (500.0 + rng.normal(scale=15.0, size=2)).tolist()
    frame = Scene(
        x_px=x_px, y_px=y_px, radius_px=400.0, b0_deg=b0_deg, north_angle_deg=view.north_deg, mirrored=mirrored
    )
    seen = [spot for _, spot in world.sightings(view.day, l0_deg=l0_deg, b0_deg=b0_deg)]
    seen.sort(key=lambda spot: -spot.radius_deg)
    places = [place_on_picture(frame, spot.latitude_deg, spot.longitude_deg) for spot in seen]
    x, y, mu = np.array(places).reshape(-1, 3).T
    area_msh = 1e6 * (1.0 - np.cos(np.radians([spot.radius_deg for spot in seen])))
    good = mu > 0.25
    noise = rng.normal(scale=CENTROID_RMS, size=(2, len(seen)))
    return SpottedPicture(
        time_days=view.day,
        b0_deg=b0_deg,
        l0_deg=l0_deg,
        right=((x - x_px) / 400.0 + noise[0])[good],
        up=((y_px - y) / 400.0 + noise[1])[good],
        area_msh=np.asarray(area_msh)[good],
        sky_deg=view.sky_deg,
        centre_px=(x_px, y_px),
        radius_px=400.0,
    )


def with_specks(picture: SpottedPicture, specks_px: Sequence[tuple[float, float]], area_msh: float) -> SpottedPicture:
    """Return the picture with dust at these positions (x, y) of the camera's frame."""
    x, y = np.array(specks_px).T
    right, up = (x - picture.centre_px[0]) / picture.radius_px, (picture.centre_px[1] - y) / picture.radius_px
    inside = np.hypot(right, up) < 0.95
    return replace(
        picture,
        right=np.concatenate([right[inside], picture.right]),
        up=np.concatenate([up[inside], picture.up]),
        area_msh=np.concatenate([np.full(int(inside.sum()), area_msh), picture.area_msh]),
    )


def dated_late_by(picture: SpottedPicture, hours: float) -> SpottedPicture:
    """Return the picture as recorded with a time that many hours late."""
    days = hours / 24.0
    l0_deg = (picture.l0_deg - SYNODIC_DEG_PER_DAY * days) % 360.0
    return replace(picture, time_days=picture.time_days + days, l0_deg=l0_deg)
