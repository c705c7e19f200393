"""Evidence for the orientation of one picture, from record, settings, header, spots and sky."""

from __future__ import annotations

import math
from dataclasses import replace

from archive.model.choices import Band
from archive.model.measured import Measured
from archive.model.observation import Alternative, Disc, Evidence, Orientation, SunView
from archive.orientation.combination import combine_evidence
from archive.orientation.drift import Drift, drift_solutions, resolve_mirroring
from archive.orientation.header import header_evidence
from archive.orientation.low_sun import low_sun_evidence
from archive.orientation.sky import sky_evidence
from archive.orientation.stated import stated_evidence
from archive.records.record import Record
from archive.records.settings import InstrumentSettings
from archive.stages.solving import InstrumentEvidence

__all__ = ["is_up", "night_remark", "open_readings", "orientation_of"]

_SPOTS_NOTE = "the same spots on other days, after derotation"
_CARRIED_NOTE = f"{_SPOTS_NOTE}; mirrored as in other weeks of the instrument, for these leave it open"
_OTHER_BAND_NOTE = "the same spots in white-light pictures of these days, after derotation"
_SHOWN_ODDS = 1e4
_LOWEST_SUN_DEG = -1.0  # refraction lifts the setting Sun by half a degree
_STATED_DRIFT_SIGMA_PX = 1.0  # assumed: positions read off two frames by eye are good to a pixel
_ROUGHLY_KNOWN_DEG = 20.0  # standard error with which the zenith is not mistaken for the nadir


def orientation_of(
    record: Record, instrument: InstrumentSettings, measured: Measured, sun: SunView, learned: InstrumentEvidence
) -> Orientation:
    """Combine all evidence for the orientation of one picture."""
    known_mirrored = _known_mirrored(record, instrument, learned)
    spots = _spots(learned, record.band or instrument.band)
    evidence: list[Evidence] = [] if spots is None else [spots]
    if record.north_angle_deg is not None:
        # A stated angle without stated mirroring is assumed to be of a picture that is not mirrored.
        evidence.append(
            stated_evidence(
                record.north_angle_deg, mirrored=bool(known_mirrored), sigma_deg=record.north_angle_sigma_deg
            )
        )
    if measured.axes is not None:
        header = header_evidence(measured.axes.system, measured.axes.matrix_deg, p_deg=sun.p_deg)
        if header is not None:
            evidence.append(header)
    if learned.moon is not None and learned.moon.evidence:
        mirrored = evidence[-1].mirrored if evidence and known_mirrored is None else known_mirrored
        mirrored = learned.moon.mirrored if mirrored is None else mirrored
        if mirrored is None:
            return Orientation("unknown", None, None, None, learned.moon.evidence)
        evidence += [piece for piece in learned.moon.evidence if piece.mirrored == mirrored]
        known_mirrored = mirrored
    drift = _drift_of(record)
    if drift is not None:
        mirrored = evidence[-1].mirrored if evidence and known_mirrored is None else known_mirrored
        solutions = _drift(drift, instrument, disc=measured.disc, sun=sun, mirrored=mirrored)
        if len(solutions) > 1:
            return Orientation("unknown", None, None, None, solutions)
        evidence += solutions
        known_mirrored = solutions[0].mirrored
    sky = _sky(instrument, known_mirrored, sun) or _learned_sky(instrument, known_mirrored, sun, learned)
    weighed = _with_low_sun([*evidence, sky] if sky is not None else evidence, measured.disc, sun)
    return _with_alternative(weighed, learned)


def _known_mirrored(record: Record, instrument: InstrumentSettings, learned: InstrumentEvidence) -> bool | None:
    """Return what is stated for the picture, else for the instrument, else follows from spots or history."""
    if record.stated_mirrored is not None:
        return record.stated_mirrored
    if instrument.stated_mirrored is not None:
        return instrument.stated_mirrored
    if learned.reading is not None and learned.reading.is_reliable:
        return learned.reading.mirrored
    return learned.epoch.mirrored if learned.epoch is not None else None


