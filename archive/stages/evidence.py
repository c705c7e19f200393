"""Evidence for the way up of one picture, brought together from record, settings, header and sky."""

from __future__ import annotations

import math
from dataclasses import replace

from archive.model.measured import Measured
from archive.model.observation import Alternative, Disc, Evidence, Orientation, SunView
from archive.orientation.combination import combine_evidence
from archive.orientation.drift import Drift, drift_readings, told_reading
from archive.orientation.header import header_evidence
from archive.orientation.low_sun import low_sun_evidence
from archive.orientation.sky import sky_evidence
from archive.orientation.stated import stated_evidence
from archive.records.record import Record
from archive.records.settings import InstrumentSettings
from archive.stages.solving import Taught

__all__ = ["is_up", "night_remark", "open_readings", "orientation_of"]

_SPOTS_NOTE = "the same spots on other days, carried by the Sun's rotation"
_SHOWN_ODDS = 1e4
_LOWEST_SUN_DEG = -1.0  # refraction lifts the setting Sun by half a degree
_STATED_DRIFT_SIGMA_PX = 1.0  # places read off two frames by eye; common practice, no source
_ROUGHLY_KNOWN_DEG = 20.0  # standard error with which the zenith is not taken for the nadir


def orientation_of(
    record: Record, instrument: InstrumentSettings, measured: Measured, sun: SunView, taught: Taught
) -> Orientation:
    """Weigh everything that speaks for the way up of one picture."""
    known_mirrored = _known_mirrored(record, instrument, taught)
    spots = _spots(taught)
    evidence: list[Evidence] = [] if spots is None else [spots]
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
    drift = _drift_of(record)
    if drift is not None:
        mirrored = evidence[-1].mirrored if evidence and known_mirrored is None else known_mirrored
        told = _drift(drift, instrument, disc=measured.disc, sun=sun, mirrored=mirrored)
        if len(told) > 1:
            return Orientation("unknown", None, None, None, told)
        evidence += told
        known_mirrored = told[0].mirrored
    sky = _sky(instrument, known_mirrored, sun) or _learned_sky(instrument, known_mirrored, sun, taught)
    weighed = _with_low_sun([*evidence, sky] if sky is not None else evidence, measured.disc, sun)
    return _with_alternative(weighed, taught)


def _known_mirrored(record: Record, instrument: InstrumentSettings, taught: Taught) -> bool | None:
    """As stated for the picture, else for the instrument, else as its spots or the instrument's history have it."""
    if record.stated_mirrored is not None:
        return record.stated_mirrored
    if instrument.stated_mirrored is not None:
        return instrument.stated_mirrored
    if taught.reading is not None and taught.reading.believed:
        return taught.reading.mirrored
    return taught.epoch.mirrored if taught.epoch is not None else None


def _spots(taught: Taught) -> Evidence | None:
    reading = taught.reading
    if reading is None or not reading.believed:
        return None
    return Evidence("spots", reading.north_angle_deg, reading.sigma_deg, reading.mirrored, _SPOTS_NOTE)


def _learned_sky(
    instrument: InstrumentSettings, mirrored: bool | None, sun: SunView, taught: Taught
) -> Evidence | None:
    """The mount's geometry with the camera angle that pictures solved by their spots have taught."""
    epoch = taught.epoch
    if instrument.mount == "unknown" or instrument.camera_angle_deg is not None or epoch is None or not is_up(sun):
        return None
    if mirrored is None or mirrored != epoch.mirrored:
        return None
    geometry = sky_evidence(sun, mount=instrument.mount, camera_angle_deg=epoch.angle_deg, mirrored=mirrored)
    pictures = f"{epoch.pictures} picture{'' if epoch.pictures == 1 else 's'}"
    return replace(
        geometry,
        sigma_deg=math.hypot(epoch.scatter_deg, epoch.sigma_deg),
        note=f"camera angle {epoch.angle_deg:+.1f} deg learned from {pictures} solved by spots",
    )


def _with_alternative(orientation: Orientation, taught: Taught) -> Orientation:
    """Keep in sight what the spots leave open."""
    reading = taught.reading
    if reading is None or reading.other_north_angle_deg is None or reading.odds > _SHOWN_ODDS:
        return orientation
    other = Alternative(reading.other_north_angle_deg, bool(reading.other_mirrored), max(reading.odds, 1.0))
    if orientation.is_known and orientation.evidence and orientation.evidence[0].kind == "spots":
        return replace(orientation, alternative=other)
    return orientation


def open_readings(orientation: Orientation, taught: Taught) -> str | None:
    """What the spots leave open where nothing else tells."""
    reading = taught.reading
    if orientation.is_known or reading is None or reading.other_north_angle_deg is None:
        return None
    first = _in_words(reading.north_angle_deg, reading.mirrored)
    second = _in_words(reading.other_north_angle_deg, bool(reading.other_mirrored))
    return f"the spots leave two readings of north open: {first}, or {second}; more days may tell"


def _in_words(north_angle_deg: float, mirrored: bool) -> str:
    return f"{north_angle_deg:+.1f} deg{' mirrored' if mirrored else ''}"


def _drift_of(record: Record) -> Drift | None:
    if record.drift_px is None:
        return None
    right_px, down_px = record.drift_px
    sigma_px = record.drift_sigma_px or _STATED_DRIFT_SIGMA_PX
    return Drift(right_px, down_px, sigma_px, record.drift_turn_deg or 0.0)


def _drift(
    drift: Drift, instrument: InstrumentSettings, *, disc: Disc, sun: SunView, mirrored: bool | None
) -> tuple[Evidence, ...]:
    """The one reading of the drift that the mirroring leaves; both where nothing tells it."""
    readings = drift_readings(drift, sun=sun)
    if mirrored is not None:
        return (readings[mirrored],)
    mount = [_sky(instrument, mirror, sun) for mirror in (False, True)]
    air = [low_sun_evidence(disc, sun, near_deg=one.north_angle_deg, mirrored=one.mirrored) for one in readings]
    hints = [(plain, mirror) for plain, mirror in (mount, air) if plain is not None and mirror is not None]
    told = told_reading(readings, hints)
    return readings if told is None else (told,)


def _with_low_sun(evidence: list[Evidence], disc: Disc, sun: SunView) -> Orientation:
    """All weighed, and again with the vertical of the low Sun where the rest says which end of it is up."""
    rest = combine_evidence(evidence)
    if rest.north_angle_deg is None or rest.sigma_deg is None or rest.sigma_deg > _ROUGHLY_KNOWN_DEG:
        return rest
    low_sun = low_sun_evidence(disc, sun, near_deg=rest.north_angle_deg, mirrored=bool(rest.mirrored))
    return rest if low_sun is None else combine_evidence([*evidence, low_sun])


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
