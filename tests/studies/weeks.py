"""Drawn weeks of pictures with known truth, as the study of orientation by spots needs them.

Each picture is drawn by `scenes` and goes the way of any picture: limb, standard disc, flat disc, dark spots. Frames
are those of the package; every week is made from its family and number alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta

import numpy as np
from numpy.typing import NDArray
from scenes.discs import Scene, draw_disc, quantise
from scenes.finish import set_dust
from scenes.sun_days import GroupPlan, Mount, SunNumbers, World, plan_days, random_world, world_of
from scenes.surface import PixelBox

from archive.disc.aligned import DiscFrame, align_disc
from archive.disc.brightness import brightness_plane
from archive.disc.limb import fit_limb
from archive.disc.spots import find_dark_spots
from archive.disc.tone import flatten_disc
from archive.model import choices
from archive.model.observation import SunView
from archive.orientation.spots import SpottedPicture
from archive.sun.view import sun_view, sun_views

__all__ = [
    "LEVELLING_RMS_DEG",
    "Taken",
    "Week",
    "drawn_week",
    "hard_week",
    "spotted",
    "turned_at_random",
    "wrapped_deg",
]

FRAME = DiscFrame(512)
SITE = {"latitude_deg": 52.1, "longitude_deg": -1.3}
ZERO = datetime(2000, 1, 1, tzinfo=UTC)
LOWEST_SUN_DEG = 8.0
# Proper motions of spots, rms: 0.1 deg/day along the parallel, 0.04 across it; common practice, no source.
MOTION_DEG_PER_DAY = 0.1
LATITUDE_SHARE = 0.4
LEVELLING_RMS_DEG = 0.5

HARD_KINDS = (
    "one group",
    "spotless",
    "lone spot near the centre",
    "groups without tilt",
    "two pictures",
    "dust only",
    "dust and spots",
)


@dataclass(frozen=True)
class Week:
    """Pictures of one instrument, and the truth; `kind` names what is special about the week."""

    pictures: tuple[SpottedPicture, ...]
    north_angles_deg: tuple[float, ...]
    mirrored: bool
    kind: str


@dataclass(frozen=True)
class Taken:
    """A picture's pixels, when it was taken, and what the mount says of its way up."""

    values: NDArray[np.uint8]
    time_utc: datetime
    sun: SunView
    sky_deg: float | None


def drawn_week(number: int) -> Week:
    """Return six pictures within 7 to 9 days, 2 to 4 groups in each, alt-azimuth, camera and mirror unknown."""
    rng = np.random.default_rng([951, number])
    while True:
        times = _times(rng, _any_day(rng), days=int(rng.integers(7, 10)), count=6)
        world = _with_slow_latitudes(random_world(int(rng.integers(10**6)), epoch_utc=times[0], groups=6))
        if all(2 <= seen <= 4 for seen in _groups_seen(world, times)):
            return _taken_by_mount(rng, world, times, mount="altaz", kind="drawn")


def turned_at_random(week: Week, number: int) -> Week:
    """Return the same pictures without mount, each turned by an angle of its own."""
    rng = np.random.default_rng([952, number])
    turns_deg = rng.uniform(-180.0, 180.0, len(week.pictures))
    sense = -1.0 if week.mirrored else 1.0
    return Week(
        tuple(_turned(picture, float(turn)) for picture, turn in zip(week.pictures, turns_deg, strict=True)),
        tuple(
            wrapped_deg(north + sense * float(turn))
            for north, turn in zip(week.north_angles_deg, turns_deg, strict=True)
        ),
        week.mirrored,
        f"{week.kind}, each turned",
    )


def hard_week(number: int) -> Week:
    """Return a week whose way up can hardly be known, or not at all; kinds and mounts take turns.

    Without tilt (B0 = 0) the Sun looks the same when north and south are exchanged, whatever its spots: such a week
    tells its mirroring only through the mount.
    """
    rng = np.random.default_rng([954, number])
    kind = HARD_KINDS[number % len(HARD_KINDS)]
    mount: choices.Mount = ("altaz", "unknown", "equatorial")[number % 3]
    middle = _day_without_tilt(rng) if kind in ("lone spot near the centre", "groups without tilt") else _any_day(rng)
    count = 2 if kind == "two pictures" else 4
    times = _times(rng, middle, days=int(rng.integers(count, 6 if count == 2 else 9)), count=count)
    dust = int(rng.integers(3, 9)) if kind.startswith("dust") else 0
    return _taken_by_mount(
        rng, _hard_world(rng, times, kind=kind), times, mount=mount, kind=f"{kind}, {mount}", dust=dust
    )


