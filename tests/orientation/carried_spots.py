"""Lists of spots as pictures would show them, carried by the rotation law of the drawn scenes; nothing is drawn.

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

__all__ = ["CAMERA_ANGLE_DEG", "Sight", "pictured", "said_to_be", "sights_of", "three_groups", "with_specks"]

EPOCH = datetime(2026, 9, 1, tzinfo=UTC)
SYNODIC_DEG_PER_DAY = 13.2  # by which L0 falls; common practice, no source
L0_DEG = 100.0
CENTROID_RMS = 0.002
CAMERA_ANGLE_DEG = 40.0


@dataclass(frozen=True)
class Sight:
    """When a picture is taken, its true north angle, and what the mount says without the camera angle."""

    day: float
    north_deg: float
    sky_deg: float | None = None


def three_groups(seed: int) -> World:
    """Three groups that face us for a week, with spots of 20 to 1000 MSH and proper motions of 0.1 deg/day."""
    return world_of(
        [
            GroupPlan(f"g{number}", latitude_deg, L0_DEG + east_deg, 1.5, 1.0, 7.0, 3,
                      proper_motion_deg_per_day=0.05, seed=10 * seed + number)
            for number, (latitude_deg, east_deg) in enumerate([(17.0, 12.0), (-11.0, -28.0), (24.0, -50.0)])
        ],
        epoch_utc=EPOCH,
    )  # fmt: skip


def sights_of(seed: int, *, days: Sequence[float] = (0.0, 1.1, 1.9, 3.2, 4.0, 5.1), mount: bool = False) -> list[Sight]:
    """Angles all over the circle; with a mount, half a degree rms about one camera angle."""
    rng = np.random.default_rng([seed, 60])
    skies = rng.uniform(-180.0, 180.0, len(days))
    north = skies + (CAMERA_ANGLE_DEG + rng.normal(scale=0.5, size=len(days)) if mount else 0.0)
    return [
        Sight(day, float(angle), float(sky) if mount else None)
        for day, angle, sky in zip(days, north, skies, strict=True)
    ]


def pictured(
    world: World, sights: Sequence[Sight], *, mirrored: bool, b0_deg: float = 6.0, seed: int = 1
) -> list[SpottedPicture]:
    """What would be measured in each picture: places with a little noise, areas, largest spots first."""
    rng = np.random.default_rng([seed, 61])
    return [_picture(world, sight, rng, mirrored=mirrored, b0_deg=b0_deg) for sight in sights]


def _picture(world: World, sight: Sight, rng: np.random.Generator, *, mirrored: bool, b0_deg: float) -> SpottedPicture:
    l0_deg = (L0_DEG - SYNODIC_DEG_PER_DAY * sight.day) % 360.0
    x_px, y_px = (500.0 + rng.normal(scale=15.0, size=2)).tolist()
    frame = Scene(
        x_px=x_px, y_px=y_px, radius_px=400.0, b0_deg=b0_deg, north_angle_deg=sight.north_deg, mirrored=mirrored
    )
    seen = [spot for _, spot in world.sightings(sight.day, l0_deg=l0_deg, b0_deg=b0_deg)]
    seen.sort(key=lambda spot: -spot.radius_deg)
    places = [place_on_picture(frame, spot.latitude_deg, spot.longitude_deg) for spot in seen]
    x, y, mu = np.array(places).reshape(-1, 3).T
    area_msh = 1e6 * (1.0 - np.cos(np.radians([spot.radius_deg for spot in seen])))
    good = mu > 0.25
    noise = rng.normal(scale=CENTROID_RMS, size=(2, len(seen)))
    return SpottedPicture(
        time_days=sight.day,
        b0_deg=b0_deg,
        l0_deg=l0_deg,
        right=((x - x_px) / 400.0 + noise[0])[good],
        up=((y_px - y) / 400.0 + noise[1])[good],
        area_msh=np.asarray(area_msh)[good],
        sky_deg=sight.sky_deg,
        centre_px=(x_px, y_px),
        radius_px=400.0,
    )


def with_specks(picture: SpottedPicture, specks_px: Sequence[tuple[float, float]], area_msh: float) -> SpottedPicture:
    """The same picture through dust at these places (x, y) of the camera's frame."""
    x, y = np.array(specks_px).T
    right, up = (x - picture.centre_px[0]) / picture.radius_px, (picture.centre_px[1] - y) / picture.radius_px
    inside = np.hypot(right, up) < 0.95
    return replace(
        picture,
        right=np.concatenate([right[inside], picture.right]),
        up=np.concatenate([up[inside], picture.up]),
        area_msh=np.concatenate([np.full(int(inside.sum()), area_msh), picture.area_msh]),
    )


def said_to_be(picture: SpottedPicture, hours: float) -> SpottedPicture:
    """As a record would have it whose time is that many hours late."""
    days = hours / 24.0
    l0_deg = (picture.l0_deg - SYNODIC_DEG_PER_DAY * days) % 360.0
    return replace(picture, time_days=picture.time_days + days, l0_deg=l0_deg)
