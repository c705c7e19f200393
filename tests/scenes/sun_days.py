"""Spots that live, move and fade on a turning Sun, and the pictures an instrument would take of them.

The truth here is only geometry and a published rotation law; where the Sun stands is given in plain numbers,
so that nothing of the package under test is needed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Literal

import numpy as np

from scenes.scene import Facula, Scene, Spot

__all__ = [
    "GroupPlan",
    "Mount",
    "SunNumbers",
    "World",
    "WorldSpot",
    "carrington_drift_deg_per_day",
    "plan_days",
    "random_world",
    "refraction_flattening",
    "world_of",
]

# Sidereal, all spots: Howard, Gilman & Gilman 1984.
ROTATION_EQUATOR_DEG_PER_DAY = 14.522
ROTATION_SIN2_DEG_PER_DAY = -2.84
# Archinal et al., IAU working group on cartographic coordinates and rotational elements.
CARRINGTON_DEG_PER_DAY = 14.1844
PENUMBRA_LEVELS = (0.75, 0.85)  # of the quiet Sun: Solanki 2003, from memory
SMALLEST_SPOT_DEG = 0.12
LIMB_MU = 0.05  # nearer to the limb than this a spot is not drawn


@dataclass(frozen=True)
class SunNumbers:
    """How the Sun stands at one time; `parallactic_angle_deg` is the position angle of the zenith.

    `altitude_deg` is the true one, without refraction; 90 stands for a Sun that nothing flattens.
    """

    time_utc: datetime
    p_deg: float
    b0_deg: float
    l0_deg: float
    parallactic_angle_deg: float
    altitude_deg: float = 90.0


@dataclass(frozen=True)
class GroupPlan:
    """A group: a leader to the west and nearer the equator, a follower, and pores between them.

    `longitude_deg` is the Carrington longitude that the group's middle has, or would have, at the world's
    epoch. Days count from there. `proper_motion_deg_per_day` is the rms, per axis, of the spots' own drift.
    """

    name: str
    latitude_deg: float
    longitude_deg: float
    leader_deg: float = 1.2
    follower_deg: float = 0.8
    length_deg: float = 8.0
    pores: int = 4
    birth_day: float = -30.0
    life_days: float = 90.0
    proper_motion_deg_per_day: float = 0.0
    seed: int = 0


@dataclass(frozen=True)
class WorldSpot:
    """One spot through its life; its full size is that of `spot`, whose place on the disc is not used."""

    group: str
    latitude_deg: float
    longitude_deg: float
    spot: Spot
    birth_day: float
    life_days: float
    motion_deg_per_day: tuple[float, float] = (0.0, 0.0)

    def place_at(self, days: float) -> tuple[float, float]:
        """Return the latitude and Carrington longitude (deg, not wrapped) days after the epoch."""
        west, north = self.motion_deg_per_day
        age = days - self.birth_day
        drift = carrington_drift_deg_per_day(self.latitude_deg) * days
        return self.latitude_deg + north * age, self.longitude_deg + drift + west * age

    def radius_at(self, days: float) -> float:
        """Return the heliocentric radius (deg): the area grows for a fifth of the life, then shrinks."""
        share = (days - self.birth_day) / self.life_days
        area = min(share / 0.2, (1.0 - share) / 0.8)
        return self.spot.radius_deg * float(max(area, 0.0) ** 0.5)


@dataclass(frozen=True)
class World:
    """All spots and faculae; faculae sit with the group whose name they bear and outlive its spots."""

    epoch_utc: datetime
    spots: tuple[WorldSpot, ...]
    faculae: tuple[tuple[WorldSpot, Facula], ...] = ()

    def days_at(self, time_utc: datetime) -> float:
        """Return days since the epoch."""
        return (time_utc - self.epoch_utc) / timedelta(days=1)

    def sightings(self, days: float, *, l0_deg: float, b0_deg: float) -> tuple[tuple[str, Spot], ...]:
        """Return group name and spot, placed on the disc, for every spot on the visible half."""
        seen = []
        for one in self.spots:
            radius_deg = one.radius_at(days)
            latitude, longitude = _on_disc(one, days, l0_deg)
            if radius_deg < SMALLEST_SPOT_DEG or _mu(latitude, longitude, b0_deg) < LIMB_MU:
                continue
            placed = replace(one.spot, latitude_deg=latitude, longitude_deg=longitude, radius_deg=radius_deg)
            seen.append((one.group, placed))
        return tuple(seen)

    def faculae_at(self, days: float, *, l0_deg: float, b0_deg: float) -> tuple[Facula, ...]:
        """Return the faculae on the visible half."""
        seen = []
        for seat, facula in self.faculae:
            latitude, longitude = _on_disc(seat, days, l0_deg)
            alive = seat.birth_day < days < seat.birth_day + 1.5 * seat.life_days
            if alive and _mu(latitude, longitude, b0_deg) > 0.0:
                seen.append(replace(facula, latitude_deg=latitude, longitude_deg=longitude))
        return tuple(seen)


@dataclass(frozen=True)
class Mount:
    """An instrument; `look` carries size, sharpness and tone, its centre and radius are the mean ones.

    altaz: north_angle = P - q + camera angle; equatorial: north_angle = P + camera angle. `levelling_rms_deg`
    is the scatter of the angle from picture to picture, `scale_rms` that of the radius, as a share.
    """

    kind: Literal["altaz", "equatorial"]
    look: Scene
    camera_angle_deg: float = 0.0
    mirrored: bool = False
    levelling_rms_deg: float = 0.0
    centre_rms_px: float = 0.0
    scale_rms: float = 0.0
    seed: int = 1


def carrington_drift_deg_per_day(latitude_deg: float) -> float:
    """Return how fast a spot's Carrington longitude grows, from the sidereal rotation law."""
    sine2 = np.sin(np.radians(latitude_deg)) ** 2
    return float(ROTATION_EQUATOR_DEG_PER_DAY + ROTATION_SIN2_DEG_PER_DAY * sine2 - CARRINGTON_DEG_PER_DAY)


