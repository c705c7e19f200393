"""The page on the data: what each file holds, and what each column means."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from archive.language import gettext, gettext_noop
from archive.website import addresses
from archive.website.addresses import Here
from archive.website.content import Content
from archive.website.data_columns import COLUMNS, GROUP_COLUMNS, Column
from archive.website.machine_words import dataset_frame
from archive.website.pages import Frame, Link, SiteFace, frame

__all__ = ["DataFile", "DataPage", "DataTable", "data_page"]

_FILES = (
    (addresses.OBSERVATIONS_CSV, gettext_noop("One row per observation, for a spreadsheet or a script.")),
    (addresses.OBSERVATIONS_JSON, gettext_noop("The same with every piece of evidence, nested, in order of time.")),
    (addresses.GROUPS_CSV, gettext_noop("Sunspot groups tracked from day to day: one row per sighting.")),
    (addresses.GROUPS_JSON, gettext_noop("The same by group, each with its sightings.")),
    (addresses.DATA_PACKAGE, gettext_noop("A Frictionless Data Package: names, units and meaning of the columns.")),
)


@dataclass(frozen=True)
class DataFile:
    """A file to take away, and what it holds."""

    link: Link
    holds: str


@dataclass(frozen=True)
class DataTable:
    """The columns of a table; `anchor` is where links to it lead."""

    anchor: str
    words: str
    columns: tuple[Column, ...]


@dataclass(frozen=True)
class DataPage:
    """The files, and the columns of the tables."""

    frame: Frame
    files: tuple[DataFile, ...]
    tables: tuple[DataTable, ...]


def data_page(content: Content, face: SiteFace) -> DataPage:
    """Gather the page on the data."""
    here = Here(addresses.DATA)
    description = gettext("The observations of {observer} as plain files", observer=face.observer)
    plain = frame(face, here, title=gettext("Data"), description=description)
    return DataPage(
        frame=dataset_frame(plain, content.info, content.entries, face),
        files=tuple(DataFile(Link(path.rpartition("/")[2], here.to(path)), gettext(holds)) for path, holds in _FILES),
        tables=(
            DataTable("observations", gettext("Observations"), _translated(COLUMNS)),
            DataTable("groups", gettext("Sunspot groups"), _translated(GROUP_COLUMNS)),
        ),
    )


def _translated(columns: Sequence[Column]) -> tuple[Column, ...]:
    return tuple(replace(column, meaning=column.meaning_spoken) for column in columns)
