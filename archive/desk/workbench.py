"""Observations held in memory, so that what a correction does to one is known at once.

A picture is looked at together with those of the weeks about it, as `show` does. What the others tell is kept; with a
changed record only the picture itself is weighed and counted anew.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Mapping
from dataclasses import dataclass, replace
from math import hypot

from archive.disk import Folder, Stamp, stamp_of
from archive.errors import FactsError
from archive.model.group import NamedPosition
from archive.model.observation import Observation, Spot
from archive.records.group_names import GROUP_NAMES_FILE, read_names
from archive.records.official_numbers import OFFICIAL_NUMBERS_FILE
from archive.records.places import Place, place_of_id, places
from archive.records.record import Record, read_record
from archive.records.settings import SETTINGS_NAME, Settings
from archive.stages.archive import opened_archive
from archive.stages.counting import count_spots
from archive.stages.inspection import (
    ArchivedPicture,
    MeasuredPicture,
    days_near,
    measured_pictures,
    near_days,
    observations,
    solve,
)
from archive.stages.solving import Solutions
from archive.stages.spots_in_picture import places_px
from archive.stages.studies import studied_pictures

__all__ = ["Looked", "SpotSeen", "Workbench"]

_MOST_HELD = 4


@dataclass(frozen=True)
class SpotSeen:
    """A measured spot of a picture, where it is in the picture as displayed; `dust` where the record says so."""

    x_px: float
    y_px: float
    radius_px: float
    spot: Spot
    dust: bool


@dataclass(frozen=True)
class Looked:
    """An observation with its record, all spots found in its picture, and the pictures of the weeks about it.

    `names` are those of groups that were given for good; a group of another name was named for this look alone.
    """

    place: Place
    record: Record
    one: Observation
    spots: tuple[SpotSeen, ...]
    others: tuple[Observation, ...]
    settings: Settings
    names: frozenset[str]


@dataclass(frozen=True)
class _Held:
    stamps: Mapping[str, Stamp]
    own: tuple[object, ...]
    settings: Settings
    known: tuple[MeasuredPicture, ...]
    solved: Solutions
    names: tuple[NamedPosition, ...]


class Workbench:
    """Looks at pictures of one archive, one at a time; the last few neighbourhoods stay in memory."""

    def __init__(self, files: Folder) -> None:
        self._files = files
        self._held: OrderedDict[str, _Held] = OrderedDict()
        self._last: tuple[_Held, Looked] | None = None
        self._lock = threading.Lock()

    def look(self, identifier: str) -> Looked:
        """Return an observation as its record now has it.

        Raises
        ------
        ArchiveError
            No such observation, or one that is not measured; or a record or an original is wrong.
        """
        place = place_of_id(identifier)
        if not self._files.is_file(place.file(".toml")):
            raise FactsError(f"{identifier}: no such observation")
        with self._lock:
            record = read_record(self._files, place.file(".toml"))
            held = self._neighbourhood(place, record)
            if self._last is None or self._last[0] is not held or self._last[1].record != record:
                self._last = held, self._looked(place, record, held)
            return self._last[1]

    def _neighbourhood(self, place: Place, record: Record) -> _Held:
        # What of a record the measurement itself depends on.
        own = (record.time, record.site, record.instrument, record.band, record.drift_px, record.picture.sha256)
        stamps = self._stamps(place)
        held = self._held.get(place.id)
        if held is None or (held.stamps, held.own) != (stamps, own):
            held = self._solved(place, stamps, own)
            self._held[place.id] = held
        self._held.move_to_end(place.id)
        while len(self._held) > _MOST_HELD:
            self._held.popitem(last=False)
        return held

    def _stamps(self, place: Place) -> dict[str, Stamp]:
        """Return stamps of settings, names and the records of the weeks about a picture, but for its own."""
        near = [SETTINGS_NAME, GROUP_NAMES_FILE, OFFICIAL_NUMBERS_FILE, *self._near_records(place)]
        statuses = {file: self._files.status(file) for file in near}
        return {file: stamp_of(status) for file, status in statuses.items() if status is not None}

    def _near_records(self, place: Place) -> list[str]:
        return [one.file(".toml") for one in places(self._files, days_near({place.day})) if one != place]

    def _solved(self, place: Place, stamps: Mapping[str, Stamp], own: tuple[object, ...]) -> _Held:
        with opened_archive(self._files.path) as archive:
            filed = near_days(archive, {place.day})
            known = tuple(measured_pictures(archive, filed))
            if all(one.filed.place != place for one in known):
                raise FactsError(f"{place.id}: is kept as a picture that is only shown; nothing is measured in it")
            asked = {one.filed.place.id for one in known if one.filed.place.day == place.day}
            solved = solve(archive, known, asked=asked)
            return _Held(stamps, own, archive.settings, known, solved, read_names(archive.files))

    def _looked(self, place: Place, record: Record, held: _Held) -> Looked:
        known = [
            replace(one, filed=ArchivedPicture(place, record)) if one.filed.place == place else one
            for one in held.known
        ]
        found = observations(known, held.solved)
        records = {one.filed.place.id: one.filed.record for one in known}
        with opened_archive(self._files.path) as archive:
            counted = count_spots(archive, found, records, names=held.names).observations
            one = next(one for one in counted if one.id == place.id)
            (study,) = studied_pictures(archive, [one.picture])
        names = frozenset(given.name for given in held.names)
        spots = study.spots.spots if one.band == "white" else ()
        return Looked(place, record, one, _seen(one, spots, record), counted, held.settings, names)


def _seen(one: Observation, spots: tuple[Spot, ...], record: Record) -> tuple[SpotSeen, ...]:
    """Return the spots where they are in the picture; as long as wide, since an area tells no more."""
    found = []
    for spot, (x_px, y_px) in zip(spots, places_px(one.disc, spots).tolist(), strict=True):
        mu = max(1.0 - spot.right**2 - spot.up**2, 0.05) ** 0.5
        # A hemisphere has 2 pi square radii; foreshortening takes mu of it.
        radius_px = one.disc.radius_px * (2.0 * spot.area_msh * 1e-6 * mu) ** 0.5
        dust = any(hypot(speck.x_px - x_px, speck.y_px - y_px) <= speck.radius_px for speck in record.dust)
        found.append(SpotSeen(round(x_px, 2), round(y_px, 2), round(max(radius_px, 1.0), 2), spot, dust))
    return tuple(found)
