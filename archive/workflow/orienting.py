"""Evidence for the way up of one picture, brought together from record, settings, header and sky."""

from __future__ import annotations

from archive.observation import Evidence, Orientation, SunView
from archive.orientation.combination import combine_evidence
from archive.orientation.header import header_evidence
from archive.orientation.sky import sky_evidence
from archive.orientation.stated import stated_evidence
from archive.records.measured import Measured
from archive.records.record import Record
from archive.records.settings import InstrumentSettings

__all__ = ["is_up", "night_remark", "orientation_of"]

_LOWEST_SUN_DEG = -1.0  # refraction lifts the setting Sun by half a degree


def orientation_of(record: Record, instrument: InstrumentSettings, measured: Measured, sun: SunView) -> Orientation:
    """Weigh everything that speaks for the way up of one picture."""
    known_mirrored = record.stated_mirrored
    if known_mirrored is None and instrument.mirrored != "unknown":
        known_mirrored = instrument.mirrored == "yes"
    evidence: list[Evidence] = []
    if record.north_angle_deg is not None:
        # An angle stated without a word on mirroring is meant for a picture that is not mirrored.
        evidence.append(
            stated_evidence(
                record.north_angle_deg, mirrored=bool(known_mirrored), sigma_deg=record.north_angle_sigma_deg
            )
        )
    if measured.axes is not None:
        header = header_evidence(measured.axes.system, measured.axes.matrix_deg, p_deg=sun.p_deg)
        if header is not None:
            evidence.append(header)
    sky = _sky(instrument, known_mirrored, sun)
    return combine_evidence([*evidence, sky] if sky is not None else evidence)


def _sky(instrument: InstrumentSettings, mirrored: bool | None, sun: SunView) -> Evidence | None:
    """What the mount says; a Sun below the horizon means that time or site is wrong, and the sky's geometry with it."""
    if instrument.mount == "unknown" or instrument.camera_angle_deg is None or mirrored is None or not is_up(sun):
        return None
    return sky_evidence(sun, mount=instrument.mount, camera_angle_deg=instrument.camera_angle_deg, mirrored=mirrored)


def is_up(sun: SunView) -> bool:
    """Whether the Sun could be photographed at all."""
    return sun.altitude_deg >= _LOWEST_SUN_DEG


def night_remark(sun: SunView) -> str:
    """What to say where it could not."""
    return f"the Sun was {-sun.altitude_deg:.0f} deg below the horizon at this time and site"
