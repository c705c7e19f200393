"""Comparison of days: each day's disc derotated to the moment of the day before it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import timedelta
from itertools import groupby

from archive.disc.derotation import SPOT_LAW, ViewGeometry
from archive.model.constants import SUN_DISTANCE_RADII
from archive.model.days import picture_of_day
from archive.model.observation import Observation
from archive.model.times import days_since_1970
from archive.stages.archive import Archive
from archive.stages.comparison_picture import derotated_picture
from archive.stages.discs import whole_discs
from archive.stages.first_pass import Views
from archive.store import Blob
from archive.website.content import Content, DerotatedDisc, DerotationLaw

__all__ = ["DEROTATION", "compared_views", "with_derotated"]

# In a week the Sun turns by 100 degrees: little of the visible half remains.
_REACH = timedelta(days=7)

DEROTATION = DerotationLaw(SPOT_LAW.at_equator_deg_per_day, SPOT_LAW.sine_squared_deg_per_day, SUN_DISTANCE_RADII)


def with_derotated(archive: Archive, content: Content, discs: Mapping[str, Blob]) -> Content:
    """Add to each day's main picture itself as it was at the moment of the main picture before it, of the same band.

    `discs` tells what the north-up discs were when they were made, by the observation's id.
    """
    pairs, store = _pairs([entry.observation for entry in content.entries]), archive.store
    inputs = {after.id: [discs[after.id], _view_geometry(after), _view_geometry(before)] for before, after in pairs}
    pictures = store.get_all(derotated_picture, inputs, Blob)
    wanted = [(before, after) for before, after in pairs if after.id not in pictures]
    whole = whole_discs(archive, [after for _, after in wanted], discs)
    made = archive.executor.map(
        derotated_picture,
        ((whole[after.id].read(), _view_geometry(after), _view_geometry(before)) for before, after in wanted),
    )
    for number, ((_, after), data) in enumerate(zip(wanted, made, strict=True)):
        archive.on_progress("comparing days", number, len(wanted))
        blob = store.add_blob(data)
        store.put(derotated_picture, after.id, inputs[after.id], blob, blobs=[blob])
        pictures[after.id] = blob
    archive.on_progress("comparing days", len(wanted), len(wanted))
    store.forget(derotated_picture, keep=inputs)
    turned = {after.id: DerotatedDisc(before.id, before.day, pictures[after.id]) for before, after in pairs}
    entries = [
        replace(entry, derotated=turned[entry.observation.id]) if entry.observation.id in turned else entry
        for entry in content.entries
    ]
    return replace(content, entries=entries, derotation=DEROTATION)


def compared_views(found: Sequence[Observation]) -> dict[str, Views]:
    """Return, by the ids of the pictures that are derotated, the view that each shows and the view it is brought to."""
    return {after.id: (_view_geometry(after), _view_geometry(before)) for before, after in _pairs(found)}


def _pairs(found: Sequence[Observation]) -> list[tuple[Observation, Observation]]:
    latest: dict[str, Observation] = {}
    pairs = []
    for _, of_day in groupby(found, key=lambda one: one.day):
        one = picture_of_day(of_day)
        if not one.orientation.is_known:
            continue
        before = latest.get(one.band)
        if before is not None and one.time_utc - before.time_utc <= _REACH:
            pairs.append((before, one))
        latest[one.band] = one
    return pairs


def _view_geometry(one: Observation) -> ViewGeometry:
    return ViewGeometry(days_since_1970(one.time_utc), one.sun.b0_deg, one.sun.l0_deg)
