"""`add --drift`: two frames taken with tracking off, measured for the record of a picture and not filed."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

from archive.disc.brightness import brightness_plane
from archive.disc.limb import fit_limb
from archive.disk import open_named
from archive.errors import FactsError, PictureError
from archive.filing.statements import StatedFacts
from archive.model.angles import difference_deg
from archive.model.observation import Disc, Orientation, SunView
from archive.orientation.drift import Drift, drift_between, expected_drift_px
from archive.reading import facts_in_file, read_pixels
from archive.reading.contents import content_of
from archive.records.capture_time import in_utc
from archive.records.settings import SiteSettings
from archive.sun.view import sun_view

__all__ = ["open_readings_remark", "with_drift"]

_LEAST_LIMB_FRACTION = 0.6
_SAME_RADIUS = 0.02
_LEAST_MOVE = 0.05  # of the radius: three seconds
_SHORT_MOVE = 0.2
_ODD_SHARE = 0.2
_CLOCK_S = 1.0  # files give their times to the second
_LONGEST_WAIT_S = 1800.0


@dataclass(frozen=True)
class _Frame:
    """One of the two: its size, limb, and the middle of its exposure where the file has it."""

    name: str
    size_px: tuple[int, int]
    disc: Disc
    time_utc: datetime | None


def with_drift(stated: StatedFacts, frames: tuple[Path, Path], *, sun: SunView, zone_name: str) -> StatedFacts:
    """Return the facts stated of a picture, with the drift between two frames among its keys and doubts.

    Parameters
    ----------
    stated : StatedFacts
        Of the picture.
    frames : pair of Path
        In order of time; the same camera on the same mount, standing still.
    sun : SunView
        At the time of the picture.
    zone_name : str
        The archive's zone, for frames whose times come without one.

    Raises
    ------
    ArchiveError
        A frame cannot be measured, the two do not belong together, or the disc did not move.
    """
    first, second = (_frame(path, zone_name) for path in frames)
    drift = drift_between(first.disc, second.disc, semidiameter_arcsec=sun.semidiameter_arcsec)
    _refuse_unlike(first, second, drift)
    doubts = _odd_length(first, second, drift, sun=sun, latitude_deg=stated.site.latitude_deg)
    if first.time_utc is not None:
        _refuse_other_hour(first.name, first.time_utc, stated, drift)
        drift, further = _turned(drift, stated, sun, _sun_at(first.time_utc, stated.site))
        doubts += further
    return replace(stated, keys=stated.keys | _keys(drift), doubts=(*stated.doubts, *doubts))


def _keys(drift: Drift) -> dict[str, object]:
    # None where there is no turn: one that the note beside the picture gives belongs to the note's own drift.
    return {
        "drift_px": (round(drift.right_px, 3), round(drift.down_px, 3)),
        "drift_sigma_px": round(drift.sigma_px, 3),
        "drift_turn_deg": round(drift.turn_deg, 3) or None,
    }


def _frame(path: Path, zone_name: str) -> _Frame:
    name = f"--drift {path.name}"
    if path.exists() and not path.is_file():
        raise PictureError(f"{name}: not a regular file; name a picture")
    try:
        with open_named(path) as file:
            data = content_of(file)
    except OSError as error:
        raise PictureError(f"{name}: {error.strerror or error}") from error
    pixels = read_pixels(data, name)
    try:
        disc = fit_limb(brightness_plane(pixels.values, full_scale=pixels.full_scale))
    except PictureError as error:
        raise PictureError(*(f"{name}: {cause}" for cause in error.causes)) from error
    if disc.limb_fraction < _LEAST_LIMB_FRACTION:
        raise PictureError(
            f"{name}: only {100 * disc.limb_fraction:.0f} % of the limb is in the frame and clear, "
            f"{100 * _LEAST_LIMB_FRACTION:.0f} % is needed; take both frames with the disc inside"
        )
    times = [found.time.value for found in facts_in_file(data, pixels.kind, path.name) if found.time is not None]
    time_utc = _in_utc_if_it_can_be(times[0], zone_name) if times else None
    return _Frame(name, (pixels.values.shape[1], pixels.values.shape[0]), disc, time_utc)


def _in_utc_if_it_can_be(moment: datetime, zone_name: str) -> datetime | None:
    """Return a time in UTC, or None: a frame is not refused for its time, which serves only as a check."""
    try:
        return in_utc(moment, zone_name=zone_name, source="the file", name="--drift")
    except FactsError:
        return None


def _refuse_unlike(first: _Frame, second: _Frame, drift: Drift) -> None:
    """Two frames of one camera that stood still while the Sun moved."""
    (width, height), (other_width, other_height) = first.size_px, second.size_px
    if first.size_px != second.size_px:
        raise PictureError(
            f"{second.name}: {other_width} x {other_height} px, but {first.name} has {width} x {height} px; "
            "give two whole frames of the same camera"
        )
    radius_px, other_px = first.disc.radius_px, second.disc.radius_px
    if abs(other_px / radius_px - 1.0) > _SAME_RADIUS:
        raise PictureError(
            f"{second.name}: radius {other_px:.1f} px, but {first.name} has {radius_px:.1f} px; "
            "give two frames of the same camera and focal length"
        )
    if drift.length_px < _LEAST_MOVE * radius_px:
        raise PictureError(
            f"{second.name}: the disc moved by only {drift.length_px:.1f} px since {first.name}; "
            "take both with tracking off, half a minute or more apart"
        )
    if first.time_utc is not None and second.time_utc is not None and second.time_utc < first.time_utc:
        raise FactsError(
            f"{second.name}: {second.time_utc:%H:%M:%S} UTC is before {first.name}, {first.time_utc:%H:%M:%S} UTC; "
            "give the earlier frame first"
        )


def _odd_length(first: _Frame, second: _Frame, drift: Drift, *, sun: SunView, latitude_deg: float) -> tuple[str, ...]:
    """Return a warning where the motion is short, or not that of the Sun in the time between."""
    if drift.length_px < _SHORT_MOVE * first.disc.radius_px:
        short = drift.length_px / first.disc.radius_px
        return (
            f"{second.name}: the disc moved by only {short:.2f} of its radius since {first.name}; "
            "the farther it moves, the more accurate north is",
        )
    if first.time_utc is None or second.time_utc is None or first.time_utc == second.time_utc:
        return ()
    seconds = (second.time_utc - first.time_utc).total_seconds()
    expected_px = expected_drift_px(seconds, disc=first.disc, sun=sun, latitude_deg=latitude_deg)
    allowed_px = expected_px * (_ODD_SHARE + _CLOCK_S / seconds)
    if abs(drift.length_px - expected_px) <= allowed_px:
        return ()
    return (
        f"{second.name}: the disc moved by {drift.length_px:.0f} px in {seconds:.0f} s, but the Sun moves by "
        f"{expected_px:.0f} px in that time; was tracking off throughout, and are the frames' times right?",
    )


def _refuse_other_hour(name: str, time_utc: datetime, stated: StatedFacts, drift: Drift) -> None:
    """Frames of another hour may be of another camera angle, or have the wrong zone."""
    middle_utc = stated.when.middle_utc
    if abs((time_utc - middle_utc).total_seconds()) > _LONGEST_WAIT_S:
        right_px, down_px = drift.right_px, drift.down_px
        raise FactsError(
            f"{name}: {time_utc:%Y-%m-%dT%H:%M:%SZ} is over half an hour from the picture, "
            f"{middle_utc:%Y-%m-%dT%H:%M:%SZ}; give frames of the same hour (or, where only the frames' clock or zone "
            f"is wrong, write drift_px = [{right_px:.3f}, {down_px:.3f}] and drift_sigma_px = {drift.sigma_px:.3f} "
            "into the note beside the picture)"
        )


def _sun_at(time_utc: datetime, site: SiteSettings) -> SunView:
    return sun_view(
        time_utc, latitude_deg=site.latitude_deg, longitude_deg=site.longitude_deg, elevation_m=site.elevation_m
    )


def _turned(drift: Drift, stated: StatedFacts, sun: SunView, sun_then: SunView) -> tuple[Drift, tuple[str, ...]]:
    """Return how an alt-azimuth field turned from the first frame, when tracking stopped, to the picture: by -q."""
    if stated.instrument.mount == "equatorial":
        return drift, ()
    turn_deg = difference_deg(sun_then.parallactic_angle_deg, sun.parallactic_angle_deg)
    if stated.instrument.mount == "altaz":
        return replace(drift, turn_deg=turn_deg), ()
    # Not known which: the turn goes into the error.
    turn_px = drift.length_px * math.tan(math.radians(min(abs(turn_deg), 60.0)))
    widened = replace(drift, sigma_px=math.hypot(drift.sigma_px, turn_px))
    if abs(turn_deg) < 0.3:
        return widened, ()
    return widened, (
        f"--drift: an alt-azimuth field turned by {abs(turn_deg):.1f} deg between frames and picture; "
        f"state the mount of {stated.instrument.name} in archive.toml, or take them closer together",
    )


def open_readings_remark(orientation: Orientation, *, record_file: str) -> str | None:
    """Return a remark where a drift fits a plain and a mirrored picture alike and no other evidence decides."""
    if orientation.is_known or not orientation.evidence:
        return None
    readings = " or ".join(
        f"{piece.north_angle_deg:+.1f} deg{', mirrored' if piece.mirrored else ''}" for piece in orientation.evidence
    )
    return f"by the drift north is at {readings}; say mirrored = true or false in {record_file} or for the instrument"
