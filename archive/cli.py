"""The command line: parse, one call in `workflow`, print. Heavy imports wait until a command needs them."""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Callable
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

import click

from archive import __version__
from archive.errors import ArchiveError

if TYPE_CHECKING:
    from archive.records.settings import FilmSettings, SiteSettings

__all__ = ["main"]

FOLDER = click.argument("folder", type=click.Path(path_type=Path))
JSON = click.option("--json", "as_json", is_flag=True, help="Print a machine-readable answer.")


def main(argv: list[str] | None = None) -> int:
    """Run a command; returns the exit status: 0 done, 1 refused, 2 misuse."""
    try:
        return int(northlimb.main(args=argv, prog_name="northlimb", standalone_mode=False) or 0)
    except click.ClickException as error:
        error.show()
        return error.exit_code
    except click.exceptions.Abort:
        click.echo("stopped", err=True)
        return 130
    except click.exceptions.Exit as stop:
        return stop.exit_code
    except ArchiveError as error:
        for cause in error.causes:
            click.echo(f"northlimb: {_one_line(cause)}", err=True)
        if "--json" in (argv if argv is not None else sys.argv):
            click.echo(json.dumps({"status": "refused", "causes": list(error.causes)}))
        return 1


@click.group(context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(__version__, prog_name="northlimb")
def northlimb() -> None:
    """A north-up archive, rotation films and a static site from your own pictures of the Sun.

    Never point a telescope, finder or camera at the Sun without a solar filter made for it over the full
    front aperture; `northlimb sun` prints the whole caution.

    \b
    A first evening:
      northlimb new my-sun
      northlimb add my-sun 20260603T091500Z.png
      northlimb build my-sun
    """


@northlimb.command(epilog='Example: northlimb new my-sun --title "Sun over the quay" --observer "A. Teal" --site Quay,52.1,-1.3 '
                   "--time-zone Europe/London --instrument Doorstep --mount altaz --camera-angle 0 --mirrored no")
@FOLDER
@click.option("--title", help="Title of the archive and its site.")
@click.option("--observer", help="Name that the site gives as the observer.")
@click.option("--site", help="NAME,LATITUDE,LONGITUDE[,ELEVATION]: degrees, north and east positive; metres.")
@click.option("--time-zone", help="Zone of times that come without one, such as Europe/London.")
@click.option("--instrument", help="Name of the telescope and camera.")
@click.option("--mount", type=click.Choice(["altaz", "equatorial", "unknown"]), help="How the instrument is mounted.")
@click.option("--mirrored", type=click.Choice(["yes", "no", "unknown"]), default="unknown", show_default=True,
              help="Whether its pictures are mirror images.")
@click.option("--camera-angle", type=float, help="Degrees from the zenith (altaz) or celestial north (equatorial) to the "
              "picture's up, clockwise on the sky; 0 where they agree.  [default: not known]")
@JSON
def new(folder: Path, as_json: bool, camera_angle: float | None, mirrored: str, **wanted: str | None) -> None:
    """Make an empty archive in FOLDER. Asks for what is missing."""
    from archive.records.settings import InstrumentSettings, Settings
    from archive.records.toml_files import checked
    from archive.safety import CAUTION
    from archive.workflow.creating import create_archive

    answers = _asked(wanted)
    settings = checked(
        Settings,
        {
            "title": answers["title"],
            "observer": answers["observer"],
            "time_zone": answers["time_zone"],
            "sites": [_site(answers["site"]).model_dump()],
            "instruments": [
                InstrumentSettings.model_construct(
                    name=answers["instrument"], mount=answers["mount"], mirrored=mirrored, camera_angle_deg=camera_angle
                ).model_dump()
            ],
        },
        name="new",
    )
    path = create_archive(folder, settings)
    if as_json:
        _print_json({"status": "done", "folder": str(folder), "settings": str(path)})
        return
    click.echo(f"made {path}; edit it whenever something changes")
    click.echo(f"next: northlimb add {folder} PICTURE...")
    click.echo()
    click.echo(click.wrap_text(CAUTION, width=100))


@northlimb.command(epilog="Example: northlimb add my-sun ~/pictures/20260603T091500Z.png --note 'Steady air, thin haze.'")
@FOLDER
@click.argument("pictures", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--time", "time_text", metavar="ISO", help="Middle of the capture, such as 2026-06-03T10:15+01:00.")
@click.option("--instrument", help="Name of the instrument in archive.toml.")
@click.option("--site", help="Name of the site in archive.toml.")
@click.option("--north-angle", type=float, metavar="DEG",
              help="From the picture's up to solar north, counter-clockwise, un-mirrored.")
@click.option("--mirrored", type=click.Choice(["yes", "no"]), help="Whether the picture is a mirror image.")
@click.option("--note", help="A paragraph for the day's notes (Markdown).")
@click.option("--publish", "publish_too", is_flag=True, help="Then build, film the last week and publish.")
@JSON
def add(folder: Path, pictures: tuple[Path, ...], as_json: bool, publish_too: bool, time_text: str | None,
        mirrored: str | None, **stated: Any) -> int:
    """File finished pictures in the archive FOLDER.

    PICTURES are PNG, JPEG, TIFF or FITS files, or folders of which whatever is new is taken. Time and capture
    facts come from the options, from a note NAME.toml beside NAME.png, from FITS header, EXIF or the file's name.
    """
    from archive.records.capture_time import parse_time
    from archive.records.folder import open_folder
    from archive.workflow.adding import add_pictures
    from archive.workflow.stating import AddOptions

    root = open_folder(folder)
    moment = parse_time(time_text, name="--time") if time_text else None
    options = AddOptions(time=moment, mirrored=None if mirrored is None else mirrored == "yes",
                         north_angle_deg=stated.pop("north_angle"), **stated)
    results = []
    for result in add_pictures(root, pictures, options, on_progress=_progress()):
        results.append(result)
        if not as_json:
            _print_added(result)
    refused = any(result.status == "refused" for result in results)
    answer: dict[str, Any] = {"status": "refused" if refused else "done", "pictures": results}
    if publish_too and not refused:
        answer |= _evening(root, as_json)
    if as_json:
        _print_json(answer)
    return 1 if refused else 0


@northlimb.command(epilog="Example: northlimb build my-sun")
@FOLDER
@click.option("--site-dir", type=click.Path(path_type=Path), help="Where the site goes.  [default: FOLDER/site]")
@JSON
def build(folder: Path, site_dir: Path | None, as_json: bool) -> None:
    """Bring every disc to north-up and write the site of the archive FOLDER."""
    from archive.records.folder import open_folder
    from archive.workflow.building import build as build_archive

    built = build_archive(open_folder(folder), site_dir=site_dir, on_progress=_progress())
    if as_json:
        _print_json({"status": "done", **_fields(built)})
    else:
        _print_built(built)


@northlimb.command(epilog="Example: northlimb film my-sun --from 2026-05-25 --to 2026-06-07 --out may.mp4")
@FOLDER
@click.option("--days", type=click.IntRange(1), metavar="N", help="The last N days with observations.  [default: 7]")
@click.option("--from", "first", type=click.DateTime(["%Y-%m-%d"]), metavar="DAY", help="First day (UTC).")
@click.option("--to", "last", type=click.DateTime(["%Y-%m-%d"]), metavar="DAY", help="Last day (UTC).")
@click.option("--rotation", type=click.IntRange(1), metavar="N", help="One Carrington rotation.")
@click.option("--style", type=click.Choice(["daily"]), default="daily", show_default=True,
              help="daily: each day's sharpest picture in turn, cross-faded.")
@click.option("--out", type=click.Path(path_type=Path), help="Write the film here (.mp4) instead of into the site.")
@JSON
def film(folder: Path, as_json: bool, out: Path | None, **span: Any) -> None:
    """Make a film of the Sun turning; without --out the site keeps it and makes it anew when days change."""
    from archive.records.folder import open_folder
    from archive.workflow.building import film as film_for_site
    from archive.workflow.building import film_elsewhere

    root, asked = open_folder(folder), _span(**span)
    if out is None:
        made = film_for_site(root, asked, on_progress=_progress())
    else:
        made = film_elsewhere(root, asked, out, on_progress=_progress())
    if as_json:
        listed = json.loads(made.frames_json.read_text(encoding="utf-8"))
        _print_json({"status": "done", **_fields(made), **listed})
        return
    _warn(made.warnings)
    click.echo(f"film: {made.mp4} ({len(made.observation_ids)} observations, {made.frames} frames)")
    if made.page is not None:
        click.echo(f"see it in the site: {made.page}")


@northlimb.command(epilog="Example: northlimb publish my-sun /srv/www/sun")
@FOLDER
@click.argument("target", required=False)
@click.option("--site-dir", type=click.Path(path_type=Path), help="Where the site lies.  [default: FOLDER/site]")
@click.option("--adopt", is_flag=True, help="Take over a target that holds other files: they are removed.")
@JSON
def publish(folder: Path, target: str | None, site_dir: Path | None, adopt: bool, as_json: bool) -> None:
    """Send the built site to TARGET: a folder, or a name among the targets of archive.toml."""
    from archive.records.folder import open_folder
    from archive.workflow.sending import publish as publish_site

    sent = publish_site(open_folder(folder), target, site_dir=site_dir, adopt=adopt)
    if as_json:
        _print_json({"status": "done", **_fields(sent)})
    else:
        click.echo(_published_line(sent))


@northlimb.command(epilog="Example: northlimb verify my-sun")
@FOLDER
@JSON
def verify(folder: Path, as_json: bool) -> int:
    """Read every original and compare it with its checksum."""
    from archive.records.folder import open_folder
    from archive.workflow.verifying import verify as verify_archive

    found = verify_archive(open_folder(folder), on_progress=_progress())
    if as_json:
        _print_json({"status": "done" if found.clean else "refused", **_fields(found)})
    else:
        for label, files in (
            ("changed: its bytes are not those that were filed; bring it back from a copy", found.changed),
            ("missing: bring it back from a copy", found.missing),
            ("extra: not in checksums.sha256; was it copied in by hand? use `northlimb add`", found.extra),
            ("without a record: nothing tells when it was taken", found.without_record),
        ):
            for file in files:
                click.echo(f"{file}: {label}", err=True)
        _warn(found.bad_records)
        originals = f"{found.checked} original{'' if found.checked == 1 else 's'} read"
        click.echo(f"{originals}; all as filed" if found.clean else f"{originals}; not all as filed")
    return 0 if found.clean else 1


@northlimb.command(epilog="Example: northlimb preview my-sun --port 8000")
@FOLDER
@click.option("--port", type=click.IntRange(0, 65535), default=8000, show_default=True, help="0: any free port.")
@click.option("--site-dir", type=click.Path(path_type=Path), help="Where the site lies.  [default: FOLDER/site]")
@JSON
def preview(folder: Path, port: int, site_dir: Path | None, as_json: bool) -> None:
    """Build the site and show it on this computer only, until stopped with Ctrl-C."""
    from archive.publishing.local_server import local_server
    from archive.records.folder import open_folder
    from archive.workflow.building import build as build_archive

    built = build_archive(open_folder(folder), site_dir=site_dir, on_progress=_progress())
    with local_server(built.site_dir, port) as server:
        address = f"http://127.0.0.1:{server.server_port}/"
        if as_json:
            _print_json({"status": "serving", "address": address})
        else:
            click.echo(f"showing {built.site_dir} at {address} (Ctrl-C stops)")
        sys.stdout.flush()
        try:
            server.serve_forever()
        except KeyboardInterrupt:
            click.echo("stopped", err=True)


@northlimb.command(epilog="Example: northlimb show my-sun 2026-06-03")
@FOLDER
@click.argument("day")
@JSON
def show(folder: Path, day: str, as_json: bool) -> None:
    """Print what is known of a DAY's pictures: limb, Sun, and the evidence for north."""
    from archive.records.folder import open_folder
    from archive.workflow.showing import show_day

    found = show_day(open_folder(folder), day, on_progress=_progress())
    if as_json:
        _print_json(found)
        return
    for one in found:
        _print_observation(one)


@northlimb.command(epilog="Example: northlimb sun --site Quay,52.1,-1.3 --time 2026-06-03T09:15Z")
@click.argument("folder", required=False, type=click.Path(path_type=Path))
@click.option("--site", help="A site's name in FOLDER, or NAME,LATITUDE,LONGITUDE[,ELEVATION] without one.")
@click.option("--time", "time_text", metavar="ISO", help="With its zone, such as 2026-06-03T10:15+01:00.  [default: now]")
@JSON
def sun(folder: Path | None, site: str | None, time_text: str | None, as_json: bool) -> None:
    """Print P, B0, L0, the Sun's altitude and how fast an alt-azimuth picture turns."""
    from archive.safety import CAUTION
    from archive.workflow.showing import sun_at

    moment, place = _moment(folder, time_text), _sun_site(folder, site)
    view, turning = sun_at(moment, place)
    if as_json:
        _print_json({"time_utc": moment, "site": place.name, **_fields(view), "field_rotation_deg_per_hour": turning})
        return
    click.echo(f"{moment:%Y-%m-%d %H:%M:%S} UTC, {place.name}")
    for label, value in (
        ("P", f"{view.p_deg:+.2f} deg"),
        ("B0", f"{view.b0_deg:+.2f} deg"),
        ("L0", f"{view.l0_deg:.2f} deg, Carrington rotation {view.carrington_rotation}"),
        ("semidiameter", f"{view.semidiameter_arcsec:.1f} arcsec"),
        ("altitude", f"{view.altitude_deg:+.1f} deg (without refraction), azimuth {view.azimuth_deg:.1f} deg"),
        ("parallactic angle", f"{view.parallactic_angle_deg:+.1f} deg"),
        ("field rotation", f"{turning:+.1f} deg/h for an alt-azimuth camera"),
    ):
        click.echo(f"  {label:<18}{value}")
    click.echo()
    click.echo(click.wrap_text(CAUTION, width=100))


def _asked(wanted: dict[str, str | None]) -> dict[str, str]:
    """Options of `new`, the missing ones asked for on a terminal; elsewhere their absence is misuse."""
    missing = [name for name, value in wanted.items() if value is None]
    if missing and not sys.stdin.isatty():
        options = ", ".join(f"--{name.replace('_', '-')}" for name in missing)
        raise click.UsageError(f"missing: {options}; give them (on a terminal they are asked for)")
    questions = {
        "title": ("Title", None),
        "observer": ("Observer", None),
        "site": ("Site (NAME,LATITUDE,LONGITUDE[,ELEVATION]; north and east positive)", None),
        "time_zone": ("Time zone", "UTC"),
        "instrument": ("Instrument", None),
        "mount": ("Mount (altaz, equatorial, unknown)", "unknown"),
    }
    return {
        name: value if value is not None else click.prompt(questions[name][0], default=questions[name][1], err=True)
        for name, value in wanted.items()
    }


def _site(text: str) -> SiteSettings:
    from archive.records.settings import SiteSettings
    from archive.records.toml_files import checked

    parts = [part.strip() for part in text.split(",")]
    if len(parts) not in (3, 4):
        raise click.UsageError(f"--site {text!r}: write NAME,LATITUDE,LONGITUDE[,ELEVATION], such as Quay,52.1,-1.3")
    try:
        numbers = [float(part) for part in parts[1:]]
    except ValueError:
        raise click.UsageError(f"--site {text!r}: latitude, longitude and elevation are numbers, such as 52.1") from None
    keys = dict(zip(("latitude_deg", "longitude_deg", "elevation_m"), numbers, strict=False))
    return checked(SiteSettings, {"name": parts[0], **keys}, name="--site")


def _sun_site(folder: Path | None, site: str | None) -> SiteSettings:
    from archive.records.folder import open_folder
    from archive.records.settings import find_named, read_settings

    if folder is not None:
        return find_named(read_settings(open_folder(folder)).sites, site, what="site")
    if site is None:
        raise click.UsageError("which site? name an archive FOLDER, or give --site NAME,LATITUDE,LONGITUDE")
    return _site(site)


def _moment(folder: Path | None, time_text: str | None) -> datetime:
    """The time asked for; one without a zone takes the archive's."""
    from zoneinfo import ZoneInfo

    from archive.records.capture_time import parse_time
    from archive.records.folder import open_folder
    from archive.records.settings import read_settings

    if time_text is None:
        return datetime.now(UTC).replace(microsecond=0)
    moment = parse_time(time_text, name="--time")
    if moment.tzinfo is None:
        if folder is None:
            raise click.UsageError(f"--time {time_text!r}: give its zone, such as {time_text}Z for UTC")
        moment = moment.replace(tzinfo=ZoneInfo(read_settings(open_folder(folder)).time_zone))
    return moment.astimezone(UTC)


def _span(style: str, days: int | None, first: datetime | None, last: datetime | None, rotation: int | None) -> FilmSettings:
    from archive.records.settings import FilmSettings

    if sum((days is not None, first is not None or last is not None, rotation is not None)) > 1:
        raise click.UsageError("give one span: --days, or --from and --to, or --rotation")
    if (first is None) != (last is None):
        raise click.UsageError("give both --from and --to")
    if first is None and rotation is None and days is None:
        days = 7
    keys = {"days": days, "from": _date(first), "to": _date(last), "rotation": rotation}
    if first is not None and last is not None and first > last:
        raise click.UsageError(f"--from {first:%Y-%m-%d} is later than --to {last:%Y-%m-%d}")
    return FilmSettings.model_validate({"style": style, **{key: value for key, value in keys.items() if value is not None}})


def _date(moment: datetime | None) -> date | None:
    return moment.date() if moment is not None else None


def _evening(root: Path, as_json: bool) -> dict[str, Any]:
    """Build, film and publish after `add`: the film's making also builds the site."""
    from archive.records.settings import FilmSettings
    from archive.workflow.building import build as build_archive
    from archive.workflow.building import film as film_for_site
    from archive.workflow.sending import publish as publish_site

    built = build_archive(root, site_dir=None, on_progress=_progress())
    made = film_for_site(root, FilmSettings(days=7), on_progress=_progress())
    sent = publish_site(root, None, site_dir=None, adopt=False)
    if not as_json:
        _print_built(built)
        click.echo(f"film: {made.mp4}")
        click.echo(_published_line(sent))
    return {"build": _fields(built), "film": _fields(made), "publish": _fields(sent)}


def _print_added(result: Any) -> None:
    if result.status == "refused":
        for cause in result.causes:
            click.echo(f"northlimb: {_one_line(cause)}", err=True)
    elif result.status == "known":
        click.echo(f"{result.picture}: already in the archive as {result.id}; nothing written")
    else:
        disc = result.disc
        click.echo(
            f"{result.id}  {result.picture}: disc at ({disc.x_px:.1f}, {disc.y_px:.1f}) px, radius {disc.radius_px:.1f} px; "
            f"north {_north_in_words(result.orientation)}"
        )
    _warn(result.warnings)


def _north_in_words(orientation: Any) -> str:
    if orientation.status == "unknown":
        return "not known: it will be shown as it came (state --north-angle, or the instrument's camera angle)"
    mirrored = ", mirrored" if orientation.mirrored else ""
    return f"{orientation.north_angle_deg:+.1f} ± {orientation.sigma_deg:.1f} deg{mirrored} ({orientation.status})"


def _print_observation(one: Any) -> None:
    disc, view = one.disc, one.sun
    click.echo(f"{one.id}  {one.time_utc:%Y-%m-%d %H:%M:%S} UTC  {one.site}, {one.instrument}  {one.picture.file}")
    click.echo(f"  disc     ({disc.x_px:.2f}, {disc.y_px:.2f}) px, radius {disc.radius_px:.2f} px, flattening "
               f"{100 * disc.flattening:.2f} %, scatter {disc.rms_px:.2f} px, {100 * disc.limb_fraction:.0f} % of the limb")
    click.echo(f"  Sun      P {view.p_deg:+.2f}, B0 {view.b0_deg:+.2f}, L0 {view.l0_deg:.2f} deg, altitude "
               f"{view.altitude_deg:.1f} deg, parallactic angle {view.parallactic_angle_deg:+.1f} deg")
    click.echo(f"  north    {_north_in_words(one.orientation)}")
    for piece in one.orientation.evidence:
        mirrored = "mirrored" if piece.mirrored else "not mirrored"
        click.echo(f"    {piece.kind:<8} {piece.north_angle_deg:+8.2f} ± {piece.sigma_deg:.2f} deg  {mirrored}  {piece.note}")
    _warn(one.orientation.disputes)


def _print_built(built: Any) -> None:
    _warn(built.warnings)
    report = built.report
    click.echo(f"{built.observations} observations on {built.days} days, {len(built.films)} films: {report.written} files "
               f"written, {report.unchanged} unchanged, {report.removed} removed")
    click.echo(f"open {built.home.absolute()}")


def _published_line(sent: Any) -> str:
    report = sent.report
    return (f"published to {sent.target}: {report.copied} files sent ({report.bytes_copied / 1e6:.1f} MB), "
            f"{report.unchanged} unchanged, {report.removed} removed")


def _warn(warnings: tuple[str, ...]) -> None:
    for warning in warnings:
        click.echo(f"warning: {_one_line(warning)}", err=True)


def _one_line(text: str) -> str:
    return " ".join(text.split())


def _progress() -> Callable[[str, int, int], None]:
    """Show progress on stderr once the work has taken a second: one changing line on a terminal, else now and then."""
    started = last = time.monotonic()
    terminal = sys.stderr.isatty()

    def show(what: str, done: int, total: int) -> None:
        nonlocal last
        now = time.monotonic()
        if now - started < 1.0 or now - last < (0.2 if terminal else 10.0):
            return
        last = now
        line = f"{what}: {done} of {total}"
        click.echo(f"\r\x1b[K{line}\r" if terminal else line, err=True, nl=not terminal)

    return show


def _fields(value: Any) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(_json_text(value))
    return found


def _print_json(value: Any) -> None:
    click.echo(_json_text(value))


def _json_text(value: Any) -> str:
    return json.dumps(value, default=_plain, ensure_ascii=False, indent=1, allow_nan=False)


def _plain(value: Any) -> Any:
    """Dataclasses as objects, times in UTC to the second, paths as text."""
    from dataclasses import fields, is_dataclass

    if is_dataclass(value):
        return {field.name: getattr(value, field.name) for field in fields(value)}
    if isinstance(value, datetime):
        return f"{value.astimezone(UTC):%Y-%m-%dT%H:%M:%SZ}"
    return str(value)


def run() -> NoReturn:
    """The `northlimb` command."""
    sys.exit(main())
