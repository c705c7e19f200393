"""An observation as the picture's page gets it: numbers and words, no paths."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from archive.desk.plain_words import told
from archive.desk.workbench import Looked, SpotSeen
from archive.disk import Folder
from archive.errors import FactsError
from archive.model.observation import Observation, Orientation, Spot
from archive.records.history import read_history, text_digest
from archive.records.record import CAPTURE_FACTS
from archive.stages.groups_by_hand import Cluster, clusters_of, place_on_sun
from archive.stages.spots_in_picture import places_px, spots_in_picture
from archive.upkeep.editing import read_text, record_subject

__all__ = ["clusters_in", "counted_numbers", "neighbour_of", "picture_view"]

_SAME_PX = 0.6
_REACH_DAYS = 4.0


def picture_view(files: Folder, looked: Looked) -> dict[str, Any]:
    """Return all that the page of a picture shows and needs."""
    one, record = looked.one, looked.record
    text = read_text(files, looked.place.file(".toml"))
    undo, redo = read_history(files, record_subject(record)).offered(text, one.id)
    other = neighbour_of(looked)
    clusters = clusters_in(looked)
    return {
        "id": one.id,
        "day": looked.place.day,
        "made_from": text_digest(text),
        "time_utc": one.time_utc,
        "time_from": None if record.time_from is None else told(record.time_from),
        "site": one.site,
        "instrument": one.instrument,
        "sites": [site.name for site in looked.settings.sites],
        "instruments": [instrument.name for instrument in looked.settings.instruments],
        "band": one.band,
        "picture": {"width_px": one.picture.width_px, "height_px": one.picture.height_px},
        "disc": one.disc,
        "sun": one.sun,
        "orientation": _orientation(one.orientation),
        "stated_north_deg": record.north_angle_deg,
        "spots": [_spot(looked, number, seen, clusters) for number, seen in enumerate(looked.spots)],
        "groups": [_group(looked, number, clusters) for number in range(len(one.groups or ()))],
        "groups_by_hand": record.groups is not None,
        "counts": one.counts,
        "counts_by_hand": None if record.counts is None else record.counts.model_dump(),
        "spot_area_msh": one.spot_area_msh,
        "remarks": list(map(told, one.remarks)),
        "facts": {key: getattr(record, key) for key in CAPTURE_FACTS},
        "undo": None if undo is None else told(undo),
        "redo": None if redo is None else told(redo),
        "other": None
        if other is None
        else {"id": other.id, "day": other.day, "earlier": other.time_utc < one.time_utc},
    }


def neighbour_of(looked: Looked) -> Observation | None:
    """Return the picture before, else after, with which north can be compared; None where there is none near."""
    one = looked.one
    known = [
        other
        for other in looked.others
        if other.id != one.id
        and other.band == one.band
        and other.orientation.is_known
        and abs((other.time_utc - one.time_utc).total_seconds()) < _REACH_DAYS * 86400.0
    ]
    # A picture of the same hours shows the same face: one of another day tells more.
    apart = [other for other in known if abs((other.time_utc - one.time_utc).total_seconds()) > 36000.0]
    before = [other for other in apart if other.time_utc < one.time_utc]
    if before:
        return before[-1]
    return apart[0] if apart else None


def counted_numbers(looked: Looked) -> list[int]:
    """Return which spots of a picture are counted: no dust by the record, and none by the camera's frame."""
    spots = [number for number, seen in enumerate(looked.spots) if not seen.dust]
    if looked.record.groups is not None:
        return spots
    there = spots_in_picture(looked.one)
    return [number for number in spots if any(_is_at(looked.spots[number], seen.x_px, seen.y_px) for seen in there)]


def clusters_in(looked: Looked) -> list[Cluster]:
    """Return the groups of a picture with their spots; none where north is unknown."""
    try:
        spots = [seen.spot for seen in looked.spots]
        return clusters_of(looked.one, spots, counted_numbers(looked), names=looked.names)
    except FactsError:
        return []


def _orientation(one: Orientation) -> dict[str, Any]:
    found = asdict(one)
    for piece in found["evidence"]:
        piece["note"] = told(piece["note"])
    return {**found, "disputes": list(map(told, one.disputes))}


def _is_at(seen: SpotSeen, x_px: float, y_px: float) -> bool:
    return abs(seen.x_px - x_px) < _SAME_PX and abs(seen.y_px - y_px) < _SAME_PX


def _mean(spots: Sequence[Spot]) -> Spot:
    """Return the middle of a group's spots, by area where that is known."""
    weights = [spot.area_msh or 1e-6 for spot in spots]
    right, up = (
        sum(weight * getattr(spot, key) for weight, spot in zip(weights, spots, strict=True)) / sum(weights)
        for key in ("right", "up")
    )
    return Spot(right, up, 0.0, 0.0)


def _spot(looked: Looked, number: int, seen: SpotSeen, clusters: Sequence[Cluster]) -> dict[str, Any]:
    place: dict[str, float] = {}
    if looked.one.orientation.is_known:
        latitude_deg, longitude_deg, meridian_deg = place_on_sun(looked.one, seen.x_px, seen.y_px)
        place = {
            "latitude_deg": round(latitude_deg, 1),
            "longitude_deg": round(longitude_deg, 1),
            "meridian_deg": round(meridian_deg, 1),
        }
    group = next((at for at, cluster in enumerate(clusters) if number in cluster.members), None)
    counted = not seen.dust and (group is not None or not clusters)
    return {
        "x_px": seen.x_px,
        "y_px": seen.y_px,
        "radius_px": seen.radius_px,
        "area_msh": round(seen.spot.area_msh, 1) if seen.spot.area_known else None,
        "umbra_msh": None if seen.spot.umbra_msh is None else round(seen.spot.umbra_msh, 1),
        "group": group,
        "status": "dust" if seen.dust else "counted" if counted else "left out",
        **place,
    }


def _group(looked: Looked, number: int, clusters: Sequence[Cluster]) -> dict[str, Any]:
    named = (looked.one.groups or ())[number]
    group = named.group
    way_up = looked.one.orientation
    (place,) = places_px(
        looked.one.disc,
        [_mean(group.spots)],
        north_angle_deg=way_up.north_angle_deg or 0.0,
        mirrored=bool(way_up.mirrored),
    ).tolist()
    return {
        "name": named.name,
        "by_hand": named.stated,
        # A group of a spot that was only pointed at has none of the measured ones, so none is doubtful.
        "sure": number >= len(clusters) or clusters[number].sure or not clusters[number].members,
        "spots": len(group.spots),
        "area_msh": None if group.area_msh is None else round(group.area_msh, 1),
        "umbra_msh": None if group.umbra_msh is None else round(group.umbra_msh, 1),
        "latitude_deg": group.latitude_deg,
        "longitude_deg": group.carrington_longitude_deg,
        "meridian_deg": group.central_meridian_distance_deg,
        "latitude_sigma_deg": group.latitude_sigma_deg,
        "longitude_sigma_deg": group.longitude_sigma_deg,
        "x_px": round(place[0], 1),
        "y_px": round(place[1], 1),
    }
