"""The page on the data: what each file holds, and what each column means."""

from __future__ import annotations

from dataclasses import dataclass

from archive.website import addresses
from archive.website.addresses import Here
from archive.website.data_columns import COLUMNS, Column
from archive.website.pages import Frame, Link, SiteFace, frame

__all__ = ["DataFile", "DataPage", "data_page"]

_FILES = (
    (addresses.OBSERVATIONS_CSV, "One row an observation, for a spreadsheet or a script."),
    (addresses.OBSERVATIONS_JSON, "The same with every piece of evidence, nested, in order of time."),
    (addresses.GROUPS_JSON, "Sunspot groups followed from day to day."),
    (addresses.DATA_PACKAGE, "A Frictionless Data Package: names, units and meaning of the columns."),
)


@dataclass(frozen=True)
class DataFile:
    """A file to take away, and what it holds."""

    link: Link
    holds: str


@dataclass(frozen=True)
class DataPage:
    """The files, and the columns of the table."""

    frame: Frame
    files: tuple[DataFile, ...]
    columns: tuple[Column, ...]


def data_page(face: SiteFace) -> DataPage:
    """Gather the page on the data."""
    here = Here(addresses.DATA)
    return DataPage(
        frame=frame(face, here, title="Data", description=f"The observations of {face.observer} as plain files"),
        files=tuple(DataFile(Link(path.rpartition("/")[2], here.to(path)), holds) for path, holds in _FILES),
        columns=COLUMNS,
    )
