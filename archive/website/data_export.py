"""The observations as plain data for other programs: JSON, CSV and the package that describes them.

Unknown values are null (empty in the CSV), never 0 and never NaN.

References
----------
Frictionless Data Package and Table Schema, version 1 (specs.frictionlessdata.io); RFC 8259 (JSON);
RFC 4180 (CSV).
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import math
from collections.abc import Mapping, Sequence
from datetime import datetime

from archive.observation import Alternative, Capture, Counts, Disc, Observation, Orientation, PictureFile, SunView
from archive.website.content import Content
from archive.website.data_columns import COLUMNS, Column

__all__ = ["data_files", "observation_record"]

Record = dict[str, object]


def data_files(content: Content) -> dict[str, bytes]:
    """Write the data of all observations.

    Parameters
    ----------
    content : Content
        Entries in time order.

    Returns
    -------
    dict of str to bytes
        File name in the site's data folder, and its bytes.
    """
    records = [observation_record(entry.observation) for entry in content.entries]
    files = {
        "observations.json": _json_bytes(records),
        "observations.csv": _csv_bytes(records),
        "groups.json": _json_bytes([]),
    }
    return {**files, "datapackage.json": _json_bytes(_package(content.info.title, files))}


def observation_record(observation: Observation) -> Record:
    """Return one observation under the names that other programs rely on, ready for JSON."""
    return {
        "id": observation.id,
        "time_utc": _time(observation.time_utc),
        "site": observation.site,
        "instrument": observation.instrument,
        "band": observation.band,
        "picture": _picture(observation.picture),
        "disc": _disc(observation.disc),
        "orientation": _orientation(observation.orientation),
        "sun": _sun(observation.sun),
        "counts": _counts(observation.counts),
        "spot_area_msh": _rounded(observation.spot_area_msh, 1),
        "capture": _capture(observation.capture),
    }


def _picture(picture: PictureFile) -> Record:
    return {
        "file": picture.file,
        "sha256": picture.sha256,
        "width_px": picture.width_px,
        "height_px": picture.height_px,
        "bit_depth": picture.bit_depth,
    }


def _disc(disc: Disc) -> Record:
    return {
        "x_px": _rounded(disc.x_px, 3),
        "y_px": _rounded(disc.y_px, 3),
        "radius_px": _rounded(disc.radius_px, 3),
        "flattening": _rounded(disc.flattening, 6),
        "short_axis_angle_deg": _rounded(disc.short_axis_angle_deg, 4),
        "rms_px": _rounded(disc.rms_px, 3),
        "sigma_px": _rounded(disc.sigma_px, 3),
        "limb_fraction": _rounded(disc.limb_fraction, 4),
        "blur_px": _rounded(disc.blur_px, 3),
    }


def _orientation(orientation: Orientation) -> Record:
    evidence = [
        {
            "kind": piece.kind,
            "north_angle_deg": _rounded(piece.north_angle_deg, 4),
            "sigma_deg": _rounded(piece.sigma_deg, 4),
            "mirrored": piece.mirrored,
            "note": piece.note,
        }
        for piece in orientation.evidence
    ]
    return {
        "status": orientation.status,
        "north_angle_deg": _rounded(orientation.north_angle_deg, 4),
        "mirrored": orientation.mirrored,
        "sigma_deg": _rounded(orientation.sigma_deg, 4),
        "evidence": evidence,
        "alternative": _alternative(orientation.alternative),
    }


def _alternative(alternative: Alternative | None) -> Record | None:
    if alternative is None:
        return None
    return {
        "north_angle_deg": _rounded(alternative.north_angle_deg, 4),
        "mirrored": alternative.mirrored,
        "odds": _rounded(alternative.odds, 1),
    }


def _sun(sun: SunView) -> Record:
    return {
        "p_deg": _rounded(sun.p_deg, 4),
        "b0_deg": _rounded(sun.b0_deg, 4),
        "l0_deg": _rounded(sun.l0_deg, 4),
        "semidiameter_arcsec": _rounded(sun.semidiameter_arcsec, 2),
        "distance_au": _rounded(sun.distance_au, 7),
        "carrington_rotation": sun.carrington_rotation,
        "altitude_deg": _rounded(sun.altitude_deg, 4),
        "azimuth_deg": _rounded(sun.azimuth_deg, 4),
        "parallactic_angle_deg": _rounded(sun.parallactic_angle_deg, 4),
    }


def _counts(counts: Counts | None) -> Record:
    """Keep the three names where nothing was counted, so that every record has the same shape."""
    if counts is None:
        return {"groups": None, "spots": None, "relative_number": None}
    return {
        "groups": counts.groups,
        "spots": counts.spots,
        "relative_number": _rounded(counts.relative_number, 1),
    }


def _capture(capture: Capture) -> Record:
    return {
        "start_utc": None if capture.start_utc is None else _time(capture.start_utc),
        "length_s": _rounded(capture.length_s, 3),
        "filter": capture.filter,
        "exposure_s": _rounded(capture.exposure_s, 6),
        "gain": _rounded(capture.gain, 3),
        "binning": capture.binning,
        "frames_captured": capture.frames_captured,
        "frames_stacked": capture.frames_stacked,
        "seeing": _rounded(capture.seeing, 1),
        "transparency": capture.transparency,
    }


def _time(time_utc: datetime) -> str:
    return f"{time_utc:%Y-%m-%dT%H:%M:%SZ}"


def _rounded(value: float | None, decimals: int) -> float | None:
    """Round; what is not a finite figure is not known."""
    if value is None or not math.isfinite(value):
        return None
    return round(float(value), decimals) + 0.0  # -0.0 becomes 0.0


def _json_bytes(value: object) -> bytes:
    return (json.dumps(value, ensure_ascii=False, indent=1, allow_nan=False) + "\n").encode()


def _csv_bytes(records: Sequence[Record]) -> bytes:
    stream = io.StringIO(newline="")
    writer = csv.writer(stream, lineterminator="\r\n")
    writer.writerow(column.name for column in COLUMNS)
    for record in records:
        flat = _flattened(record)  # without an alternative reading its columns are missing here, and stay empty
        writer.writerow(_cell(flat.get(column.name)) for column in COLUMNS)
    return stream.getvalue().encode()


def _flattened(record: Mapping[str, object], prefix: str = "") -> Record:
    """Bring the names inside other names to one level, joined by ``_``; lists stay whole."""
    flat: Record = {}
    for name, value in record.items():
        if isinstance(value, dict):
            flat |= _flattened(value, f"{prefix}{name}_")
        else:
            flat[prefix + name] = value
    return flat


def _cell(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, bool | list):
        return json.dumps(value, ensure_ascii=False)
    return str(value)


def _package(title: str, files: Mapping[str, bytes]) -> Record:
    schema = {"fields": [_field(column) for column in COLUMNS], "missingValues": [""], "primaryKey": ["id"]}
    table = {**_resource("observations.csv", files, "One row an observation"), "schema": schema}
    return {
        "profile": "data-package",
        "name": "observations-of-the-sun",
        "title": title,
        "description": "Pictures of the Sun: when, how they lie, and what was measured in them.",
        "resources": [
            {**table, "profile": "tabular-data-resource"},
            _resource("observations.json", files, "The same, nested, with every piece of evidence"),
            _resource("groups.json", files, "Sunspot groups followed from day to day"),
        ],
    }


def _resource(name: str, files: Mapping[str, bytes], description: str) -> Record:
    stem, _, kind = name.partition(".")
    return {
        "name": stem if kind == "csv" else f"{stem}-{kind}",
        "path": name,
        "description": description,
        "format": kind,
        "mediatype": "text/csv" if kind == "csv" else "application/json",
        "encoding": "utf-8",
        "bytes": len(files[name]),
        "hash": f"sha256:{hashlib.sha256(files[name]).hexdigest()}",
    }


def _field(column: Column) -> Record:
    field: Record = {"name": column.name, "type": column.kind, "description": column.meaning}
    if column.unit:
        field["unit"] = column.unit
    return field
