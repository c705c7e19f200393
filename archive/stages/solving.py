"""All pictures of an instrument solved together from their spots, week by week, and its camera angles learned."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial

import numpy as np

from archive.model.angles import difference_deg, wrapped_deg
from archive.model.observatory import CameraEpoch
from archive.model.times import days_since_1970
from archive.orientation.clock_check import clock_error_hours
from archive.orientation.instrument import CameraAngle, epoch_at, learn_epochs, split_into_blocks
from archive.orientation.mirroring import ShownMirroring, carried_mirrorings
from archive.orientation.single_picture import solution_among_neighbours
from archive.orientation.spots import SpotSolution, solve_spots
from archive.stages.candidates import Candidate, band_of, own_mirrored, sky_deg_of, within_reach
from archive.stages.eclipses import MoonReading
from archive.stages.mirroring import carried_readings
from archive.stages.mount_check import mount_contradictions
from archive.stages.mount_free import mount_free_readings
from archive.stages.solved_week import Week, solved_week
from archive.store import Store

__all__ = ["InstrumentEvidence", "Solutions", "solve_instruments"]

_AGREEMENT_SIGMAS = 3.0
_ODDS_WITH_HISTORY = 3.0  # a solution that agrees with the instrument's history needs less
_TIME_CHECK_NEIGHBOURS = 3  # spots of two other days alone may fit by chance at another hour
_SAME_HOUR_DAYS = 1.0 / 24.0


@dataclass(frozen=True)
class InstrumentEvidence:
    """The solution of a picture from its spots, its instrument's camera angle then, and a remark on it.

    `clock_hours` is by how many hours later its spots would fit those of its neighbours; `without_mount` the solution
    of a week that does not fit the mount, `moon` what the Moon tells in an eclipse.
    """

    reading: SpotSolution | None = None
    epoch: CameraEpoch | None = None
    remark: str | None = None
    clock_hours: float | None = None
    without_mount: SpotSolution | None = None
    moon: MoonReading | None = None


@dataclass(frozen=True)
class Solutions:
    """The evidence for each picture by id, and the camera angles of each instrument by name."""

    evidence: Mapping[str, InstrumentEvidence]
    epochs: Mapping[str, tuple[CameraEpoch, ...]]


@dataclass
class _Work:
    """Solutions by id so far, and the names of the blocks solved; `asked` as in `solve_instruments`."""

    store: Store
    asked: frozenset[str] | None
    readings: dict[str, SpotSolution] = field(default_factory=dict)
    remarks: dict[str, str] = field(default_factory=dict)
    clock_hours: dict[str, float] = field(default_factory=dict)
    without_mount: dict[str, SpotSolution] = field(default_factory=dict)
    off_mount: set[str] = field(default_factory=set)
    blocks: list[str] = field(default_factory=list)
    mirrorings: dict[str, tuple[ShownMirroring, ...]] = field(default_factory=dict)


def solve_instruments(
    store: Store, candidates: Sequence[Candidate], *, asked: Collection[str] | None = None
) -> Solutions:
    """Solve every instrument's pictures; solutions that nothing has changed for are read, not made.

    Parameters
    ----------
    store : Store
        Holds earlier solutions, and the camera angles of each instrument.
    candidates : sequence of Candidate
        In order of time. Night pictures and other bands than white light are passed over.
    asked : collection of str, optional
        Ids of pictures: only what these bear on is solved where no solution is kept. Else everything is.
    """
    work = _Work(store, None if asked is None else frozenset(asked))
    epochs: dict[str, tuple[CameraEpoch, ...]] = {}
    # With all pictures at hand only these count: what was learned from pictures that are gone must not stay.
    for name in sorted({one.instrument.name for one in candidates}):
        mine = [one for one in candidates if one.instrument.name == name]
        epochs[name] = _solve_one(work, mine)
        if asked is not None and not epochs[name]:
            epochs[name] = store.get(learn_epochs, name, None, tuple[CameraEpoch, ...]) or ()
    spotted_days = {name: _spotted_days(candidates, name) for name in epochs}
    evidence = {
        one.id: InstrumentEvidence(
            _telling_reading(work, one, spotted_days[one.instrument.name]),
            epoch_at(epochs[one.instrument.name], days_since_1970(one.record.time)),
            work.remarks.get(one.id),
            work.clock_hours.get(one.id),
            work.without_mount.get(one.id),
        )
        for one in candidates
    }
    if asked is None:
        _store_all(work, candidates, epochs)
    return Solutions(evidence, epochs)


def _spotted_days(candidates: Sequence[Candidate], instrument: str) -> list[float]:
    """Return the times of an instrument's pictures with spots, days since 1970, in order."""
    return [
        days_since_1970(one.record.time)
        for one in candidates
        if one.instrument.name == instrument and one.measured.spots.right
    ]


def _telling_reading(work: _Work, one: Candidate, spotted_days: Sequence[float]) -> SpotSolution | None:
    """Return a picture's reading; none that is open because all pictures near it are of the same hour.

    In an hour the Sun turns by half a degree: whatever that leaves open is no finding.
    """
    reading, day = work.readings.get(one.id), days_since_1970(one.record.time)
    if reading is None or reading.is_reliable:
        return reading
    near = spotted_days[within_reach(spotted_days, day)]
    return reading if any(abs(other - day) > _SAME_HOUR_DAYS for other in near) else None