def _spots(learned: InstrumentEvidence, band: Band) -> Evidence | None:
    reading = learned.reading
    if reading is None or not reading.is_reliable:
        return None
    note = _CARRIED_NOTE if reading.mirroring_carried else _SPOTS_NOTE if band == "white" else _OTHER_BAND_NOTE
    return Evidence("spots", reading.north_angle_deg, reading.sigma_deg, reading.mirrored, note)


def _learned_sky(
    instrument: InstrumentSettings, mirrored: bool | None, sun: SunView, learned: InstrumentEvidence
) -> Evidence | None:
    """Return the evidence of the mount with the camera angle learned from pictures solved by their spots."""
    epoch = learned.epoch
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


def _with_alternative(orientation: Orientation, learned: InstrumentEvidence) -> Orientation:
    """Add the alternative that the spots leave open."""
    reading = learned.reading
    if reading is None or reading.other_north_angle_deg is None or reading.odds > _SHOWN_ODDS:
        return orientation
    other = Alternative(reading.other_north_angle_deg, bool(reading.other_mirrored), max(reading.odds, 1.0))
    if orientation.is_known and orientation.evidence and orientation.evidence[0].kind == "spots":
        return replace(orientation, alternative=other)
    return orientation


def open_readings(orientation: Orientation, learned: InstrumentEvidence) -> str | None:
    """Return a remark on the two solutions that the spots leave, where no other evidence decides; None elsewhere."""
    reading = learned.reading
    if orientation.is_known or reading is None or reading.other_north_angle_deg is None:
        return None
    first = _format_solution(reading.north_angle_deg, reading.mirrored)
    second = _format_solution(reading.other_north_angle_deg, bool(reading.other_mirrored))
    return f"the spots leave two solutions for north: {first}, or {second}; more days may decide"


def _format_solution(north_angle_deg: float, mirrored: bool) -> str:
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
    """Return the solution of the drift that the mirroring leaves; both where the mirroring is unknown."""
    readings = drift_solutions(drift, sun=sun)
    if mirrored is not None:
        return (readings[mirrored],)
    mount = [_sky(instrument, mirror, sun) for mirror in (False, True)]
    air = [low_sun_evidence(disc, sun, near_deg=one.north_angle_deg, mirrored=one.mirrored) for one in readings]
    hints = [(plain, mirror) for plain, mirror in (mount, air) if plain is not None and mirror is not None]
    solution = resolve_mirroring(readings, hints)
    return readings if solution is None else (solution,)


def _with_low_sun(evidence: list[Evidence], disc: Disc, sun: SunView) -> Orientation:
    """Combine the evidence, with the vertical of the low Sun where the rest decides which end of it is up."""
    rest = combine_evidence(evidence)
    if rest.north_angle_deg is None or rest.sigma_deg is None or rest.sigma_deg > _ROUGHLY_KNOWN_DEG:
        return rest
    low_sun = low_sun_evidence(disc, sun, near_deg=rest.north_angle_deg, mirrored=bool(rest.mirrored))
    return rest if low_sun is None else combine_evidence([*evidence, low_sun])


def _sky(instrument: InstrumentSettings, mirrored: bool | None, sun: SunView) -> Evidence | None:
    """Return the evidence of the mount; none for a Sun below the horizon, where time or site must be wrong."""
    if instrument.mount == "unknown" or instrument.camera_angle_deg is None or mirrored is None or not is_up(sun):
        return None
    return sky_evidence(sun, mount=instrument.mount, camera_angle_deg=instrument.camera_angle_deg, mirrored=mirrored)


def is_up(sun: SunView) -> bool:
    """Return whether the Sun could be photographed at all."""
    return sun.altitude_deg >= _LOWEST_SUN_DEG


def night_remark(sun: SunView) -> str:
    """Return the remark on a Sun too far below the horizon."""
    return f"the Sun was {-sun.altitude_deg:.0f} deg below the horizon at this time and site"
