"""Pictures whose spots do not bear out what their mount says: turned by their neighbours, and told of."""

from __future__ import annotations

from collections.abc import Container, Mapping, Sequence
from dataclasses import dataclass

from archive.model.angles import difference_deg, wrapped_deg
from archive.model.observatory import CameraEpoch
from archive.model.times import days_since_1970
from archive.orientation.free_turning import KnownPicture, reading_among
from archive.orientation.instrument import epoch_at
from archive.orientation.spots import SpotReading
from archive.stages.candidates import Candidate, sky_deg_of, within_reach
from archive.store import Store

__all__ = ["Turned", "freely_turned"]

# By a mount's own scatter pictures differ from it by less, and spots that tell north are surer.
_DOUBTFUL_OFF_DEG, _DOUBTFUL_SIGMA_DEG = 4.0, 2.0


@dataclass(frozen=True)
class Turned:
    """What is odd about a picture, and the reading to be taken; None where what is stated for the picture stands."""

    id: str
    remark: str
    reading: SpotReading | None


@dataclass(frozen=True)
class _Said:
    """What mount and settings say of a picture."""

    north_angle_deg: float
    mirrored: bool | None


def freely_turned(
    pictures: Sequence[Candidate],
    readings: Mapping[str, SpotReading],
    epochs: Sequence[CameraEpoch],
    *,
    store: Store,
    asked: Container[str] | None,
) -> list[Turned]:
    """Pictures that their neighbours' spots turn otherwise than the mount does.

    A wrong hour turns the sky's geometry by several degrees, and a mirroring stated for an instrument does not hold for
    a picture that was flipped in software: the mount then says a wrong north, and is sure of it.

    Parameters
    ----------
    pictures : sequence of Candidate
        Of one instrument, in order of time.
    readings : mapping
        By the picture's id, from all solved together.
    epochs : sequence of CameraEpoch
        What these have taught of the camera.
    store : Store
        Holds what was found before.
    asked : container of str, optional
        Ids of pictures: no others are turned but those for which a reading is kept.
    """
    days = [days_since_1970(one.record.time) for one in pictures]
    known = [_known(one, readings.get(one.id)) for one in pictures]
    found = []
    for one, day in zip(pictures, days, strict=True):
        said = _said(one, epoch_at(epochs, day))
        if said is None or len(one.measured.spots.right) < 2:
            continue
        reach = within_reach(days, day)
        near = [
            (other.spots_digest, kept)
            for other, kept in zip(pictures[reach], known[reach], strict=True)
            if kept is not None and other.id != one.id
        ]
        borne_out = _borne_out(readings.get(one.id), said)
        turned = [(digest, kept.north_angle_deg, kept.mirrored) for digest, kept in near]
        inputs, kind = [one.spots_digest, borne_out, turned], list[SpotReading | None]
        found_before = store.get(reading_among, one.id, inputs, kind)
        if found_before is None and (asked is None or one.id in asked):
            found_before = [reading_among(one.spotted, borne_out, [kept for _, kept in near])]
            store.put(reading_among, one.id, inputs, found_before)
        (reading,) = found_before or [None]
        odd = None if reading is None else _odd(one, said, reading)
        if odd is not None:
            found.append(odd)
    return found


def _known(one: Candidate, reading: SpotReading | None) -> KnownPicture | None:
    if reading is None or not reading.believed:
        return None
    return KnownPicture(one.spotted, reading.north_angle_deg, reading.mirrored)


def _said(one: Candidate, epoch: CameraEpoch | None) -> _Said | None:
    """Of the camera what was learned, else what is stated; of the mirroring what is stated, else what was learned."""
    sky_deg, instrument = sky_deg_of(one), one.instrument
    camera_angle_deg = instrument.camera_angle_deg if epoch is None else epoch.angle_deg
    if sky_deg is None or camera_angle_deg is None:
        return None
    stated = (one.record.stated_mirrored, instrument.stated_mirrored, None if epoch is None else epoch.mirrored)
    mirrored = next((mirrored for mirrored in stated if mirrored is not None), None)
    return _Said(wrapped_deg(sky_deg + camera_angle_deg), mirrored)


def _borne_out(reading: SpotReading | None, said: _Said) -> SpotReading | None:
    """The reading where it is sure of itself and as the mount says; None where it is to be doubted anyhow."""
    if reading is None or not reading.believed or reading.sigma_deg > _DOUBTFUL_SIGMA_DEG:
        return None
    off_deg = difference_deg(reading.north_angle_deg, said.north_angle_deg)
    return reading if abs(off_deg) <= _DOUBTFUL_OFF_DEG else None


def _odd(one: Candidate, said: _Said, reading: SpotReading) -> Turned | None:
    off_deg = abs(difference_deg(reading.north_angle_deg, said.north_angle_deg))
    if said.mirrored is not None and reading.mirrored != said.mirrored:
        how = "only as a mirror image" if reading.mirrored else "only where it is not mirrored"
        remark = f"its spots fit those of other days {how}; is mirrored right for this picture?"
        return Turned(one.id, remark, reading if one.record.stated_mirrored is None else None)
    if off_deg > _DOUBTFUL_OFF_DEG:
        remark = (
            f"its spots put north {off_deg:.0f} deg from where the mount does; is the time right, its zone too, "
            "and was the camera as on other days?"
        )
        return Turned(one.id, remark, reading)
    return None
