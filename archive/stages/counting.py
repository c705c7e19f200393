"""Counting: spots grouped, groups followed under their names; the observer's corrections win."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from archive.measuring.detail import AREA_REACH_RADII, smallest_shown_msh
from archive.measuring.fixed_pattern import SpotPositions, fixed_pattern_specks
from archive.measuring.following import named_groups, names_to_register
from archive.measuring.returns import with_returns
from archive.measuring.transit_dots import transit_remark, without_planet
from archive.model.group import Group, NamedPosition
from archive.model.observation import Counts, FoundSpots, NamedGroup, Observation, Spot, SpotGroup
from archive.model.times import days_since_1970
from archive.records.official_numbers import read_numbers
from archive.records.record import Record
from archive.records.settings import Settings, find_named
from archive.stages.archive import Archive
from archive.stages.eclipses import published
from archive.stages.evidence import is_up
from archive.stages.grouping import CountedSpots, groups_through_time
from archive.stages.spots_in_picture import places_px
from archive.stages.studies import studied_pictures
from archive.stages.uncounted import caveats, least_spot_msh, shows_spots, uncounted_remark
from archive.sun.transits import Transit, transits_at

__all__ = ["CountResult", "count_spots"]


# Days on which the Earth may pass the nodes of Mercury (May, November) and of Venus (June, December), with some to
# spare: those of 1800 to 2200 fall on 5 to 12 May, 5 to 16 November, 3 to 11 June, 6 to 13 December (from memory).
_TRANSIT_DAYS = {5: (3, 14), 6: (3, 13), 11: (3, 18), 12: (4, 15)}
# Stricter than as evidence for north: a spot left out there costs little, here it is missing from the count.
_DAYS_OF_DUST, _SAME_PLACE_RADII = 2, 0.008


@dataclass(frozen=True)
class CountResult:
    """Observations with their counts, the groups through time, and the names given for the first time."""

    observations: tuple[Observation, ...]
    groups: tuple[Group, ...]
    new_names: tuple[NamedPosition, ...]


def count_spots(
    archive: Archive, found: Sequence[Observation], records: Mapping[str, Record], *, names: Sequence[NamedPosition]
) -> CountResult:
    """Count every white-light picture of a Sun that is up, and that shows its spots or has a count by hand.

    Parameters
    ----------
    archive : Archive
    found : sequence of Observation
        In order of time.
    records : mapping
        By the observation's id.
    names : sequence of NamedPosition
        All given so far.
    """
    looked_at = [
        one for one in found if one.band == "white" and is_up(one.sun) and shows_spots(one.disc, records[one.id])
    ]
    studied = studied_pictures(archive, [one.picture for one in looked_at])
    found_spots = {one.id: kept.spots for one, kept in zip(looked_at, studied, strict=True)}
    why_not = {
        one.id: uncounted_remark(one.disc, kept.spots, records[one.id], kept.measured.crescent)
        for one, kept in zip(looked_at, studied, strict=True)
    }
    remarks = {
        one.id: (why,) if (why := why_not[one.id]) else caveats(one.disc, found_spots[one.id], records[one.id])
        for one in looked_at
    }
    found = [replace(one, remarks=(*one.remarks, *remarks.get(one.id, ()))) for one in found]
    counted = [one for one in looked_at if why_not[one.id] is None]
    spots = {one.id: _clean(one, found_spots[one.id].spots, records[one.id]) for one in counted}
    for one, transit in _transits(archive.settings, counted):
        kept = without_planet(one, spots[one.id], transit)
        told = transit_remark(transit, found=len(kept) < len(spots[one.id]))
        found = [replace(other, remarks=(*other.remarks, told)) if other.id == one.id else other for other in found]
        spots[one.id] = kept
    spots = _without_fixed_pattern(counted, spots)
    through_time = groups_through_time(
        archive.store,
        [_counted_spots(one, spots[one.id], found_spots[one.id], records[one.id]) for one in counted],
        names=names,
    )
    groups = through_time.groups
    rotations = {days_since_1970(one.time_utc): one.sun.carrington_rotation for one in counted}
    followed = _with_official(
        with_returns(named_groups(through_time.tracks, register=names, rotation_of=rotations.__getitem__)),
        read_numbers(archive.files),
    )
    called = {(seen.observation_id, seen.group): track for track in followed for seen in track.sightings}
    observations = tuple(
        _with_counts(
            one,
            groups[one.id],
            called,
            records[one.id],
            k=archive.settings.k_of(one.observer, one.instrument),
            least_msh=least_spot_msh(one.disc, found_spots[one.id], records[one.id]),
        )
        if one.id in groups
        else one
        for one in found
    )
    return CountResult(observations, followed, names_to_register(followed, known={one.name for one in names}))


def _transits(settings: Settings, counted: Sequence[Observation]) -> list[tuple[Observation, Transit]]:
    """Return the pictures in which a planet is before the Sun; from the site as it may be published."""
    by_site: dict[str, list[Observation]] = defaultdict(list)
    for one in counted:
        first, last = _TRANSIT_DAYS.get(one.time_utc.month, (0, 0))
        if first <= one.time_utc.day <= last:
            by_site[one.site].append(one)
    return [
        (one, transit)
        for name, pictures in by_site.items()
        for one, transit in zip(
            pictures,
            transits_at(
                [one.time_utc for one in pictures], published(settings, find_named(settings.sites, name, what="site"))
            ),
            strict=True,
        )
        if transit is not None
    ]


def _counted_spots(one: Observation, spots: tuple[Spot, ...], found: FoundSpots, record: Record) -> CountedSpots:
    return CountedSpots(one, spots, smallest_shown_msh(one.disc, found.least_depth), record.groups)


def _clean(one: Observation, spots: tuple[Spot, ...], record: Record) -> tuple[Spot, ...]:
    """Return the spots but those that the observer calls dust."""
    if not record.dust:
        return spots
    dust = [(np.array([speck.x_px, speck.y_px]), speck.radius_px) for speck in record.dust]
    return tuple(
        spot
        for spot, place in zip(spots, places_px(one.disc, spots), strict=True)
        if all(np.hypot(*(place - centre)) > radius_px for centre, radius_px in dust)
    )


def _without_fixed_pattern(
    counted: Sequence[Observation], spots: Mapping[str, tuple[Spot, ...]]
) -> dict[str, tuple[Spot, ...]]:
    """Return the spots but specks at a fixed place in the frame of an instrument from day to day."""
    kept = dict(spots)
    by_instrument: dict[str, list[Observation]] = defaultdict(list)
    for one in counted:
        by_instrument[one.instrument].append(one)
    for pictures in by_instrument.values():
        placed = [
            SpotPositions(
                days_since_1970(one.time_utc),
                np.array([[spot.right, spot.up] for spot in spots[one.id]]).reshape(-1, 2),
                places_px(one.disc, spots[one.id]) / one.disc.radius_px,
            )
            for one in pictures
        ]
        specks = fixed_pattern_specks(placed, min_days=_DAYS_OF_DUST, tolerance_radii=_SAME_PLACE_RADII)
        for one, stands in zip(pictures, specks, strict=True):
            kept[one.id] = tuple(spot for spot, speck in zip(spots[one.id], stands, strict=True) if not speck)
    return kept


def _with_counts(
    one: Observation,
    groups: Sequence[SpotGroup],
    called: Mapping[tuple[str, SpotGroup], Group],
    record: Record,
    *,
    k: float,
    least_msh: float | None,
) -> Observation:
    by_hand = record.groups is not None
    spots = sum(len(group.spots) for group in groups)
    number = len(groups)
    # Without the area of one group that of all is not known; near the limb none can be, and the rest is told.
    told = [group for group in groups if not _is_at_limb(group)]
    areas_msh = [group.area_msh for group in told if group.area_msh is not None]
    sigmas_msh = [group.area_sigma_msh for group in told if group.area_sigma_msh is not None]
    is_told = bool(told) or not groups
    if record.counts is not None:
        number, spots = record.counts.groups, record.counts.spots
    return replace(
        one,
        counts=Counts(number, spots, k * (10 * number + spots), record.is_counted, least_msh),
        spot_area_msh=sum(areas_msh) if is_told and len(areas_msh) == len(told) else None,
        spot_area_sigma_msh=sum(sigmas_msh) if is_told and len(sigmas_msh) == len(told) else None,
        groups=tuple(_named(called.get((one.id, group)), group, by_hand) for group in groups),
    )


def _named(track: Group | None, group: SpotGroup, by_hand: bool) -> NamedGroup:
    if track is None:
        return NamedGroup(None, group, by_hand)
    return NamedGroup(track.name, group, by_hand, track.official_name)


def _with_official(groups: Sequence[Group], official: Mapping[str, str | None]) -> tuple[Group, ...]:
    """Return the groups with their official names, which may stand under a name that is no longer used."""
    found = []
    for group in groups:
        names = [official[name] for name in (group.name, *group.other_names) if name in official]
        found.append(replace(group, official_name=names[0]) if names else group)
    return tuple(found)


def _is_at_limb(group: SpotGroup) -> bool:
    """Return whether a group has no area because it is too near the limb for one."""
    unknown = [spot for spot in group.spots if not spot.area_known]
    return bool(unknown) and all(math.hypot(spot.right, spot.up) > AREA_REACH_RADII for spot in unknown)
