"""North of pictures in other bands, from the spots that they share with white-light pictures of the same days.

Spots are dark in hydrogen alpha and calcium as well. What else is dark there, such as filaments, has no counterpart in
white light, so it makes a picture harder to tell and not wrong: of 280 drawn pictures with up to twelve such features
among one to three white-light pictures of another Sun none came near to being told.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Container, Sequence
from dataclasses import dataclass, replace

from archive.model.times import days_since_1970
from archive.orientation.single_picture import SolvedPicture, solve_single_picture
from archive.orientation.spots import SpotSolution
from archive.stages.candidates import Candidate, band_of
from archive.stages.evidence import orientation_of
from archive.stages.solving import InstrumentEvidence, Solutions
from archive.store import Store

__all__ = ["with_other_bands"]

_REACH_DAYS = 1.5  # the same day, that before and that after
_MAX_SIGMA_DEG = 2.0  # of the north of a white-light picture that others are compared with


@dataclass(frozen=True)
class _White:
    digest: bytes
    solved: SolvedPicture


def with_other_bands(
    store: Store, candidates: Sequence[Candidate], solutions: Solutions, *, asked: Container[str] | None
) -> Solutions:
    """Return the solutions with those of pictures in other bands.

    Parameters
    ----------
    store : Store
        Holds what was found before.
    candidates : sequence of Candidate
        In order of time, of all instruments.
    solutions : Solutions
        Of the white-light pictures.
    asked : container of str, optional
        Ids of pictures: others are compared only where a solution is stored.
    """
    others = [one for one in candidates if one.up and band_of(one) != "white" and len(one.measured.spots.right) >= 2]
    days = [days_since_1970(one.record.time) for one in candidates]
    near = {one.id: _near(one, candidates, days) for one in others}
    needed = {white.id: white for whites in near.values() for white in whites}
    known = {id_: _oriented(one, solutions.evidence[id_]) for id_, one in needed.items()}
    evidence = dict(solutions.evidence)
    for one in others:
        whites = [white for at in near[one.id] if (white := known[at.id]) is not None]
        reading = _reading(store, one, whites, asked=asked)
        if reading is not None:
            evidence[one.id] = _with_reading(one, evidence[one.id], reading)
    if asked is None:
        store.forget(solve_single_picture, keep=[one.id for one in others])
    return replace(solutions, evidence=evidence)


def _near(one: Candidate, candidates: Sequence[Candidate], days: Sequence[float]) -> list[Candidate]:
    """Return the white-light pictures with spots near in time; `days` are those of all, ascending."""
    day = days_since_1970(one.record.time)
    reach = slice(bisect_left(days, day - _REACH_DAYS), bisect_right(days, day + _REACH_DAYS))
    return [
        other for other in candidates[reach] if other.up and band_of(other) == "white" and other.measured.spots.right
    ]


def _oriented(one: Candidate, evidence: InstrumentEvidence) -> _White | None:
    found = orientation_of(one.record, one.instrument, one.measured, one.sun, evidence)
    if found.north_angle_deg is None or found.sigma_deg is None or found.sigma_deg > _MAX_SIGMA_DEG:
        return None
    solved = SolvedPicture(one.spotted, found.north_angle_deg, bool(found.mirrored))
    return _White(one.spots_digest, solved)


def _reading(
    store: Store, one: Candidate, whites: Sequence[_White], *, asked: Container[str] | None
) -> SpotSolution | None:
    if not whites:
        return None
    around = [(white.digest, white.solved.north_angle_deg, white.solved.mirrored) for white in whites]
    inputs, kind = [one.spots_digest, around], list[SpotSolution | None]
    found = store.get(solve_single_picture, one.id, inputs, kind)
    if found is None and (asked is None or one.id in asked):
        found = [solve_single_picture(one.spotted, [white.solved for white in whites], least_neighbours=1)]
        store.put(solve_single_picture, one.id, inputs, found)
    return found[0] if found else None


def _with_reading(one: Candidate, evidence: InstrumentEvidence, reading: SpotSolution) -> InstrumentEvidence:
    """Return the evidence with the reading; only a remark where it contradicts the mirroring that is stated."""
    stated = one.record.stated_mirrored
    if stated is None:
        stated = one.instrument.stated_mirrored
    if stated is not None and stated != reading.mirrored:
        how = "only as a mirror image" if reading.mirrored else "only where it is not mirrored"
        remark = f"its spots fit those of white-light pictures {how}; is mirrored right for this picture?"
        return replace(evidence, remark=evidence.remark or remark)
    return replace(evidence, reading=reading)
