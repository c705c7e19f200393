"""All pictures of an instrument solved together from their spots, week by week, and what the instrument teaches."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Collection, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np

from archive.answers import NO_ANSWERS, Answers
from archive.observation import SunView
from archive.orientation.angles import difference_deg, wrapped_deg
from archive.orientation.clock_check import better_hours
from archive.orientation.free_turning import KnownPicture, fits_neighbours, free_reading
from archive.orientation.instrument import Block, CameraAngle, Epoch, blocks_of, epoch_at, learn_epochs
from archive.orientation.spots import SpotReading, SpottedPicture, solve_spots
from archive.records.folder import answers_file
from archive.records.measured import Measured
from archive.records.record import Record
from archive.records.settings import InstrumentSettings
from archive.records.solved import kept_answer, kept_or_made, read_learned

__all__ = ["Candidate", "Solved", "Taught", "days_since_1970", "solve_instruments", "time_of_days"]

_VERSION = 7  # raise it when the solution changes its results
_AGREEMENT_SIGMAS = 3.0
_LEANING_ODDS = 3.0  # with the instrument's own history on its side, a reading needs less
_TIME_CHECK_DAYS = 8.0
_TIME_CHECK_NEIGHBOURS = 2
# By the mount's own scatter pictures differ from it by less, and spots that tell north are surer.
_DOUBTFUL_OFF_DEG, _DOUBTFUL_SIGMA_DEG = 4.0, 2.0
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


@dataclass(frozen=True)
class Candidate:
    """A picture that may be solved."""

    id: str
    record: Record
    instrument: InstrumentSettings
    measured: Measured
    sun: SunView
    up: bool


@dataclass(frozen=True)
class Taught:
    """What its spots and its instrument's history say of one picture."""

    reading: SpotReading | None = None
    epoch: Epoch | None = None
    time_remark: str | None = None


@dataclass(frozen=True)
class Solved:
    """What is taught of each picture by id, of each instrument by name, and the names of the answers kept."""

    taught: Mapping[str, Taught]
    epochs: Mapping[str, tuple[Epoch, ...]]
    kept: tuple[str, ...] = ()


@dataclass
class _Work:
    """Readings by id, and the answers used, as they come; `asked` as in `solve_instruments`."""

    root: Path
    asked: frozenset[str] | None
    readings: dict[str, SpotReading] = field(default_factory=dict)
    time_remarks: dict[str, str] = field(default_factory=dict)
    turned_freely: set[str] = field(default_factory=set)
    free: Answers = NO_ANSWERS
    kept: list[str] = field(default_factory=list)


def days_since_1970(moment: datetime) -> float:
    """Days since 1970-01-01T00:00 UTC."""
    return (moment - _EPOCH).total_seconds() / 86400.0


def time_of_days(days: float) -> datetime:
    """The inverse of `days_since_1970`, to the second."""
    return _EPOCH + timedelta(seconds=round(days * 86400.0))


def solve_instruments(root: Path, candidates: Sequence[Candidate], *, asked: Collection[str] | None = None) -> Solved:
    """Solve every instrument's pictures; answers that nothing has changed for are read, not made.

    Parameters
    ----------
    root : Path
        The archive's folder, for kept answers.
    candidates : sequence of Candidate
        In order of time. Night pictures and other bands than white light are passed over.
    asked : collection of str, optional
        Ids of pictures: only what these bear on is solved where no answer is kept. Else everything is.
    """
    free = Answers(answers_file(root, "free"))
    work = _Work(root, None if asked is None else frozenset(asked), free=free)
    epochs: dict[str, tuple[Epoch, ...]] = {}
    # Where all pictures are at hand they alone teach: what pictures taught that are gone must not stay.
    remembered = {} if asked is None else read_learned(root)
    for name in sorted({one.instrument.name for one in candidates}):
        mine = [one for one in candidates if one.instrument.name == name]
        epochs[name] = _solve_one(work, mine) or tuple(Epoch(**kept) for kept in remembered.get(name, []))
    taught = {
        one.id: Taught(
            work.readings.get(one.id),
            epoch_at(epochs[one.instrument.name], days_since_1970(one.record.time)),
            work.time_remarks.get(one.id),
        )
        for one in candidates
    }
    if asked is None:
        free.keep()
    return Solved(taught, epochs, tuple(work.kept))


