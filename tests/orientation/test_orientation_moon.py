"""North, mirroring and the clock by the Moon; where it stands comes from DE421, not from the program's own ephemeris.

Annular eclipse of 2023 October 14 at Corpus Christi, Texas.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from scenes.eclipses import CORPUS_CHRISTI, Camera, Sky, sky_at

from archive.model.angles import difference_deg, wrapped_deg
from archive.model.measured import Crescent, LimbArc
from archive.model.observatory import Site
from archive.model.times import days_since_1970
from archive.orientation.combination import combine_evidence
from archive.orientation.moon import (
    EclipsePicture,
    MoonTrack,
    carried_evidence,
    clock_error_minutes,
    clock_remark,
    moon_evidence,
    series_mirrored,
)
from archive.sun.moon import moon_at
from archive.sun.view import sun_view

START = datetime(2023, 10, 14, 15, 45, tzinfo=UTC)
SITE = Site("Corpus Christi", *CORPUS_CHRISTI)
SUN = {"latitude_deg": CORPUS_CHRISTI[0], "longitude_deg": CORPUS_CHRISTI[1]}
PX_SIGMA = 0.05


@pytest.fixture(scope="module")
def track() -> MoonTrack:
    moments = [START + timedelta(minutes=5 * step) for step in range(-60, 90)]
    return MoonTrack(np.array([days_since_1970(one) for one in moments]), *moon_at(moments, SITE).offset_arcsec, 1.7)


def crescent(sky: Sky, camera: Camera, rng: np.random.Generator) -> Crescent:
    """Return what would be fitted in a picture of that sky."""
    turn = np.radians(sky.position_angle_deg + camera.angle_deg - sky.parallactic_deg)
    apart_px = sky.separation_arcsec / camera.arcsec_per_px
    right_px, up_px = -apart_px * np.sin(turn), apart_px * np.cos(turn)
    right_px = -right_px if camera.mirrored else right_px
    x, y = rng.normal(0.0, PX_SIGMA, 2)
    sun = LimbArc(160.0, 160.0, sky.sun_arcsec / camera.arcsec_per_px, 0.05, PX_SIGMA, (0.0, 0.0), 0.7)
    moon = LimbArc(
        160.0 + right_px + x, 160.0 - up_px + y, sky.moon_arcsec / camera.arcsec_per_px, 0.05, PX_SIGMA, (0.0, 0.0), 0.3
    )
    return Crescent(sun, moon, 1.2, 0.1, 0.01, 0.5, False)


def series(
    track: MoonTrack, *, mirrored: bool, clock_minutes: float = 0.0, turned_deg: float = 0.0, pictures: int = 9
) -> tuple[list[EclipsePicture], list[float]]:
    """Return pictures whose clock goes wrong by so much, the camera turned by hand half-way, and their true north."""
    rng = np.random.default_rng(14)
    seen, truth = [], []
    for number in range(pictures):
        moment = START + timedelta(minutes=15 * number)
        sky, sun = sky_at(moment), sun_view(moment, **SUN)
        camera = Camera(12.0 + (turned_deg if 2 * number > pictures else 0.0), mirrored, 4.0)
        told = moment + timedelta(minutes=clock_minutes)
        seen.append(EclipsePicture(days_since_1970(told), crescent(sky, camera, rng), sun_view(told, **SUN), track))
        truth.append(wrapped_deg(camera.angle_deg - sky.parallactic_deg + sun.p_deg))
    return seen, truth


def errors(seen: Sequence[EclipsePicture], truth: Sequence[float], *, mirrored: bool) -> list[float]:
    """Return how many of its own errors each evidence is off."""
    found = [moon_evidence(one, mirrored=mirrored) for one in seen]
    assert sum(one is not None for one in found) >= len(seen) - 2
    return [
        difference_deg(one.north_angle_deg, north_deg) / one.sigma_deg
        for one, north_deg in zip(found, truth, strict=True)
        if one is not None
    ]


@pytest.mark.parametrize("mirrored", [False, True])
@pytest.mark.parametrize("mount", ["altaz", "unknown"])
def test_a_series_gives_north_and_its_mirroring(track: MoonTrack, mirrored: bool, mount: str) -> None:
    seen, truth = series(track, mirrored=mirrored, turned_deg=-43.0)
    told = series_mirrored(seen, mount=mount)  # type: ignore[arg-type]
    assert told is not None
    assert told.mirrored is mirrored
    assert np.abs(errors(seen, truth, mirrored=mirrored)).max() < 3.0
    evidence = moon_evidence(seen[0], mirrored=mirrored)
    assert evidence is not None
    assert evidence.kind == "moon"
    assert evidence.sigma_deg < 0.5
    assert combine_evidence([evidence]).status == "solved"


def test_a_picture_near_the_greatest_phase_takes_the_cameras_angle_from_those_about_it(track: MoonTrack) -> None:
    seen, truth = series(track, mirrored=False)
    known = [
        (one.time_days, one.sun, evidence)
        for one in (*seen[:4], *seen[6:])
        if (evidence := moon_evidence(one, mirrored=False)) is not None
    ]
    carried = carried_evidence(seen[4].time_days, seen[4].sun, known, altaz=True)
    assert carried is not None
    assert abs(difference_deg(carried.north_angle_deg, truth[4])) < carried.sigma_deg < 3.0
    assert carried_evidence(seen[0].time_days - 0.1, seen[0].sun, known, altaz=True) is None


def test_no_angle_is_carried_over_a_turn_of_the_camera(track: MoonTrack) -> None:
    seen, _ = series(track, mirrored=False, turned_deg=20.0)
    known = [
        (one.time_days, one.sun, evidence)
        for one in (*seen[:4], *seen[6:])
        if (evidence := moon_evidence(one, mirrored=False)) is not None
    ]
    assert carried_evidence(seen[4].time_days, seen[4].sun, known, altaz=True) is None


def test_one_picture_does_not_tell_the_mirroring(track: MoonTrack) -> None:
    seen, _ = series(track, mirrored=False, pictures=1)
    assert series_mirrored(seen, mount="altaz") is None


@pytest.mark.parametrize("clock_minutes", [-7.0, 4.0, 31.0])
def test_a_wrong_clock_is_told_with_how_much(track: MoonTrack, clock_minutes: float) -> None:
    seen, truth = series(track, mirrored=False, clock_minutes=clock_minutes)
    clock = clock_error_minutes(seen)
    assert clock is not None
    assert clock[0] == pytest.approx(-clock_minutes, abs=0.3)
    remark = clock_remark(clock)
    assert remark is not None
    assert ("earlier" if clock_minutes > 0 else "later") in remark
    off_deg = [
        difference_deg(evidence.north_angle_deg, north_deg)
        for one, north_deg in zip(seen, truth, strict=True)
        if (evidence := moon_evidence(one, mirrored=False, clock_minutes=clock[0])) is not None
    ]
    # P, which is taken at the told time, moves by a tenth of a degree a day; the Moon itself is right.
    assert np.median(np.abs(off_deg)) < 0.5


def test_a_right_clock_is_not_blamed(track: MoonTrack) -> None:
    clock = clock_error_minutes(series(track, mirrored=False)[0])
    assert clock is not None
    assert abs(clock[0]) < 0.3
    assert clock_remark(clock) is None


def test_a_moon_that_is_not_where_it_should_be_is_no_evidence(track: MoonTrack) -> None:
    (one,), _ = series(track, mirrored=False, pictures=1)
    moon = one.crescent.moon
    moved = replace(
        one, crescent=replace(one.crescent, moon=replace(moon, x_px=moon.x_px + 30.0, y_px=moon.y_px + 30.0))
    )
    assert moon_evidence(one, mirrored=False) is not None
    assert moon_evidence(moved, mirrored=False) is None


def test_the_nearer_the_centres_the_larger_the_stated_error(track: MoonTrack) -> None:
    seen, _ = series(track, mirrored=False)
    by_separation = sorted(seen, key=lambda one: one.separation_arcsec)
    assert by_separation[0].sigma_deg() > 3.0 * by_separation[-1].sigma_deg()