def refraction_flattening(altitude_deg: float) -> float:
    """Return by what share refraction shortens the disc along the vertical, at a true altitude.

    The slope of 1.02 / tan(h + 10.3 / (h + 5.11)) arcmin (Meeus, chapter 16); the shortening
    along the horizon, 0.0003 at any altitude, is neglected.
    """

    def lift_deg(h_deg: float) -> float:
        return 1.02 / 60.0 / float(np.tan(np.radians(h_deg + 10.3 / (h_deg + 5.11))))

    return max(0.0, (lift_deg(altitude_deg - 0.25) - lift_deg(altitude_deg + 0.25)) / 0.5)


def world_of(plans: Sequence[GroupPlan], *, epoch_utc: datetime) -> World:
    """Return the world that holds the planned groups."""
    spots = [spot for plan in plans for spot in _members(plan)]
    faculae = [_facula(plan) for plan in plans]
    return World(epoch_utc, tuple(spots), tuple(faculae))


def random_world(
    seed: int,
    *,
    epoch_utc: datetime = datetime(2026, 5, 25, tzinfo=UTC),
    groups: int = 10,
    proper_motion_deg_per_day: float = 0.1,
    life_days: tuple[float, float] = (10.0, 60.0),
) -> World:
    """Return groups in both spot zones, spread over all longitudes, old and young at the epoch."""
    rng = np.random.default_rng([seed, 20])
    plans = []
    for number in range(groups):
        life = float(rng.uniform(*life_days))
        leader_deg = float(rng.uniform(0.5, 1.8))
        plans.append(
            GroupPlan(
                name=f"g{number + 1}",
                latitude_deg=float(rng.choice([-1.0, 1.0]) * rng.uniform(5.0, 28.0)),
                longitude_deg=float(rng.uniform(0.0, 360.0)),
                leader_deg=leader_deg,
                follower_deg=leader_deg * float(rng.uniform(0.4, 0.9)),
                length_deg=float(rng.uniform(3.0, 11.0)),
                pores=int(rng.integers(0, 7)),
                birth_day=float(rng.uniform(-0.8 * life, 15.0)),
                life_days=life,
                proper_motion_deg_per_day=proper_motion_deg_per_day,
                seed=1000 * seed + number,
            )
        )
    return world_of(plans, epoch_utc=epoch_utc)


def plan_days(world: World, views: Sequence[SunNumbers], *, mount: Mount) -> list[tuple[datetime, Scene]]:
    """Return a scene for every view, as the mount's camera would see the world's Sun."""
    rng = np.random.default_rng([mount.seed, 21])
    days = []
    for number, view in enumerate(views):
        tilt, shift_x, shift_y, scale = rng.standard_normal(4)
        angle = view.p_deg + mount.camera_angle_deg + tilt * mount.levelling_rms_deg
        if mount.kind == "altaz":
            angle -= view.parallactic_angle_deg
        at = world.days_at(view.time_utc)
        seen = world.sightings(at, l0_deg=view.l0_deg, b0_deg=view.b0_deg)
        scene = replace(
            mount.look,
            x_px=mount.look.x_px + float(shift_x) * mount.centre_rms_px,
            y_px=mount.look.y_px + float(shift_y) * mount.centre_rms_px,
            radius_px=mount.look.radius_px * (1.0 + float(scale) * mount.scale_rms),
            flattening=refraction_flattening(view.altitude_deg),
            short_axis_angle_deg=_vertical_deg(view, float(angle), mirrored=mount.mirrored),
            b0_deg=view.b0_deg,
            north_angle_deg=_wrapped(float(angle)),
            mirrored=mount.mirrored,
            spots=tuple(spot for _, spot in seen),
            faculae=world.faculae_at(at, l0_deg=view.l0_deg, b0_deg=view.b0_deg),
            seed=1000 * mount.seed + number,
        )
        days.append((view.time_utc, scene))
    return days