def _solve_one(work: _Work, pictures: Sequence[Candidate]) -> tuple[Epoch, ...]:
    """Two rounds: by the spots alone, and for what stays open with the mirroring that the first round taught."""
    usable = [one for one in pictures if one.up and _band(one) == "white"]
    for stated in (None, False, True):
        # A picture whose mirroring is stated by itself, as after a flip in software, is solved with its like.
        _solve_set(work, [one for one in usable if _own_mirrored(one) is stated], mirrored=stated)
        _check_times(work, [one for one in usable if _own_mirrored(one) is stated])
    epochs = _learn(work, usable)
    if _turn_doubtful(work, usable, epochs):
        epochs = _learn(work, usable)
    if not epochs:
        return epochs
    leaned = [_lean(work, one, epochs) for one in usable]
    return _learn(work, usable) if any(leaned) else epochs


def _solve_set(work: _Work, pictures: Sequence[Candidate], *, mirrored: bool | None) -> None:
    if len(pictures) < 2:
        return
    for block in blocks_of([days_since_1970(one.record.time) for one in pictures]):
        hand = mirrored
        if hand is None and pictures[0].instrument.mirrored != "unknown":
            hand = pictures[0].instrument.mirrored == "yes"
        work.readings.update(_solve_block(work, pictures, block, mirrored=hand))


def _check_times(work: _Work, pictures: Sequence[Candidate]) -> None:
    """Pictures whose spots meet no neighbour's: would they at another hour?"""
    days = [days_since_1970(one.record.time) for one in pictures]
    for one, day in zip(pictures, days, strict=True):
        reading = work.readings.get(one.id)
        if (reading is not None and reading.believed) or len(one.measured.spots.right) < 2:
            continue
        if work.asked is not None and one.id not in work.asked:
            continue
        around = slice(bisect_left(days, day - _TIME_CHECK_DAYS), bisect_right(days, day + _TIME_CHECK_DAYS))
        near = [
            (other, other_reading)
            for other in pictures[around]
            if (other_reading := work.readings.get(other.id)) is not None and other_reading.believed
        ]
        if len(near) < _TIME_CHECK_NEIGHBOURS:
            continue
        spotted = _spotted(one)
        known = [(_spotted(other), other_reading.north_angle_deg) for other, other_reading in near]
        near_keys = [
            [other.record.picture.sha256, _key(spotted_other), angle_deg]
            for (other, _), (spotted_other, angle_deg) in zip(near, known, strict=True)
        ]
        mirrored = near[0][1].mirrored

        def make(spotted: SpottedPicture = spotted, known: Any = known, mirrored: bool = mirrored) -> list[Any]:
            return [better_hours(spotted, known, mirrored=mirrored)]

        inputs = ["time", _VERSION, mirrored, one.record.picture.sha256, _key(spotted), near_keys]
        name, (hours,) = kept_or_made(work.root, inputs, make)
        work.kept.append(name)
        if hours is not None:
            side = "earlier" if hours < 0 else "later"
            work.time_remarks[one.id] = f"its spots fit better about {abs(hours)} hours {side}; is the time right?"


def _turn_doubtful(work: _Work, pictures: Sequence[Candidate], epochs: Sequence[Epoch]) -> bool:
    """Pictures whose spots do not bear out the mount, turned among their neighbours; whether any reading was taken.

    A wrong hour turns the sky's geometry by several degrees, and no mirroring stated for an instrument holds for a
    picture that was flipped in software: the mount then says a wrong north, and is sure of it.
    """
    days = [days_since_1970(one.record.time) for one in pictures]
    known = [_known(work, one) for one in pictures]
    turned = False
    for one, day in zip(pictures, days, strict=True):
        expected_deg = _expected_deg(one, day, epochs)
        if expected_deg is None or len(one.measured.spots.right) < 2:
            continue
        around = slice(bisect_left(days, day - _TIME_CHECK_DAYS), bisect_right(days, day + _TIME_CHECK_DAYS))
        near = [other for other in known[around] if other is not None and other[0] is not one]
        reading = _freely(work, one, expected_deg, near)
        if reading is not None and _speaks_against(work, one, reading, expected_deg, epoch_at(epochs, day)):
            turned = True
    return turned


