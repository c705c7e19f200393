"""Pictures whose spots cannot be counted, or only in part, and the remarks on them."""

from __future__ import annotations

from archive.measuring.detail import (
    hides_usual_groups,
    is_countable,
    is_soft,
    smallest_shown_msh,
    smallest_spot_msh,
)
from archive.model.measured import Crescent
from archive.model.observation import Disc, FoundSpots, Observation
from archive.records.record import Record
from archive.stages.evidence import is_up, night_remark

__all__ = ["caveats", "least_spot_msh", "shows_spots", "size_remark", "uncounted_reason", "uncounted_remark"]

# Captions and hairs across a disc hide less than the one; a count of less than the other says little of the Sun.
_WHOLE, _ENOUGH = 0.97, 0.75
_NOT_COUNTED = "spots are not counted because "
_HIDDEN = "is outside the picture or hidden"


def shows_spots(disc: Disc, record: Record) -> bool:
    """Return whether a picture is large and sharp enough to be counted, or was counted by hand."""
    return record.is_counted or is_countable(disc)


def size_remark(disc: Disc, record: Record) -> str | None:
    """Return a remark on what a picture is too small or too soft to show; None where it was counted by hand."""
    if record.is_counted or not is_soft(disc):
        return None
    why = f"{disc.blur_px:.1f} px of blur on a radius of {disc.radius_px:.0f} px"
    if not is_countable(disc):
        return f"{_NOT_COUNTED}the picture is too small or soft: {why}; a count by hand is used"
    least = float(f"{smallest_spot_msh(disc):.1g}")
    return f"spots under some {least:.0f} millionths do not show because the picture is small or soft: {why}"


def uncounted_remark(disc: Disc, found: FoundSpots, record: Record, crescent: Crescent | None = None) -> str | None:
    """Return why a searched picture is not counted; None where it is, or was by hand."""
    if record.is_counted:
        return None
    if found.seen_share < _ENOUGH:
        hidden = f"{_hidden_percent(found):.0f} % of the disc {_HIDDEN}"
        return f"{_NOT_COUNTED}{hidden}; a count by hand is used"
    if crescent is not None and crescent.overexposed:
        return f"{_NOT_COUNTED}the disc is overexposed; a count by hand is used"
    if found.least_depth >= 1.0:
        return f"{_NOT_COUNTED}the limb is measured together with the Moon's alone; a count by hand is used"
    if hides_usual_groups(disc, found.least_depth):
        return f"{_NOT_COUNTED}noise hides them: {_noise(found)}; a count by hand is used"
    return None


def uncounted_reason(one: Observation) -> str | None:
    """Return why spots are not counted in an observation; None where they are."""
    if one.counts is not None:
        return None
    if one.band != "white":
        return "only pictures in white light are counted"
    if not is_up(one.sun):
        return f"{night_remark(one.sun)}: time or site is wrong"
    told = (remark.removeprefix(_NOT_COUNTED) for remark in one.remarks if remark.startswith(_NOT_COUNTED))
    return next(told, None)


def caveats(disc: Disc, found: FoundSpots, record: Record) -> tuple[str, ...]:
    """Return what a count misses by noise, or where the frame or the Moon cuts the disc; none where it is by hand."""
    if record.is_counted:
        return ()
    remarks = []
    least = least_spot_msh(disc, found, record)
    if least is not None and not is_soft(disc):
        remarks.append(f"spots under some {least:.0f} millionths would not show here: {_noise(found)}")
    if found.seen_share <= _WHOLE:
        remarks.append(f"spots are counted where the disc shows: {_hidden_percent(found):.0f} % of it {_HIDDEN}")
    return tuple(remarks)


def least_spot_msh(disc: Disc, found: FoundSpots, record: Record) -> float | None:
    """Return the smallest spot that shows, rounded, where a measured count misses more than usual; else None."""
    if record.is_counted or not is_soft(disc, found.least_depth):
        return None
    return float(f"{smallest_shown_msh(disc, found.least_depth):.1g}")


def _noise(found: FoundSpots) -> str:
    percent = min(100.0, 100.0 * found.least_depth)
    return f"what is less than {percent:.0f} % darker than the disc does not stand out"


def _hidden_percent(found: FoundSpots) -> float:
    return 100.0 * (1.0 - found.seen_share)
