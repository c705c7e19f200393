"""Words typed on the command line turned into values; what cannot be is misuse."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import click

from archive.records.capture_time import parse_time
from archive.records.folder import open_folder
from archive.records.settings import FilmSettings, Settings, SiteSettings, find_named, read_settings
from archive.records.toml_files import check_table
from archive.workflow.stating import AddOptions

__all__ = ["add_options", "answers_of", "film_span", "moment_of", "new_settings", "sun_site"]

_QUESTIONS = {
    "title": ("Title", None),
    "observer": ("Observer", None),
    "site": ("Site: NAME,LATITUDE,LONGITUDE[,ELEVATION], north and east positive", None),
    "time_zone": ("Time zone", "UTC"),
    "instrument": ("Instrument", None),
    "mount": ("Mount: altaz, equatorial or unknown", "unknown"),
}


def answers_of(wanted: dict[str, str | None]) -> dict[str, str]:
    """Options of `new`, the missing ones asked for on a terminal; elsewhere their absence is misuse."""
    missing = [name for name, value in wanted.items() if value is None]
    if missing and not sys.stdin.isatty():
        options = ", ".join(f"--{name.replace('_', '-')}" for name in missing)
        raise click.UsageError(f"missing: {options}; give them (on a terminal they are asked for)")
    return {
        name: click.prompt(_QUESTIONS[name][0], default=_QUESTIONS[name][1], err=True) if value is None else value
        for name, value in wanted.items()
    }


def new_settings(answers: dict[str, str], *, mirrored: str, camera_angle_deg: float | None) -> Settings:
    """The settings of a new archive with one site and one instrument."""
    instrument: dict[str, Any] = {"name": answers["instrument"], "mount": answers["mount"], "mirrored": mirrored}
    if camera_angle_deg is not None:
        instrument["camera_angle_deg"] = camera_angle_deg
    keys: dict[str, Any] = {
        "title": answers["title"],
        "observer": answers["observer"],
        "time_zone": answers["time_zone"],
        "sites": [_site(answers["site"]).model_dump()],
        "instruments": [instrument],
    }
    return check_table(Settings, keys, name="new")


def add_options(
    pictures: Sequence[Path],
    *,
    time_text: str | None,
    mirrored: str | None,
    north_angle: float | None,
    drift: tuple[Path, Path] | None,
    **stated: str | None,
) -> AddOptions:
    """What `add` was told; two drift frames go with one picture."""
    if drift is not None and (len(pictures) != 1 or pictures[0].is_dir()):
        raise click.UsageError("--drift FIRST SECOND goes with one picture, not with several or a folder")
    return AddOptions(
        time=parse_time(time_text, name="--time") if time_text else None,
        mirrored=None if mirrored is None else mirrored == "yes",
        north_angle_deg=north_angle,
        drift=drift,
        **stated,
    )


def film_span(
    *, style: str, days: int | None, first: datetime | None, last: datetime | None, rotation: int | None
) -> FilmSettings:
    """The span asked for; the last seven days with observations where none is."""
    if sum((days is not None, first is not None or last is not None, rotation is not None)) > 1:
        raise click.UsageError("give one span: --days, or --from and --to, or --rotation")
    if first is not None and last is not None and first > last:
        raise click.UsageError(f"--from {first:%Y-%m-%d} is later than --to {last:%Y-%m-%d}")
    if (first is None) != (last is None):
        raise click.UsageError("give both --from and --to")
    keys: dict[str, Any] = {"style": style}
    if first is not None and last is not None:
        keys |= {"from": first.date(), "to": last.date()}
    elif rotation is not None:
        keys |= {"rotation": rotation}
    else:
        keys |= {"days": days or 7}
    return check_table(FilmSettings, keys, name="film")


def moment_of(folder: Path | None, time_text: str | None) -> datetime:
    """The time asked for in UTC; now where none is; one without a zone takes the archive's."""
    if time_text is None:
        return datetime.now(UTC).replace(microsecond=0)
    moment = parse_time(time_text, name="--time")
    if moment.tzinfo is None:
        if folder is None:
            raise click.UsageError(f"--time {time_text!r}: give its zone, such as {time_text}Z for UTC")
        moment = moment.replace(tzinfo=ZoneInfo(read_settings(open_folder(folder)).time_zone))
    return moment.astimezone(UTC)


def sun_site(folder: Path | None, site: str | None) -> SiteSettings:
    """The site asked for: by name in an archive, or written out."""
    if folder is not None:
        return find_named(read_settings(open_folder(folder)).sites, site, what="site")
    if site is None:
        raise click.UsageError("which site? name an archive FOLDER, or give --site NAME,LATITUDE,LONGITUDE")
    return _site(site)


def _site(text: str) -> SiteSettings:
    parts = [part.strip() for part in text.split(",")]
    if len(parts) not in (3, 4):
        raise click.UsageError(f"--site {text!r}: write NAME,LATITUDE,LONGITUDE[,ELEVATION], such as Quay,52.1,-1.3")
    try:
        numbers = [float(part) for part in parts[1:]]
    except ValueError:
        raise click.UsageError(
            f"--site {text!r}: latitude, longitude and elevation are numbers, such as 52.1"
        ) from None
    keys = dict(zip(("latitude_deg", "longitude_deg", "elevation_m"), numbers, strict=False))
    return check_table(SiteSettings, {"name": parts[0], **keys}, name="--site")
