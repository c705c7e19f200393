"""`northlimb sun`: the Sun at a time and place, and how long a capture may be."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from archive.commands.options import JSON
from archive.commands.printing import caution_lines, json_fields, print_answer
from archive.commands.values import ImpossibleValue, NumberRange, as_misuse, parse_site, parse_typed_time, parse_years

if TYPE_CHECKING:
    from archive.records.settings import SiteSettings
    from archive.reports.days import SunAt

__all__ = ["sun"]


@click.command(
    "sun",
    short_help="Show P, B0, L0 and the Sun's altitude.",
    epilog="Example: northlimb sun --site Quay,52.1,-1.3 --time 2026-06-03T09:15Z",
)
@click.argument("folder", required=False, type=click.Path(path_type=Path))
@click.option("--site", help="A site's name in FOLDER, or NAME,LATITUDE,LONGITUDE[,ELEVATION] without one.")
@click.option(
    "--time", "time_text", metavar="ISO", help="With its zone, such as 2026-06-03T10:15+01:00.  [default: now]"
)
@click.option("--radius", "radius_px", type=NumberRange(1), metavar="PX", help="Radius of the disc in a picture.")
@click.option(
    "--eclipses", "years", metavar="YEARS", help="The solar eclipses that the site sees in a year, or in 2026-2030."
)
@JSON
def sun(
    folder: Path | None,
    site: str | None,
    time_text: str | None,
    radius_px: float | None,
    years: str | None,
    as_json: bool,
) -> None:
    """Print P, B0, L0, the Sun's altitude, how fast an alt-azimuth picture rotates, and how long a capture may be; with
    --eclipses the contacts and the greatest phase of the eclipses to be seen."""
    from archive.reports.days import sun_at

    if years is not None:
        if time_text is not None or radius_px is not None:
            raise click.UsageError("--eclipses lists whole years; leave out --time and --radius")
        _print_eclipses(parse_years(years), _site(folder, site), as_json=as_json)
        return
    found = sun_at(_moment(folder, time_text), _site(folder, site), radius_px=radius_px)
    answer = {
        "time_utc": found.time_utc,
        "site": found.site,
        **json_fields(found.sun),
        "field_rotation_deg_per_hour": found.field_rotation_deg_per_hour,
        "capture": found.capture,
    }
    print_answer(answer, _lines(found), as_json=as_json)


def _print_eclipses(years: tuple[int, int], site: SiteSettings, *, as_json: bool) -> None:
    from archive.commands.eclipse_list import eclipse_json, eclipse_lines
    from archive.reports.eclipses import eclipses_of_years

    found = eclipses_of_years(*years, site)
    print_answer(eclipse_json(found), eclipse_lines(found), as_json=as_json)


def _moment(folder: Path | None, time_text: str | None) -> datetime:
    """Return the time asked for in UTC; now where none is; one without a zone takes the archive's."""
    from archive.records.capture_time import in_utc
    from archive.records.folder import open_folder
    from archive.records.settings import read_settings

    if time_text is None:
        return datetime.now(UTC).replace(microsecond=0)
    moment = parse_typed_time(time_text)
    zone_name = "UTC"
    if moment.tzinfo is None:
        if folder is None:
            raise ImpossibleValue(f"--time {time_text!r}: give its zone, such as {time_text}Z for UTC")
        zone_name = read_settings(open_folder(folder)).time_zone
    with as_misuse():
        return in_utc(moment, zone_name=zone_name, source="--time", name="sun")


def _site(folder: Path | None, site: str | None) -> SiteSettings:
    """Return the site asked for: by name in an archive, or written out."""
    from archive.records.folder import open_folder
    from archive.records.settings import find_named, read_settings

    if folder is not None:
        return find_named(read_settings(open_folder(folder)).sites, site, what="site")
    if site is None:
        raise click.UsageError("which site? name an archive FOLDER, or give --site NAME,LATITUDE,LONGITUDE")
    return parse_site(site)


def _lines(found: SunAt) -> Iterator[str]:
    """Return the Sun at a time and place, and the caution."""
    from archive.stages.capture import format_longest, format_smear

    view, turning = found.sun, found.field_rotation_deg_per_hour
    longest = format_longest(found.capture)
    advice = f"{longest} without derotation" if longest else "is needed: --radius PX, that of your discs"
    yield f"{found.time_utc:%Y-%m-%d %H:%M:%S} UTC, {found.site}"
    lines: list[tuple[str, str]] = [
        ("P", f"{view.p_deg:+.2f} deg"),
        ("B0", f"{view.b0_deg:+.2f} deg"),
        ("L0", f"{view.l0_deg:.2f} deg, Carrington rotation {view.carrington_rotation}"),
        ("semidiameter", f"{view.semidiameter_arcsec:.1f} arcsec"),
    ]
    if turning is not None:
        smear = format_smear(found.capture.limb_smear_px, found.capture.limb_smear_arcsec)
        lines += [
            ("altitude", f"{view.altitude_deg:+.1f} deg (without refraction), azimuth {view.azimuth_deg:.1f} deg"),
            ("parallactic angle", f"{view.parallactic_angle_deg:+.1f} deg"),
            ("field rotation", f"{turning:+.1f} deg/h for an alt-azimuth camera, counter-clockwise positive"),
            ("smear in 100 s", smear or "none"),
        ]
    for label, value in (*lines, ("longest capture", advice)):
        yield f"  {label:<18}{value}"
    yield from caution_lines()
