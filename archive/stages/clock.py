"""A clock or a zone that was wrong for the pictures of several days, told once, with the command that puts it right."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import timedelta

from archive.model.observation import Evidence, Observation
from archive.orientation.common_clock import ClockError, TimedPicture, common_clock_error
from archive.orientation.spots import SpotSolution
from archive.records.settings import InstrumentSettings, Settings, find_named
from archive.records.zones import near_offsets, nearest_zone, off_mean_time_hours, offset_at
from archive.stages.solving import InstrumentEvidence

__all__ = ["ClockFinding", "clock_findings"]

_WITHOUT_HOUR = ("stated", "header", "spots")  # kinds of evidence for north that hold at any hour of the day
_MOST_OFF_MEAN_HOURS = 3.0
_MOST_PICTURES = 4000  # the latest: 0.3 s


@dataclass(frozen=True)
class ClockFinding:
    """What to tell the observer, and the ids of the pictures that it is about."""

    text: str
    ids: frozenset[str]


def clock_findings(
    settings: Settings, observations: Sequence[Observation], evidence: Mapping[str, InstrumentEvidence]
) -> list[ClockFinding]:
    """Return for each instrument the hours by which the times of several days are wrong.

    Parameters
    ----------
    settings : Settings
    observations : sequence of Observation
        In order of time.
    evidence : mapping
        That of each picture's instrument, by the picture's id.
    """
    found = []
    for instrument in settings.instruments:
        mine = [one for one in observations if one.instrument == instrument.name and one.band == "white"]
        mine = [one for one in mine if one.sun.has_horizon][-_MOST_PICTURES:]
        timed = [_timed(settings, instrument, one, evidence[one.id]) for one in mine]
        likely = _likely_hours(settings, mine[len(mine) // 2]) if mine else []
        error = common_clock_error(timed, likely_hours=likely)
        if error is not None:
            within = [one for one in mine if _is_within(one, error)]
            found.append(ClockFinding(_told(settings, instrument, within, error), frozenset(one.id for one in within)))
    return found


def _is_within(one: Observation, error: ClockError) -> bool:
    return (error.first is None or error.first <= one.day) and (error.last is None or one.day <= error.last)


def _timed(
    settings: Settings, instrument: InstrumentSettings, one: Observation, evidence: InstrumentEvidence
) -> TimedPicture:
    north = _north(one, evidence)
    latitude_deg, _ = settings.published_place(find_named(settings.sites, one.site, what="site"))
    learned = None if evidence.epoch is None else evidence.epoch.angle_deg
    mount_deg = learned if instrument.camera_angle_deg is None else instrument.camera_angle_deg
    return TimedPicture(
        day=one.day,
        latitude_deg=latitude_deg,
        sun=one.sun,
        disc=one.disc,
        north_angle_deg=None if north is None else north.north_angle_deg,
        north_sigma_deg=None if north is None else north.sigma_deg,
        mirrored=north is not None and north.mirrored,
        mount_angle_deg=mount_deg if instrument.mount == "altaz" else None,
        camera_is_stated=instrument.camera_angle_deg is not None,
        is_altaz=instrument.mount == "altaz",
        spot_hours=evidence.clock_hours,
    )


def _north(one: Observation, evidence: InstrumentEvidence) -> Evidence | SpotSolution | None:
    """Return the most precise evidence for north that does not come from the hour."""
    known: list[Evidence | SpotSolution]
    known = [piece for piece in one.orientation.evidence if piece.kind in _WITHOUT_HOUR]
    known += [] if evidence.without_mount is None else [evidence.without_mount]
    return min(known, key=lambda piece: piece.sigma_deg, default=None)


def _likely_hours(settings: Settings, one: Observation) -> list[float]:
    """Return the hours of the usual mistakes: the site's time taken for UTC or for the archive's, and summer time."""
    site = find_named(settings.sites, one.site, what="site")
    there = near_offsets(site.latitude_deg, site.longitude_deg, at=one.time_utc)
    archives = offset_at(settings.time_zone, one.time_utc)
    shifts = [*(archives - offset for offset in there), *(-offset for offset in there), archives]
    hours = [shift / timedelta(hours=1) for shift in shifts]
    return [shift for shift in (*hours, -1.0, 1.0) if shift]


def _told(
    settings: Settings, instrument: InstrumentSettings, pictures: Sequence[Observation], error: ClockError
) -> str:
    side = f"hour{'' if abs(error.hours) == 1 else 's'} {'earlier' if error.hours < 0 else 'later'}"
    span = f"{pictures[0].day} to {pictures[-1].day}"
    # The days are named although nothing may speak against others: only those of some weeks may have been looked at.
    words = [f"--shift {_duration(error.hours)}", f"--from {pictures[0].day}", f"--to {pictures[-1].day}"]
    words += [f"--instrument '{instrument.name}'"] if len(settings.instruments) > 1 else []
    return (
        f"the pictures of {error.days} days ({span}, {instrument.name}) all fit better {abs(error.hours):g} "
        f"{side} ({', '.join(error.signs)}): was the clock right, and its zone? "
        f"{_about_zone(settings, pictures[len(pictures) // 2], error)}"
        f"`northlimb amend FOLDER {' '.join(words)}` moves them, and `northlimb amend FOLDER --undo` moves them back"
        f"{_about_camera(error)}"
    )


def _about_zone(settings: Settings, one: Observation, error: ClockError) -> str:
    """Return the zone in which the clock seems to run, where that is one of the site's longitude."""
    offset = offset_at(settings.time_zone, one.time_utc) - timedelta(hours=error.hours)
    site = find_named(settings.sites, one.site, what="site")
    zone = nearest_zone(site.latitude_deg, site.longitude_deg, offset=offset, at=one.time_utc)
    if zone is None or abs(off_mean_time_hours(zone, site.longitude_deg, at=one.time_utc)) > _MOST_OFF_MEAN_HOURS:
        return ""
    return (
        f"It seems to have run on UTC{offset / timedelta(hours=1):+g}: for times that come without a zone write "
        f'time_zone = "{zone}" into archive.toml; '
    )


def _about_camera(error: ClockError) -> str:
    if error.camera_off_deg is None:
        return ""
    return f"; or was the camera turned by {error.camera_off_deg:+.0f} deg? Then correct camera_angle_deg instead"


def _duration(hours: float) -> str:
    """Return hours as `--shift` takes them, such as ``-2h`` or ``+5h45m``."""
    whole, minutes = divmod(round(abs(hours) * 60), 60)
    return f"{'-' if hours < 0 else '+'}{whole}h{f'{minutes}m' if minutes else ''}"