def _known(work: _Work, one: Candidate) -> tuple[Candidate, KnownPicture] | None:
    reading = work.readings.get(one.id)
    if reading is None or not reading.believed:
        return None
    return one, KnownPicture(_spotted(one), reading.north_angle_deg, reading.mirrored)


def _expected_deg(one: Candidate, day: float, epochs: Sequence[Epoch]) -> float | None:
    """North by the mount, with the camera angle that was learned, else as stated."""
    epoch, sky_deg = epoch_at(epochs, day), _sky_deg(one)
    camera_angle_deg = one.instrument.camera_angle_deg if epoch is None else epoch.angle_deg
    return None if sky_deg is None or camera_angle_deg is None else wrapped_deg(sky_deg + camera_angle_deg)


def _doubtful(work: _Work, one: Candidate, expected_deg: float) -> bool:
    reading = work.readings.get(one.id)
    if reading is None or not reading.believed or reading.sigma_deg > _DOUBTFUL_SIGMA_DEG:
        return True
    return abs(difference_deg(reading.north_angle_deg, expected_deg)) > _DOUBTFUL_OFF_DEG


def _freely(
    work: _Work, one: Candidate, expected_deg: float, near: Sequence[tuple[Candidate, KnownPicture]]
) -> SpotReading | None:
    """The picture's reading among its neighbours; None too where its own reading fits them."""
    spotted, reading = _spotted(one), work.readings.get(one.id)
    said = None if reading is None or _doubtful(work, one, expected_deg) else reading
    keys = [
        (other.record.picture.sha256, _key(known.picture), known.north_angle_deg, known.mirrored)
        for other, known in near
    ]
    inputs = [_VERSION, one.record.picture.sha256, _key(spotted), said, keys]

    def make() -> SpotReading | None:
        known = [neighbour for _, neighbour in near]
        if said is not None and fits_neighbours(KnownPicture(spotted, said.north_angle_deg, said.mirrored), known):
            return None
        return free_reading(spotted, known)

    if work.asked is None or one.id in work.asked:
        return work.free.of(inputs, SpotReading | None, make)
    kept: list[SpotReading | None] | None = work.free.get(inputs, list[SpotReading | None])
    return kept[0] if kept else None


def _speaks_against(
    work: _Work, one: Candidate, reading: SpotReading, expected_deg: float, epoch: Epoch | None
) -> bool:
    """Take a reading that differs from what the mount says, and tell; a mirroring stated for the picture stands."""
    stated = one.record.stated_mirrored
    learned = None if epoch is None else epoch.mirrored
    by_instrument = learned if one.instrument.mirrored == "unknown" else one.instrument.mirrored == "yes"
    mirrored = by_instrument if stated is None else stated
    off_deg = difference_deg(reading.north_angle_deg, expected_deg)
    if mirrored is not None and reading.mirrored != mirrored:
        how = "only as a mirror image" if reading.mirrored else "only where it is not mirrored"
        remark = f"its spots fit those of other days {how}; is mirrored right for this picture?"
    elif abs(off_deg) > _DOUBTFUL_OFF_DEG:
        remark = (
            f"its spots put north {abs(off_deg):.0f} deg from where the mount does; is the time right, its zone too, "
            "and was the camera as on other days?"
        )
    else:
        return False
    work.time_remarks.setdefault(one.id, remark)
    if stated is not None and reading.mirrored != stated:
        return False
    work.readings[one.id] = reading
    work.turned_freely.add(one.id)
    return True