def _store_all(work: _Work, candidates: Sequence[Candidate], epochs: Mapping[str, tuple[CameraEpoch, ...]]) -> None:
    """Store what was learned from all pictures, and forget solutions of pictures that are gone."""
    for name, learned in epochs.items():
        work.store.put(learn_epochs, name, None, learned)
    work.store.forget(learn_epochs, keep=epochs)
    for name, shown in work.mirrorings.items():
        work.store.put(carried_mirrorings, name, None, shown)
    work.store.forget(carried_mirrorings, keep=work.mirrorings)
    work.store.forget(solve_spots, keep=work.blocks)
    for of_one in (clock_error_hours, solution_among_neighbours):
        work.store.forget(of_one, keep=[one.id for one in candidates])


def _solve_one(work: _Work, pictures: Sequence[Candidate]) -> tuple[CameraEpoch, ...]:
    """Solve one instrument: by the spots alone, then with the mirroring and camera angle learned from that."""
    usable = [one for one in pictures if one.up and band_of(one) == "white"]
    for stated in (None, False, True):
        # A picture whose mirroring is stated by itself, as after a flip in software, is solved with its like.
        _solve_set(work, [one for one in usable if own_mirrored(one) is stated], mirrored=stated)
        _check_times(work, [one for one in usable if own_mirrored(one) is stated])
    if pictures[0].instrument.mount == "altaz":
        alike = [one for one in usable if own_mirrored(one) is None]
        work.without_mount |= mount_free_readings(
            alike, work.readings, store=work.store, asked=work.asked, names=work.blocks
        )
    epochs = _learn(work, usable)
    contradictions = mount_contradictions(usable, work.readings, epochs, store=work.store, asked=work.asked)
    for one in contradictions:
        work.remarks.setdefault(one.id, one.remark)
    taken = {one.id: one.reading for one in contradictions if one.reading is not None}
    if taken:
        work.readings |= taken
        work.off_mount |= taken.keys()
        epochs = _learn(work, usable)
    if not epochs:
        return epochs
    decided = [_decide_by_history(work, one, epochs) for one in usable]
    return _learn(work, usable) if any(decided) else epochs


def _solve_set(work: _Work, pictures: Sequence[Candidate], *, mirrored: bool | None) -> None:
    if len(pictures) < 2:
        return
    instrument = pictures[0].instrument
    hand = instrument.stated_mirrored if mirrored is None else mirrored
    solved = []
    for block in split_into_blocks([days_since_1970(one.record.time) for one in pictures]):
        week = Week(pictures, block, f"{instrument.name}/{mirrored}/{block.name}")
        found = solved_week(week, mirrored=hand, store=work.store, asked=work.asked)
        work.blocks.append(week.name)
        work.readings.update(found)
        solved.append((week, found))
    if hand is None and instrument.mount == "unknown":
        carried = carried_readings(solved, instrument.name, store=work.store, asked=work.asked)
        work.blocks += carried.names
        work.readings |= carried.readings
        work.remarks |= carried.remarks
        work.mirrorings[instrument.name] = carried.shown


def _check_times(work: _Work, pictures: Sequence[Candidate]) -> None:
    """Check whether spots that match no neighbour's would at another hour."""
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
        known = [(other.spotted, other_reading.north_angle_deg) for other, other_reading in near]
        mirrored = near[0][1].mirrored
        hours = work.store.derive(
            clock_error_hours,
            one.id,
            [one.spots_digest, [(other.spots_digest, read.north_angle_deg) for other, read in near], mirrored],
            int | None,
            partial(clock_error_hours, one.spotted, known, mirrored=mirrored),
        )
        if hours is not None:
            side = "earlier" if hours < 0 else "later"
            work.clock_hours[one.id] = float(hours)
            work.remarks[one.id] = f"its spots fit better about {abs(hours)} hours {side}; is the time right?"


def _learn(work: _Work, pictures: Sequence[Candidate]) -> tuple[CameraEpoch, ...]:
    """Return the camera angles of solved pictures, by epochs; none without a known mount."""
    angles = []
    for one in pictures:
        reading, sky_deg = work.readings.get(one.id), sky_deg_of(one)
        if one.id in work.off_mount:  # contradicts the mount: its time or its camera differs from other days
            continue
        if reading is not None and reading.is_reliable and sky_deg is not None and own_mirrored(one) is None:
            angle_deg = wrapped_deg(reading.north_angle_deg - sky_deg)
            angles.append(CameraAngle(days_since_1970(one.record.time), angle_deg, reading.sigma_deg, reading.mirrored))
    return learn_epochs(angles)


def _decide_by_history(work: _Work, one: Candidate, epochs: Sequence[CameraEpoch]) -> bool:
    """Accept an ambiguous solution where the instrument's history decides between it and its alternative."""
    reading, epoch = work.readings.get(one.id), epoch_at(epochs, days_since_1970(one.record.time))
    sky_deg = sky_deg_of(one)
    if reading is None or reading.is_reliable or epoch is None or sky_deg is None:
        return False
    if reading.odds < _ODDS_WITH_HISTORY or reading.mirrored != epoch.mirrored:
        return False
    off_deg = abs(difference_deg(wrapped_deg(reading.north_angle_deg - sky_deg), epoch.angle_deg))
    agrees = off_deg <= _AGREEMENT_SIGMAS * float(np.hypot(reading.sigma_deg, epoch.scatter_deg))
    if agrees:
        work.readings[one.id] = SpotSolution(
            reading.north_angle_deg, reading.sigma_deg, reading.mirrored, max(reading.odds, 1e3)
        )
    return agrees
