"""A new archive made at the desk: asked for in a form, made by the same function as `new`."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from pydantic import Field

from archive.desk.app import NothingForm, Routes, changed
from archive.desk.plain_words import told
from archive.errors import FactsError
from archive.model.choices import Mirrored, Mount
from archive.records.coordinates import coordinate_deg
from archive.records.new_archive import create_archive, far_zones
from archive.records.settings import SETTINGS_NAME, Settings
from archive.records.toml_files import TomlModel, check_table

__all__ = ["PAGES", "NewForm", "is_new", "new_routes"]

PAGES = {"/": "new"}


class NewForm(TomlModel):
    """What a new archive needs; what the observer does not know is left out."""

    title: str = Field(max_length=200)
    observer: str = Field(max_length=200)
    time_zone: str = Field(max_length=100)
    site: str = Field(max_length=200)
    latitude: str = Field(max_length=40)
    longitude: str = Field(max_length=40)
    elevation_m: float | None = None
    instrument: str = Field(max_length=200)
    mount: Mount = "unknown"
    mirrored: Mirrored = "unknown"
    camera_angle_deg: float | None = None


def is_new(folder: Path) -> bool:
    """Return whether an archive could be made there."""
    return not (folder / SETTINGS_NAME).exists()


def new_routes(folder: Path, on_made: Callable[[], None]) -> Routes:
    """Return what the page of a new archive asks for."""

    def look(_: str, form: NewForm) -> dict[str, Any]:
        return {"warnings": [told(line) for line in far_zones(_settings(form))]}

    def make(_: str, form: NewForm) -> dict[str, Any]:
        settings = _settings(form)
        create_archive(folder, settings)
        return {"status": "made"}

    def begin(_: str, form: NothingForm) -> dict[str, Any]:
        if is_new(folder):
            raise FactsError("no archive was made yet")
        on_made()
        return {"status": "beginning"}

    return [
        changed("/api/new/look", NewForm, look),
        changed("/api/new", NewForm, make),
        changed("/api/new/begin", NothingForm, begin),
    ]


def _settings(form: NewForm) -> Settings:
    """Return the settings of an archive with one site and one instrument.

    Raises
    ------
    SettingsError
        A value that cannot be, by the name of its field.
    """
    degrees = {}
    for axis in ("latitude", "longitude"):
        try:
            degrees[axis] = coordinate_deg(getattr(form, axis), axis)
        except ValueError as error:
            raise FactsError(f"{axis}: {error}") from error
    site = {"name": form.site, "latitude_deg": degrees["latitude"], "longitude_deg": degrees["longitude"]}
    instrument: dict[str, Any] = {"name": form.instrument, "mount": form.mount, "mirrored": form.mirrored}
    if form.elevation_m is not None:
        site["elevation_m"] = form.elevation_m
    if form.camera_angle_deg is not None:
        instrument["camera_angle_deg"] = form.camera_angle_deg
    keys = {
        "title": form.title,
        "observer": form.observer,
        "time_zone": form.time_zone,
        "sites": [site],
        "instruments": [instrument],
    }
    return check_table(Settings, keys, name="new")
