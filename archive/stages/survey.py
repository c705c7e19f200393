"""Survey of the whole archive: every observation oriented, the camera angles learned, warnings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta

import numpy as np

from archive.model.angles import difference_deg
from archive.model.group import NamedPosition, group_address
from archive.model.observation import Observation
from archive.model.observatory import CameraEpoch
from archive.model.times import days_since_1970, time_from_days
from archive.records.group_names import read_names
from archive.records.record import Record
from archive.records.settings import InstrumentSettings
from archive.stages.archive import Archive
from archive.stages.clock import clock_findings
from archive.stages.eclipse_content import covered_disc
from archive.stages.inspection import (
    ArchivedPicture,
    archived_pictures,
    forget_removed,
    measured_pictures,
    observations,
    solve,
)
from archive.stages.originals import unfiled
from archive.upkeep.amendment import fits_its_name

__all__ = ["Survey", "survey"]

_CONTRADICTION_SIGMAS = 3.0
_LEAST_PICTURES = 3
_LEAST_CONTRADICTION_DEG = 2.0


@dataclass(frozen=True)
class Survey:
    """Observations in order of time, their records by id, what each instrument has taught, and what is amiss.

    What is amiss holds until `valid_until`, days since 1970, when a time in the future will have passed. `unmeasured`
    are the pictures that are not to be measured, `covered` the share of the disc that the Moon covers in pictures of an
    eclipse, by id.
    """

    observations: tuple[Observation, ...]
    records: Mapping[str, Record]
    epochs: Mapping[str, tuple[CameraEpoch, ...]]
    warnings: tuple[str, ...]
    valid_until: float | None = None
    unmeasured: tuple[ArchivedPicture, ...] = ()
    covered: Mapping[str, float] = field(default_factory=dict)


def survey(archive: Archive) -> Survey:
    """Measure new pictures, solve every instrument's pictures together, and store the result.

    Raises
    ------
    ArchiveError
        A record or an original is wrong.
    """
    filed = archived_pictures(archive)
    measured = [one for one in filed if one.record.measured]
    known = measured_pictures(archive, measured)
    forget_removed(archive, filed)
    archive.on_progress("solving", 0, 1)
    solved = solve(archive, known)
    found = tuple(observations(known, solved))
    originals = [one.record.picture.file for one in filed]
    warnings = (
        *(f"{file}: has no record; it is not shown" for file in unfiled(archive.listed, originals)),
        *_misplaced(filed, tomorrow=_tomorrow()),
        *_spelled_otherwise(filed, names=read_names(archive.files)),
        *(one.text for one in clock_findings(archive.settings, found, solved.evidence)),
        *(text for one in archive.settings.instruments for text in _contradicted(one, solved.epochs.get(one.name, ()))),
    )
    ahead = [days_since_1970(one.record.time) - 1.0 for one in filed if one.record.time > _tomorrow()]
    records = {one.place.id: one.record for one in measured}
    unmeasured = tuple(one for one in filed if not one.record.measured)
    crescents = ((one.filed.place.id, one.measured.crescent) for one in known)
    covered = {name: covered_disc(crescent) for name, crescent in crescents if crescent is not None}
    return Survey(found, records, solved.epochs, warnings, min(ahead, default=None), unmeasured, covered)


def _tomorrow() -> datetime:
    """Return this time of tomorrow; until then a clock in another zone is believed."""
    return datetime.now(UTC) + timedelta(days=1)


def _misplaced(filed: Sequence[ArchivedPicture], *, tomorrow: datetime) -> list[str]:
    """Records whose time a hand has moved to another minute, or ahead of today."""
    found = []
    for one in filed:
        record, time = one.place.file(".toml"), one.record.time
        if time > tomorrow:
            found.append(f"{record}: time = {time:%Y-%m-%dT%H:%M:%SZ} is in the future; correct it")
        elif not fits_its_name(one.place, time):
            found.append(
                f"{record}: time = {time:%Y-%m-%dT%H:%M:%SZ} is not that of its name; "
                f"`northlimb amend FOLDER {one.place.id}` moves its files to fit"
            )
    return found


def _spelled_otherwise(filed: Sequence[ArchivedPicture], *, names: Sequence[NamedPosition]) -> list[str]:
    """Return names of groups that share the address of a page with one that is written in another way."""
    spelled = {group_address(one.name): one.name for one in reversed(names)}
    found = []
    for one in filed:
        for name in dict.fromkeys(group.name for group in one.record.groups or () if group.name is not None):
            first = spelled.setdefault(group_address(name), name)
            if first != name:
                found.append(
                    f"{one.place.file('.toml')}: name = {name!r}: the group is called {first!r}, whose page it shares; "
                    "write it so, or choose another name"
                )
    return found


def _contradicted(instrument: InstrumentSettings, epochs: Sequence[CameraEpoch]) -> list[str]:
    """Return a camera angle or a mirroring in the settings that the spots of several pictures speak against."""
    found = []
    for epoch in epochs:
        if epoch.pictures < _LEAST_PICTURES:
            continue
        since = f"{time_from_days(epoch.since_days):%Y-%m-%d}"
        said = f"archive.toml: instrument {instrument.name!r}:"
        told = f"the spots of {epoch.pictures} pictures since {since} say"
        if instrument.stated_mirrored is not None and epoch.mirrored != instrument.stated_mirrored:
            found.append(f"{said} mirrored = {instrument.mirrored!r}, but {told} otherwise; correct it")
        elif instrument.camera_angle_deg is not None:
            off_deg = abs(difference_deg(instrument.camera_angle_deg, epoch.angle_deg))
            sigma_deg = float(np.hypot(epoch.scatter_deg, epoch.sigma_deg))
            if off_deg > max(_LEAST_CONTRADICTION_DEG, _CONTRADICTION_SIGMAS * sigma_deg):
                found.append(
                    f"{said} camera_angle_deg = {instrument.camera_angle_deg:g}, but {told} {epoch.angle_deg:+.1f} "
                    f"± {sigma_deg:.1f}; correct it, or remove it"
                )
    return found