def _vertical_deg(view: SunNumbers, north_angle_deg: float, *, mirrored: bool) -> float:
    """Where the vertical lies in the picture as delivered, counter-clockwise from up, in (-90, 90]."""
    zenith_deg = north_angle_deg - view.p_deg + view.parallactic_angle_deg
    if mirrored:
        zenith_deg = -zenith_deg
    return 90.0 - (90.0 - zenith_deg) % 180.0


def _members(plan: GroupPlan) -> list[WorldSpot]:
    """Leader, follower and pores; pores come later, live shorter, and have no penumbra."""
    rng = np.random.default_rng([plan.seed, 22])
    poleward = 1.0 if plan.latitude_deg >= 0.0 else -1.0
    half = plan.length_deg / 2.0
    # Groups lean by some 4 degrees, the leader nearer the equator: common practice, no source.
    lean = half * 0.07 * poleward
    big = [
        (half, -lean, plan.leader_deg, Spot(0, 0, 1, umbra_share=0.42, ragged=0.08)),
        (-half, lean, plan.follower_deg, Spot(0, 0, 1, umbra_share=0.38, ragged=0.14, stretch=1.3)),
    ]
    members = [
        _member(plan, rng, (west, north), replace(kind, radius_deg=radius_deg, seed=plan.seed * 50 + n))
        for n, (west, north, radius_deg, kind) in enumerate(big)
        if radius_deg > 0.0
    ]
    for number in range(plan.pores):
        place = (float(rng.uniform(-1.0, 1.0)) * half, float(rng.normal()) * 0.12 * plan.length_deg)
        pore = Spot(0, 0, float(rng.uniform(0.2, 0.4)), umbra_share=0.8, umbra_level=0.45, ragged=0.1)
        pore = replace(pore, seed=plan.seed * 50 + 10 + number)
        born = plan.birth_day + float(rng.uniform(0.0, 0.5)) * plan.life_days
        member = _member(plan, rng, place, pore)
        members.append(replace(member, birth_day=born, life_days=0.4 * plan.life_days))
    return members


def _member(plan: GroupPlan, rng: np.random.Generator, place: tuple[float, float], spot: Spot) -> WorldSpot:
    west, north = place
    motion = rng.normal(scale=1.0, size=2) * plan.proper_motion_deg_per_day
    penumbra_level = float(np.random.default_rng([spot.seed, 24]).uniform(*PENUMBRA_LEVELS))
    return WorldSpot(
        group=plan.name,
        latitude_deg=plan.latitude_deg + north,
        longitude_deg=plan.longitude_deg + west / np.cos(np.radians(plan.latitude_deg)),
        spot=replace(spot, penumbra_level=penumbra_level),
        birth_day=plan.birth_day,
        life_days=plan.life_days,
        motion_deg_per_day=(float(motion[0]), float(motion[1])),
    )


def _facula(plan: GroupPlan) -> tuple[WorldSpot, Facula]:
    size_deg = 4.0 + 0.6 * plan.length_deg
    facula = Facula(0.0, 0.0, size_deg, seed=plan.seed)
    rng = np.random.default_rng([plan.seed, 23])
    return replace(_member(plan, rng, (-1.0, 0.0), Spot(0, 0, 1)), motion_deg_per_day=(0.0, 0.0)), facula


def _on_disc(one: WorldSpot, days: float, l0_deg: float) -> tuple[float, float]:
    """Latitude, and longitude from the central meridian in (-180, 180], west positive."""
    latitude, longitude = one.place_at(days)
    return latitude, _wrapped(longitude - l0_deg)


def _mu(latitude_deg: float, longitude_deg: float, b0_deg: float) -> float:
    lat, lon, b0 = np.radians([latitude_deg, longitude_deg, b0_deg])
    return float(np.sin(lat) * np.sin(b0) + np.cos(lat) * np.cos(lon) * np.cos(b0))


def _wrapped(angle_deg: float) -> float:
    """An angle in (-180, 180]."""
    return 180.0 - (180.0 - angle_deg) % 360.0
