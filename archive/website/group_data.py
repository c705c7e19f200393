"""Sunspot groups under the names that other programs rely on."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from archive.model.group import GroupRotation
from archive.website.data_formats import Record, rounded, rounded_by
from archive.website.followed import Followed, Seen

__all__ = ["group_records", "sighting_rows"]


def group_records(groups: Sequence[Followed]) -> list[dict[str, Any]]:
    """Return each group with its sightings, ready for JSON."""
    return [
        {
            "name": group.name,
            "sightings": [_sighting(seen) for seen in group.seen],
            **_rotation(group.group.rotation),
            "return_of": group.group.return_of,
            "other_names": list(group.group.other_names),
            "official_name": group.group.official_name,
        }
        for group in groups
    ]


def _rotation(rotation: GroupRotation | None) -> Record:
    """Keep the names where it is not measured, so that every record has the same shape."""
    if rotation is None:
        return {"rotation_deg_per_day": None, "rotation_sigma": None}
    return {
        "rotation_deg_per_day": rounded_by(rotation.rate_deg_per_day, rotation.sigma_deg_per_day, 3),
        "rotation_sigma": rounded(rotation.sigma_deg_per_day, 3),
    }


def sighting_rows(records: Sequence[dict[str, Any]]) -> list[Record]:
    """Return a flat row a sighting; what holds for the whole group is repeated in each."""
    return [{**record, **sighting} for record in records for sighting in record["sightings"]]


def _sighting(seen: Seen) -> Record:
    group = seen.group
    return {
        "observation": seen.observation.id,
        "latitude_deg": rounded_by(group.latitude_deg, group.latitude_sigma_deg, 3),
        "carrington_longitude_deg": rounded_by(group.carrington_longitude_deg, group.longitude_sigma_deg, 3),
        "central_meridian_distance_deg": rounded_by(group.central_meridian_distance_deg, group.longitude_sigma_deg, 3),
        "area_msh": rounded_by(group.area_msh, group.area_sigma_msh, 1),
        "spots": len(group.spots),
        "latitude_sigma_deg": rounded(group.latitude_sigma_deg, 3),
        "longitude_sigma_deg": rounded(group.longitude_sigma_deg, 3),
        "umbra_msh": rounded_by(group.umbra_msh, group.umbra_sigma_msh, 1),
        "area_sigma_msh": rounded(group.area_sigma_msh, 1),
        "umbra_sigma_msh": rounded(group.umbra_sigma_msh, 1),
        "stated": seen.stated,
    }