def _hard_world(rng: np.random.Generator, times: Sequence[datetime], *, kind: str) -> World:
    if kind == "lone spot near the centre":
        return _lone_spot(rng, times)
    groups = {"spotless": 0, "dust only": 0, "one group": 1}.get(kind, int(rng.integers(1, 4)))
    return _facing_groups(rng, times, groups=groups + (kind == "groups without tilt"))


def spotted(taken: Taken) -> SpottedPicture:
    """Go from pixels to spots as the program does, with the disc left as it came."""
    brightness = brightness_plane(taken.values, full_scale=255.0)
    disc = fit_limb(brightness)
    aligned = align_disc(brightness, disc, north_angle_deg=0.0, mirrored=False, frame=FRAME)
    spots = find_dark_spots(flatten_disc(aligned, FRAME), FRAME)
    return SpottedPicture(
        time_days=(taken.time_utc - ZERO) / timedelta(days=1),
        b0_deg=taken.sun.b0_deg,
        l0_deg=taken.sun.l0_deg,
        right=spots.right,
        up=spots.up,
        area_msh=spots.area_msh,
        sky_deg=taken.sky_deg,
        centre_px=(disc.x_px, disc.y_px),
        radius_px=disc.radius_px,
    )


def _taken_by_mount(
    rng: np.random.Generator, world: World, times: Sequence[datetime], *, mount: choices.Mount, kind: str, dust: int = 0
) -> Week:
    """Draw the world's pictures as this mount's camera delivers them; dust stays where it is on the sensor."""
    instrument = _instrument(rng, "equatorial" if mount == "equatorial" else "altaz")
    views = sun_views(times, **SITE)
    # A camera that is turned every time is drawn as if the zenith were anywhere.
    zeniths_deg = [
        float(rng.uniform(-180.0, 180.0)) if mount == "unknown" else view.parallactic_angle_deg for view in views
    ]
    suns = [
        SunNumbers(time, view.p_deg, view.b0_deg, view.l0_deg, zenith_deg, view.altitude_deg)
        for time, view, zenith_deg in zip(times, views, zeniths_deg, strict=True)
    ]
    taken, north_angles = [], []
    dust_seed = int(rng.integers(10**6))
    for (time, scene), view in zip(plan_days(world, suns, mount=instrument), views, strict=True):
        cloudy = replace(scene, cloud=float(rng.choice([0.0, 0.0, 0.15, 0.3])))
        picture = draw_disc(cloudy)
        if dust:
            specks = replace(cloudy, seed=dust_seed, dust=dust)
            set_dust(specks, picture, PixelBox(0, 0, scene.width_px, scene.height_px))
        sky = {"altaz": view.p_deg - view.parallactic_angle_deg, "equatorial": view.p_deg, "unknown": None}[mount]
        taken.append(Taken(quantise(picture, 8), time, view, sky))
        north_angles.append(scene.north_angle_deg)
    pictures = tuple(spotted(one) for one in taken)
    return Week(pictures, tuple(north_angles), instrument.mirrored, kind)


def _instrument(rng: np.random.Generator, kind: choices.KnownMount) -> Mount:
    look = Scene(
        width_px=702,
        height_px=694,
        x_px=350.0 + float(rng.uniform(-6.0, 6.0)),
        y_px=347.0 + float(rng.uniform(-4.0, 4.0)),
        radius_px=float(rng.uniform(280.0, 330.0)),
        blur_px=float(rng.uniform(0.9, 1.8)),
        noise=float(rng.uniform(0.002, 0.01)),
        peak=float(rng.uniform(0.6, 0.9)),
    )
    return Mount(
        kind=kind,
        look=look,
        camera_angle_deg=float(rng.uniform(-180.0, 180.0)),
        mirrored=bool(rng.integers(2)),
        levelling_rms_deg=LEVELLING_RMS_DEG,
        centre_rms_px=1.5,
        scale_rms=0.003,
        seed=int(rng.integers(10**6)),
    )


def _any_day(rng: np.random.Generator) -> datetime:
    return datetime(2026, 1, 10, tzinfo=UTC) + timedelta(days=int(rng.integers(340)))


