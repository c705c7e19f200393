"""All pictures of an instrument solved together from their spots, week by week, and what the instrument teaches."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from archive.answers import NO_ANSWERS, Answers
from archive.model.angles import difference_deg, wrapped_deg
from archive.model.times import days_since_1970
from archive.orientation.clock_check import clock_error_hours
from archive.orientation.instrument import Block, CameraAngle, Epoch, epoch_at, learn_epochs, split_into_blocks
from archive.orientation.spots import SpotSolution, SpottedPicture, solve_spots
from archive.records.archive_files import derived_files
from archive.records.solved import kept_answer, kept_or_made, read_learned
from archive.stages.candidates import Candidate, band_of, own_mirrored, sky_deg_of, spots_key, spots_of, within_reach
from archive.stages.free_turning import freely_turned

__all__ = ["Solved", "Taught", "solve_instruments"]

_VERSION = 7  # raise it when the solution changes its results
_AGREEMENT_SIGMAS = 3.0
_LEANING_ODDS = 3.0  # with the instrument's own history on its side, a reading needs less
_TIME_CHECK_NEIGHBOURS = 2


@dataclass(frozen=True)
class Taught:
    """What its spots and its instrument's history say of one picture, and what they give to ask about it."""

    reading: SpotSolution | None = None
    epoch: Epoch | None = None
    remark: str | None = None


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
    readings: dict[str, SpotSolution] = field(default_factory=dict)
    remarks: dict[str, str] = field(default_factory=dict)
    turned_freely: set[str] = field(default_factory=set)
    free: Answers = NO_ANSWERS
    kept: list[str] = field(default_factory=list)


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
    free = Answers(derived_files(root), "answers/free")
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
            work.remarks.get(one.id),
        )
        for one in candidates
    }
    if asked is None:
        free.keep()
    return Solved(taught, epochs, tuple(work.kept))


def _solve_one(work: _Work, pictures: Sequence[Candidate]) -> tuple[Epoch, ...]:
    """Two rounds: by the spots alone, and for what stays open with the mirroring that the first round taught."""
    usable = [one for one in pictures if one.up and band_of(one) == "white"]
    for stated in (None, False, True):
        # A picture whose mirroring is stated by itself, as after a flip in software, is solved with its like.
        _solve_set(work, [one for one in usable if own_mirrored(one) is stated], mirrored=stated)
        _check_times(work, [one for one in usable if own_mirrored(one) is stated])
    epochs = _learn(work, usable)
    odd = freely_turned(usable, work.readings, epochs, answers=work.free, asked=work.asked)
    for one in odd:
        work.remarks.setdefault(one.id, one.remark)
    taken = {one.id: one.reading for one in odd if one.reading is not None}
    if taken:
        work.readings |= taken
        work.turned_freely |= taken.keys()
        epochs = _learn(work, usable)
    if not epochs:
        return epochs
    leaned = [_lean(work, one, epochs) for one in usable]
    return _learn(work, usable) if any(leaned) else epochs


def _solve_set(work: _Work, pictures: Sequence[Candidate], *, mirrored: bool | None) -> None:
    if len(pictures) < 2:
        return
    for block in split_into_blocks([days_since_1970(one.record.time) for one in pictures]):
        hand = pictures[0].instrument.stated_mirrored if mirrored is None else mirrored
        work.readings.update(_solve_block(work, pictures, block, mirrored=hand))


def _check_times(work: _Work, pictures: Sequence[Candidate]) -> None:
    """Pictures whose spots meet no neighbour's: would they at another hour?"""
    days = [days_since_1970(one.record.time) for one in pictures]
    for one, day in zip(pictures, days, strict=True):
        reading = work.readings.get(one.id)
        if (reading is not None and reading.is_reliable) or len(one.measured.spots.right) < 2:
            continue
        if work.asked is not None and one.id not in work.asked:
            continue
        near = [
            (other, other_reading)
            for other in pictures[within_reach(days, day)]
            if (other_reading := work.readings.get(other.id)) is not None and other_reading.is_reliable
        ]
        if len(near) < _TIME_CHECK_NEIGHBOURS:
            continue
        spotted = spots_of(one)
        known = [(spots_of(other), other_reading.north_angle_deg) for other, other_reading in near]
        near_keys = [
            [other.record.picture.sha256, spots_key(spotted_other), angle_deg]
            for (other, _), (spotted_other, angle_deg) in zip(near, known, strict=True)
        ]
        mirrored = near[0][1].mirrored

        def make(spotted: SpottedPicture = spotted, known: Any = known, mirrored: bool = mirrored) -> list[Any]:
            return [clock_error_hours(spotted, known, mirrored=mirrored)]

        inputs = ["time", _VERSION, mirrored, one.record.picture.sha256, spots_key(spotted), near_keys]
        name, (hours,) = kept_or_made(work.root, inputs, make)
        work.kept.append(name)
        if hours is not None:
            side = "earlier" if hours < 0 else "later"
            work.remarks[one.id] = f"its spots fit better about {abs(hours)} hours {side}; is the time right?"


def _solve_block(
    work: _Work, pictures: Sequence[Candidate], block: Block, *, mirrored: bool | None
) -> dict[str, SpotSolution]:
    members = [pictures[index] for index in sorted({*block.own, *block.context})]
    own = {pictures[index].id for index in block.own}
    spotted = [spots_of(one) for one in members]

    def make() -> list[Any]:
        readings = solve_spots(spotted, mirrored=mirrored)
        return [None if reading is None else asdict(reading) for reading in readings]

    inputs = [
        _VERSION,
        mirrored,
        [[one.id, one.record.picture.sha256, spots_key(spot)] for one, spot in zip(members, spotted, strict=True)],
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
        one.id: SpotSolution(**reading)
        for one, reading in zip(members, answer, strict=True)
        if reading is not None and one.id in own
    }


def _learn(work: _Work, pictures: Sequence[Candidate]) -> tuple[Epoch, ...]:
    """Camera angles of the pictures that their spots have solved, by epochs; none without a known mount."""
    angles = []
    for one in pictures:
        reading, sky_deg = work.readings.get(one.id), sky_deg_of(one)
        if one.id in work.turned_freely:  # against the mount: its time or its camera is not as on other days
            continue
        if reading is not None and reading.is_reliable and sky_deg is not None and own_mirrored(one) is None:
            angle_deg = wrapped_deg(reading.north_angle_deg - sky_deg)
            angles.append(CameraAngle(days_since_1970(one.record.time), angle_deg, reading.sigma_deg, reading.mirrored))
    return learn_epochs(angles)


def _lean(work: _Work, one: Candidate, epochs: Sequence[Epoch]) -> bool:
    """Believe a reading that stood open where the instrument's history decides between it and its rival."""
    reading, epoch = work.readings.get(one.id), epoch_at(epochs, days_since_1970(one.record.time))
    sky_deg = sky_deg_of(one)
    if reading is None or reading.is_reliable or epoch is None or sky_deg is None:
        return False
    if reading.odds < _LEANING_ODDS or reading.mirrored != epoch.mirrored:
        return False
    off_deg = abs(difference_deg(wrapped_deg(reading.north_angle_deg - sky_deg), epoch.angle_deg))
    agrees = off_deg <= _AGREEMENT_SIGMAS * float(np.hypot(reading.sigma_deg, epoch.scatter_deg))
    if agrees:
        work.readings[one.id] = SpotSolution(
            reading.north_angle_deg, reading.sigma_deg, reading.mirrored, max(reading.odds, 1e3)
        )
    return agrees
