"""Pictures whose spots contradict their mount: oriented by their neighbours instead, with a remark."""

from __future__ import annotations

from collections.abc import Container, Mapping, Sequence
from dataclasses import dataclass

from archive.model.angles import difference_deg, wrapped_deg
from archive.model.observatory import CameraEpoch
from archive.model.times import days_since_1970
from archive.orientation.instrument import epoch_at
from archive.orientation.single_picture import SolvedPicture, solution_among_neighbours
from archive.orientation.spots import SpotSolution
from archive.stages.candidates import Candidate, sky_deg_of, within_reach
from archive.store import Store

__all__ = ["MountContradiction", "mount_contradictions"]

# The scatter of a mount is less than this, and reliable solutions from spots are more certain.
_DOUBTFUL_OFF_DEG, _DOUBTFUL_SIGMA_DEG = 4.0, 2.0


@dataclass(frozen=True)
class MountContradiction:
    """How a picture contradicts its mount, and the solution to use; None where its own record decides."""

    id: str
    remark: str
    reading: SpotSolution | None


@dataclass(frozen=True)
class _Expected:
    """The orientation that mount and settings give."""

    north_angle_deg: float
    mirrored: bool | None


def mount_contradictions(
    pictures: Sequence[Candidate],
    readings: Mapping[str, SpotSolution],
    epochs: Sequence[CameraEpoch],
    *,
    store: Store,
    asked: Container[str] | None,
) -> list[MountContradiction]:
    """Return the pictures whose spots, compared with their neighbours', contradict the mount.

    A wrong hour turns the sky's geometry by several degrees, and a mirroring stated for an instrument does not hold for
    a picture that was flipped in software: the mount then gives a wrong north with a small error.

    Parameters
    ----------
    pictures : sequence of Candidate
        Of one instrument, in order of time.
    readings : mapping
        By the picture's id, from all solved together.
    epochs : sequence of CameraEpoch
        The camera angles learned from these.
    store : Store
        Holds what was found before.
    asked : container of str, optional
        Ids of pictures: others are checked only where a solution is stored.
    """
    days = [days_since_1970(one.record.time) for one in pictures]
    known = [_known(one, readings.get(one.id)) for one in pictures]
    found = []
    for one, day in zip(pictures, days, strict=True):
        expected = _expected(one, epoch_at(epochs, day))
        if expected is None or len(one.measured.spots.right) < 2:
            continue
        reach = within_reach(days, day)
        near = [
            (other.spots_digest, kept)
            for other, kept in zip(pictures[reach], known[reach], strict=True)
            if kept is not None and other.id != one.id
        ]
        confirmed = _confirmed(readings.get(one.id), expected)
        turned = [(digest, kept.north_angle_deg, kept.mirrored) for digest, kept in near]
        inputs, kind = [one.spots_digest, confirmed, turned], list[SpotSolution | None]
        found_before = store.get(solution_among_neighbours, one.id, inputs, kind)
        if found_before is None and (asked is None or one.id in asked):
            found_before = [solution_among_neighbours(one.spotted, confirmed, [kept for _, kept in near])]
            store.put(solution_among_neighbours, one.id, inputs, found_before)
        (reading,) = found_before or [None]
        contradiction = None if reading is None else _contradiction(one, expected, reading)
        if contradiction is not None:
            found.append(contradiction)
    return found


def _known(one: Candidate, reading: SpotSolution | None) -> SolvedPicture | None:
    if reading is None or not reading.is_reliable:
        return None
    return SolvedPicture(one.spotted, reading.north_angle_deg, reading.mirrored)


def _expected(one: Candidate, epoch: CameraEpoch | None) -> _Expected | None:
    """Return north by the learned camera angle, else the stated one; mirroring as stated, else as learned."""
    sky_deg, instrument = sky_deg_of(one), one.instrument
    camera_angle_deg = instrument.camera_angle_deg if epoch is None else epoch.angle_deg
    if sky_deg is None or camera_angle_deg is None:
        return None
    stated = (one.record.stated_mirrored, instrument.stated_mirrored, None if epoch is None else epoch.mirrored)
    mirrored = next((mirrored for mirrored in stated if mirrored is not None), None)
    return _Expected(wrapped_deg(sky_deg + camera_angle_deg), mirrored)


def _confirmed(reading: SpotSolution | None, expected: _Expected) -> SpotSolution | None:
    """Return the solution where it is certain and agrees with the mount; None where it is doubtful in any case."""
    if reading is None or not reading.is_reliable or reading.sigma_deg > _DOUBTFUL_SIGMA_DEG:
        return None
    off_deg = difference_deg(reading.north_angle_deg, expected.north_angle_deg)
    return reading if abs(off_deg) <= _DOUBTFUL_OFF_DEG else None


def _contradiction(one: Candidate, expected: _Expected, reading: SpotSolution) -> MountContradiction | None:
    off_deg = abs(difference_deg(reading.north_angle_deg, expected.north_angle_deg))
    if expected.mirrored is not None and reading.mirrored != expected.mirrored:
        how = "only as a mirror image" if reading.mirrored else "only where it is not mirrored"
        remark = f"its spots fit those of other days {how}; is mirrored right for this picture?"
        return MountContradiction(one.id, remark, reading if one.record.stated_mirrored is None else None)
    if off_deg > _DOUBTFUL_OFF_DEG:
        remark = (
            f"its spots put north {off_deg:.0f} deg from where the mount does; is the time right, its zone too, "
            "and was the camera as on other days?"
        )
        return MountContradiction(one.id, remark, reading)
    return None
