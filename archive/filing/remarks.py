"""Remarks for the observer to check after `add`: doubts, assumptions, contradictions."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from datetime import timedelta

from archive.disk import Folder
from archive.filing.drift_frames import open_readings_remark
from archive.filing.statements import AddOptions, StatedFacts
from archive.model.observation import Observation, SunView
from archive.orientation.low_sun import flattening_warning
from archive.records.places import Place, place_of_id
from archive.records.record import read_record
from archive.records.settings import find_named, read_settings
from archive.stages.evidence import is_up, night_remark
from archive.sun.view import sun_view

__all__ = ["altitude_remarks", "copy_remarks", "guesses", "ignored_options", "remarks", "time_remarks"]

_LOW_SUN_DEG = 2.0
_WHOLE_LIMB = 0.75
_MOST_TOLD = 3
_TIME_RIGHT = "is the time right"  # in the remarks of all stages that doubt it
_SAME_MINUTE, _SAME_MOMENT = timedelta(minutes=1), timedelta(seconds=2)
# A mount and seeing move the disc by more within a minute; sharpening and saving anew move its limb by less.
_SAME_PLACE_RADII = 0.001


def guesses(name: str, place: Place, stated: StatedFacts) -> list[str]:
    """Return remarks on assumptions that, if wrong, turn the picture round."""
    unmirrored = stated.keys.get("north_angle_deg") is not None and stated.keys.get("mirrored") is None
    if unmirrored and stated.instrument.stated_mirrored is None:
        return [
            f"{name}: the north angle is assumed to be of a picture that is not mirrored; if it is, write "
            f'mirrored = "yes" in {place.file(".toml")} or in archive.toml'
        ]
    return []


def ignored_options(name: str, place: Place, options: AddOptions) -> tuple[str, ...]:
    """Return a warning of the options that are ignored because the picture is already filed."""
    given = {
        "--drift": options.drift,
        "--time": options.time,
        "--site": options.site,
        "--instrument": options.instrument,
        "--observer": options.observer,
        "--north-angle": options.north_angle_deg,
        "--mirrored": options.mirrored,
        "--unmeasured": options.unmeasured or None,
    }
    remarks = []
    named = [option for option, value in given.items() if value is not None]
    if named:
        remarks.append(f"{name}: already filed as {place.id}; {', '.join(named)} ignored; edit {place.file('.toml')}")
    if options.note:
        remarks.append(f"{name}: already filed as {place.id}; --note ignored; edit {place.folder}/notes.md")
    return tuple(remarks)


def altitude_remarks(files: Folder, identifiers: Sequence[str]) -> list[str]:
    """Return remarks on observations whose time or site has the Sun below the horizon, or hardly above it.

    Of many, one line tells how many there are, and what is said of the first.
    """
    settings = read_settings(files)
    found = []
    for place in map(place_of_id, identifiers):
        record = read_record(files, place.file(".toml"))
        site = find_named(settings.sites, record.site, what="site")
        if not site.has_horizon:
            continue
        sun = sun_view(record.time, latitude_deg=site.latitude_deg, longitude_deg=site.longitude_deg)
        if (remark := _altitude_remark(place, sun)) is not None:
            found.append(f"{place.id}: {remark}")
    if len(found) <= _MOST_TOLD:
        return found
    return [f"{len(found)} observations are now at night or just at its edge, such as {found[0]}"]


def _altitude_remark(place: Place, sun: SunView) -> str | None:
    if not is_up(sun):
        return (
            f"{night_remark(sun)}; the time, its zone or the site is wrong: correct the site in "
            f"{place.file('.toml')}, or the time by `northlimb amend FOLDER {place.id} --time` with its offset"
        )
    if sun.altitude_deg < _LOW_SUN_DEG:
        return f"the Sun was only {sun.altitude_deg:.1f} deg high; is the time right?"
    return None


def copy_remarks(name: str, observation: Observation, others: Sequence[Observation]) -> list[str]:
    """Return remarks on other pictures, given in order of time, that seem to be of the same capture."""
    middle, times = observation.time_utc, [one.time_utc for one in others]
    near = others[bisect_left(times, middle - _SAME_MINUTE) : bisect_right(times, middle + _SAME_MINUTE)]
    return [
        f"{name}: looks like {one.id} ({one.picture.file}) once more; if it is a copy, take one of the two out with "
        f"`northlimb remove FOLDER {observation.id}`"
        for one in near
        if one.id != observation.id and _is_near_copy(observation, one)
    ]


def _is_near_copy(one: Observation, other: Observation) -> bool:
    """Return whether two pictures are of one moment, or of one minute with the disc in the same place."""
    apart = abs(one.time_utc - other.time_utc)
    if one.instrument != other.instrument or one.site != other.site or apart > _SAME_MINUTE:
        return False
    if apart < _SAME_MOMENT:
        return True
    scale = one.picture.width_px / other.picture.width_px
    off_px = (
        one.disc.x_px + 0.5 - scale * (other.disc.x_px + 0.5),
        one.disc.y_px + 0.5 - scale * (other.disc.y_px + 0.5),
        one.disc.radius_px - scale * other.disc.radius_px,
    )
    return max(map(abs, off_px)) < _SAME_PLACE_RADII * one.disc.radius_px


def remarks(name: str, place: Place, observation: Observation) -> list[str]:
    """Return remarks on an observation for the observer to check."""
    found = [f"{name}: {remark}" for remark in observation.remarks if _TIME_RIGHT not in remark]
    open_readings = open_readings_remark(observation.orientation, record_file=place.file(".toml"))
    found += [] if open_readings is None else [f"{name}: {open_readings}"]
    if observation.disc.limb_fraction < _WHOLE_LIMB:
        share = f"{100 * observation.disc.limb_fraction:.0f} %"
        found.append(f"{name}: only {share} of the limb is in the picture and clear")
    return found


def time_remarks(name: str, place: Place, observation: Observation) -> list[str]:
    """Return remarks on what a wrong time may have caused; of many pictures one remark takes their place."""
    found = [f"{name}: evidence for north disagrees: {dispute}" for dispute in observation.orientation.disputes]
    found += [f"{name}: {remark}" for remark in observation.remarks if _TIME_RIGHT in remark]
    further = (_altitude_remark(place, observation.sun), flattening_warning(observation.disc, observation.sun))
    return [*found, *(f"{name}: {remark}" for remark in further if remark is not None)]
