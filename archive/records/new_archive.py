"""`new`: an empty archive."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

from archive.disk import TEMPORARY_SUFFIX, Folder, make_named_folder
from archive.errors import FolderError, clear_refusal
from archive.records.settings import SETTINGS_NAME, Settings, new_settings_text
from archive.records.zones import nearest_zone, off_mean_time_hours

__all__ = ["create_archive", "far_zones"]

_FAR_HOURS = 3.0  # no clock on land is as far from the mean time of its longitude


def create_archive(folder: Path, settings: Settings) -> Path:
    """Make the folder with its `archive.toml`; returns that file.

    Raises
    ------
    FolderError
        The folder holds something already, or cannot be made.
    """
    path, files = folder / SETTINGS_NAME, Folder(folder)
    unfinished = SETTINGS_NAME + TEMPORARY_SUFFIX  # of an earlier `new` that was stopped
    with clear_refusal(path):
        if folder.is_file():
            raise FolderError(f"{folder}: is a file; choose a new folder")
        if folder.exists() and set(files.names()) - {unfinished}:
            raise FolderError(f"{folder}: is not empty; choose a new folder")
        make_named_folder(folder)
    files.write(SETTINGS_NAME, new_settings_text(settings).encode("utf-8"))
    return path


def far_zones(settings: Settings) -> tuple[str, ...]:
    """Return a warning for each site whose longitude is far from the zone in which times without one are read."""
    now, zone_name = datetime.now(UTC), settings.time_zone
    found = []
    for site in settings.sites:
        off_hours = off_mean_time_hours(zone_name, site.longitude_deg, at=now)
        if abs(off_hours) > _FAR_HOURS:
            own = nearest_zone(site.latitude_deg, site.longitude_deg, offset=None, at=now)
            side = "ahead of" if off_hours > 0 else "behind"
            found.append(
                f"{SETTINGS_NAME}: time_zone = {zone_name!r}, by which times that come without a zone are read, is "
                f"{abs(off_hours):.0f} hours {side} the Sun at {site.name} (longitude {site.longitude_deg:g}); "
                f"where the camera's clock runs on the site's time, write that zone, such as {own!r}"
            )
    return tuple(found)