def _day_without_tilt(rng: np.random.Generator) -> datetime:
    """A day near 7 June or 8 December, when B0 passes through 0."""
    node = datetime(2026, 6, 7, tzinfo=UTC) if rng.integers(2) else datetime(2026, 12, 8, tzinfo=UTC)
    return node + timedelta(days=int(rng.integers(-3, 4)))


def _times(rng: np.random.Generator, middle: datetime, *, days: int, count: int) -> list[datetime]:
    """One picture on the first day, one on the last, the others on drawn days between, at any hour of a higher Sun."""
    between = rng.choice(np.arange(1, days - 1), size=count - 2, replace=False)
    times = []
    for day in sorted({0, days - 1, *between.tolist()}):
        midnight = middle + timedelta(days=day - days // 2)
        while True:
            time = midnight + timedelta(seconds=int(rng.integers(4 * 3600, 21 * 3600)))
            if sun_view(time, **SITE).altitude_deg > LOWEST_SUN_DEG:
                break
        times.append(time)
    return times


def _groups_seen(world: World, times: Sequence[datetime]) -> list[int]:
    """How many groups show a spot of half a degree, not too near the limb, at each time."""
    seen = []
    for time, view in zip(times, sun_views(times, **SITE), strict=True):
        sightings = world.sightings(world.days_at(time), l0_deg=view.l0_deg, b0_deg=view.b0_deg)
        seen.append(len({name for name, spot in sightings if spot.radius_deg > 0.5 and abs(spot.longitude_deg) < 75.0}))
    return seen


def _with_slow_latitudes(world: World) -> World:
    """Spots drift along their parallels more than across them."""
    spots = tuple(
        replace(spot, motion_deg_per_day=(spot.motion_deg_per_day[0], LATITUDE_SHARE * spot.motion_deg_per_day[1]))
        for spot in world.spots
    )
    return replace(world, spots=spots)


def _facing_groups(rng: np.random.Generator, times: Sequence[datetime], *, groups: int) -> World:
    """A world of groups that all cross the disc's middle half during these days."""
    l0_deg = sun_view(times[len(times) // 2], **SITE).l0_deg
    plans = [
        GroupPlan(
            name=f"g{number}",
            latitude_deg=float(rng.choice([-1.0, 1.0]) * rng.uniform(4.0, 28.0)),
            longitude_deg=l0_deg + float(rng.uniform(-45.0, 45.0)),
            leader_deg=float(rng.uniform(0.4, 1.6)),
            follower_deg=float(rng.choice([0.0, 0.4, 0.9])),
            length_deg=float(rng.uniform(3.0, 10.0)),
            pores=int(rng.integers(0, 5)),
            proper_motion_deg_per_day=MOTION_DEG_PER_DAY,
            seed=int(rng.integers(10**6)),
        )
        for number in range(groups)
    ]
    return _with_slow_latitudes(world_of(plans, epoch_utc=times[0]))


def _lone_spot(rng: np.random.Generator, times: Sequence[datetime]) -> World:
    """One small round spot that passes close to the disc's centre."""
    l0_deg = sun_view(times[len(times) // 2], **SITE).l0_deg
    plan = GroupPlan(
        name="lone",
        latitude_deg=float(rng.uniform(-5.0, 5.0)),
        longitude_deg=l0_deg + float(rng.uniform(-10.0, 10.0)),
        leader_deg=float(rng.uniform(0.4, 0.7)),
        follower_deg=0.0,
        length_deg=0.0,
        pores=0,
        proper_motion_deg_per_day=MOTION_DEG_PER_DAY,
        seed=int(rng.integers(10**6)),
    )
    return _with_slow_latitudes(world_of([plan], epoch_utc=times[0]))


def _turned(picture: SpottedPicture, turn_deg: float) -> SpottedPicture:
    """The picture as displayed turned counter-clockwise, and nothing known of its mount."""
    turn = np.radians(turn_deg)
    right = picture.right * np.cos(turn) - picture.up * np.sin(turn)
    up = picture.right * np.sin(turn) + picture.up * np.cos(turn)
    return replace(picture, right=right, up=up, sky_deg=None)


def wrapped_deg(angle_deg: float) -> float:
    """An angle in (-180, 180]."""
    return 180.0 - (180.0 - angle_deg) % 360.0
