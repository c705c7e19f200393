"""The data for other programs: JSON, CSV and the package that describes them.

Unknown values are null (empty in the CSV), never 0 and never NaN.

References
----------
Frictionless Data Package and Table Schema, version 1 (specs.frictionlessdata.io).
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence

from archive.language import gettext
from archive.model.licence import contact_of, licence_of
from archive.website.content import Content, SiteInfo
from archive.website.data_columns import COLUMNS, GROUP_COLUMNS, Column
from archive.website.data_formats import Record, csv_bytes, json_bytes
from archive.website.followed import Followed
from archive.website.group_data import group_records, sighting_rows
from archive.website.observation_data import observation_record

__all__ = ["data_files"]


def data_files(content: Content, groups: Sequence[Followed]) -> dict[str, bytes]:
    """Write the data of all observations and groups.

    Parameters
    ----------
    content : Content
        Entries in time order.
    groups : sequence of Followed
        In the order to be written.

    Returns
    -------
    dict of str to bytes
        File name in the site's data folder, and its bytes.
    """
    files = {**_observation_files(content), **_group_files(groups)}
    return {**files, "datapackage.json": json_bytes(_package(content.info, files))}


def _observation_files(content: Content) -> dict[str, bytes]:
    records = [observation_record(entry.observation) for entry in content.entries]
    return {"observations.json": json_bytes(records), "observations.csv": csv_bytes(COLUMNS, records)}


def _group_files(groups: Sequence[Followed]) -> dict[str, bytes]:
    followed = group_records(groups)
    return {"groups.json": json_bytes(followed), "groups.csv": csv_bytes(GROUP_COLUMNS, sighting_rows(followed))}


def _package(info: SiteInfo, files: Mapping[str, bytes]) -> Record:
    observation = {"fields": "observation", "reference": {"resource": "observations", "fields": "id"}}
    return {
        "profile": "data-package",
        "name": "observations-of-the-sun",
        "title": info.title,
        "description": gettext("Pictures of the Sun: times, orientations and measurements."),
        "contributors": [_author(info), *_others(info)],
        **_licences(info),
        "resources": [
            {
                **_resource("observations.csv", files, gettext("One row per observation")),
                **_tabular(COLUMNS, {"primaryKey": ["id"]}),
            },
            _resource("observations.json", files, gettext("The same, nested, with every piece of evidence")),
            {
                **_resource("groups.csv", files, gettext("One row per sighting of a sunspot group in an observation")),
                **_tabular(GROUP_COLUMNS, {"foreignKeys": [observation]}),
            },
            _resource("groups.json", files, gettext("Sunspot groups tracked from day to day, each with its sightings")),
        ],
    }


def _author(info: SiteInfo) -> Record:
    contact = contact_of(info.contact)
    reached = {} if contact is None else {"email": contact.mail, "path": contact.web}
    return {"title": info.observer, "role": "author", **{name: at for name, at in reached.items() if at is not None}}


def _others(info: SiteInfo) -> list[Record]:
    return [{"title": one.name, "role": "contributor"} for one in info.observers if one.name != info.observer]


def _licences(info: SiteInfo) -> Record:
    """Return the licence as a package names it: by name, by address, or, of the observer's own words, by title."""
    licence = licence_of(info.licence)
    if licence is None:
        return {}
    named = {"name": licence.words} if licence.is_identifier else {}
    reached = {} if licence.address is None else {"path": licence.address}
    # A name or an address is asked for; words alone have neither, and stand as the name.
    return {"licenses": [named | reached or {"name": "other", "title": licence.words}]}


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


def _tabular(columns: Sequence[Column], keys: Record) -> Record:
    schema = {"fields": [_field(column) for column in columns], "missingValues": [""], **keys}
    return {"profile": "tabular-data-resource", "schema": schema}


def _field(column: Column) -> Record:
    field: Record = {"name": column.name, "type": column.kind, "description": column.meaning_spoken}
    if column.unit:
        field["unit"] = column.unit
    return field