def _solve_block(
    work: _Work, pictures: Sequence[Candidate], block: Block, *, mirrored: bool | None
) -> dict[str, SpotReading]:
    members = [pictures[index] for index in sorted({*block.own, *block.context})]
    own = {pictures[index].id for index in block.own}
    spotted = [_spotted(one) for one in members]

    def make() -> list[Any]:
        readings = solve_spots(spotted, mirrored=mirrored)
        return [None if reading is None else asdict(reading) for reading in readings]

    inputs = [
        _VERSION,
        mirrored,
        [[one.id, one.record.picture.sha256, _key(spot)] for one, spot in zip(members, spotted, strict=True)],
    ]
    answer: list[Any] | None
    if work.asked is None or any(one.id in work.asked for one in members):
        name, answer = kept_or_made(work.root, inputs, make)
    else:
        name, answer = kept_answer(work.root, inputs)
    work.kept.append(name)
    if answer is None:
        return {}
    return {
        one.id: SpotReading(**reading)
        for one, reading in zip(members, answer, strict=True)
        if reading is not None and one.id in own
    }


def _key(spot: SpottedPicture) -> list[Any]:
    return [round(spot.time_days, 6), spot.sky_deg, spot.b0_deg, spot.l0_deg, len(spot.right)]


def _spotted(one: Candidate) -> SpottedPicture:
    spots, disc = one.measured.spots, one.measured.disc
    return SpottedPicture(
        time_days=days_since_1970(one.record.time),
        b0_deg=one.sun.b0_deg,
        l0_deg=one.sun.l0_deg,
        right=np.asarray(spots.right, dtype=np.float64),
        up=np.asarray(spots.up, dtype=np.float64),
        area_msh=np.asarray(spots.area_msh, dtype=np.float64),
        sky_deg=_sky_deg(one),
        centre_px=(disc.x_px, disc.y_px),
        radius_px=disc.radius_px,
    )


def _sky_deg(one: Candidate) -> float | None:
    """North without the camera angle, where the mount is known."""
    if one.instrument.mount == "unknown":
        return None
    if one.instrument.mount == "equatorial":
        return one.sun.p_deg
    return wrapped_deg(one.sun.p_deg - one.sun.parallactic_angle_deg)


def _band(one: Candidate) -> str:
    return one.record.band or one.instrument.band


def _own_mirrored(one: Candidate) -> bool | None:
    """Mirroring that the record states against, or without, the instrument's."""
    stated = one.record.stated_mirrored
    known = None if one.instrument.mirrored == "unknown" else one.instrument.mirrored == "yes"
    return None if stated == known else stated


def _learn(work: _Work, pictures: Sequence[Candidate]) -> tuple[Epoch, ...]:
    """Camera angles of the pictures that their spots have solved, by epochs; none without a known mount."""
    angles = []
    for one in pictures:
        reading, sky_deg = work.readings.get(one.id), _sky_deg(one)
        taught = reading is not None and reading.believed and one.id not in work.turned_freely
        if taught and reading is not None and sky_deg is not None and _own_mirrored(one) is None:
            angle_deg = wrapped_deg(reading.north_angle_deg - sky_deg)
            angles.append(CameraAngle(days_since_1970(one.record.time), angle_deg, reading.sigma_deg, reading.mirrored))
    return learn_epochs(angles)


def _lean(work: _Work, one: Candidate, epochs: Sequence[Epoch]) -> bool:
    """Believe a reading that stood open where the instrument's history decides between it and its rival."""
    reading, epoch = work.readings.get(one.id), epoch_at(epochs, days_since_1970(one.record.time))
    sky_deg = _sky_deg(one)
    if reading is None or reading.believed or epoch is None or sky_deg is None:
        return False
    if reading.odds < _LEANING_ODDS or reading.mirrored != epoch.mirrored:
        return False
    off_deg = abs(difference_deg(wrapped_deg(reading.north_angle_deg - sky_deg), epoch.angle_deg))
    agrees = off_deg <= _AGREEMENT_SIGMAS * float(np.hypot(reading.sigma_deg, epoch.scatter_deg))
    if agrees:
        work.readings[one.id] = SpotReading(
            reading.north_angle_deg, reading.sigma_deg, reading.mirrored, max(reading.odds, 1e3)
        )
    return agrees
