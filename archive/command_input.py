"""Words typed on the command line turned into values; what cannot be is misuse."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import IO, Any

import click

from archive.errors import ArchiveError
from archive.filing.statements import AddOptions
from archive.model.choices import MIRRORED, MOUNTS
from archive.records.capture_time import in_utc, parse_time
from archive.records.folder import open_folder
from archive.records.settings import FilmSettings, Settings, SiteSettings, find_named, read_settings
from archive.records.toml_files import check_table
from archive.upkeep.restoration import Copy

__all__ = ["add_options", "amended_time", "answers_of", "film_span", "moment_of", "new_settings", "sun_site"]

UNKNOWN = "unknown"
# Asked in this order; with the choices or the default where there are some.
_QUESTIONS: dict[str, tuple[str, tuple[str, ...] | None, str | None]] = {
    "title": ("Title", None, None),
    "observer": ("Observer", None, None),
    "site": ("Site: NAME,LATITUDE,LONGITUDE[,ELEVATION], north and east positive", None, None),
    "time_zone": ("Time zone", None, "UTC"),
    "instrument": ("Instrument", None, None),
    "mount": ("Mount (unknown is fine: days with spots tell north without it)", MOUNTS, UNKNOWN),
    "mirrored": ("Are its pictures mirror images (unknown is fine: spots tell it)?", MIRRORED, UNKNOWN),
    "camera_angle": (
        "Camera angle in degrees, counter-clockwise from the picture's up to the zenith (altaz) "
        "or to celestial north (equatorial); unknown is fine: it is learned from days with spots",
        None,
        UNKNOWN,
    ),
}
# Asked for along with others only: a command that is whole but for these asks nothing, in scripts on a terminal too.
_MAY_STAY_UNKNOWN = ("mirrored", "camera_angle")
# Options of `film` that other styles know nothing of.
_OPTIONS_OF_STYLES = {
    "reach_days": ("--reach", ("smooth",)),
    "view": ("--view", ("corotating",)),
    "longitude_deg": ("--longitude", ("corotating",)),
}
# Stands in for what is not yet answered while one answer is checked.
_EXAMPLE = {
    "title": "Sun", "observer": "A. Teal", "site": "Quay,0,0", "time_zone": "UTC", "instrument": "Doorstep",
    "mount": UNKNOWN, "mirrored": UNKNOWN, "camera_angle": UNKNOWN,
}  # fmt: skip


class _Impossible(click.UsageError):
    """Values that cannot be: one line a cause, for the words themselves were used rightly."""

    def show(self, file: IO[Any] | None = None) -> None:
        for cause in self.format_message().splitlines():
            click.echo(f"northlimb: {cause}", file=file, err=file is None)


@contextmanager
def _misuse() -> Iterator[None]:
    """A value that cannot be is misuse where it was typed on the command line."""
    try:
        yield
    except ArchiveError as error:
        raise _Impossible("\n".join(error.causes)) from error


def answers_of(wanted: dict[str, str | None]) -> dict[str, str]:
    """Options of `new`, the missing ones asked for on a terminal; elsewhere their absence is misuse."""
    missing = [name for name in _QUESTIONS if wanted[name] is None]
    needed = [name for name in missing if name not in _MAY_STAY_UNKNOWN]
    if needed and not sys.stdin.isatty():
        options = ", ".join(f"--{name.replace('_', '-')}" for name in needed)
        raise click.UsageError(f"missing: {options}; give them (on a terminal they are asked for)")
    answers = {name: given for name, given in wanted.items() if given is not None}
    return answers | {name: _asked(name) if needed else UNKNOWN for name in missing}


def _asked(name: str) -> str:
    """The answer to one question, asked again until it can be."""
    question, choices, default = _QUESTIONS[name]
    kind = click.Choice(choices) if choices else None

    def checked(text: str) -> str:
        answer: str = kind.convert(text, None, None) if kind else text
        new_settings({**_EXAMPLE, name: answer})
        return answer

    return str(click.prompt(question, default=default, type=kind, value_proc=checked, err=True))


def new_settings(answers: dict[str, str]) -> Settings:
    """The settings of a new archive with one site and one instrument."""
    instrument: dict[str, Any] = {"name": answers["instrument"], "mount": answers["mount"]}
    instrument["mirrored"] = answers["mirrored"]
    if answers["camera_angle"].strip() != UNKNOWN:
        instrument["camera_angle_deg"] = _number(answers["camera_angle"])
    keys: dict[str, Any] = {
        "title": answers["title"],
        "observer": answers["observer"],
        "time_zone": answers["time_zone"],
        "sites": [_site(answers["site"]).model_dump()],
        "instruments": [instrument],
    }
    with _misuse():
        return check_table(Settings, keys, name="new")


def _number(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        raise _Impossible(f"camera angle {text!r}: write a number of degrees, such as -12.5, or unknown") from None


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
    if north_angle is not None and not -360 <= north_angle <= 360:
        raise _Impossible(f"--north-angle {north_angle:g}: write degrees from -360 to 360")
    with _misuse():
        time = parse_time(time_text, name="--time") if time_text is not None else None
    return AddOptions(
        time=time,
        mirrored=None if mirrored is None else mirrored == "yes",
        north_angle_deg=north_angle,
        drift=drift,
        **stated,
    )


def amended_time(time_text: str | None, *, undo: bool) -> datetime | None:
    """The time that `amend` was told; none with --undo."""
    if time_text is None:
        return None
    if undo:
        raise click.UsageError("--undo brings back the former time; leave --time out")
    with _misuse():
        return parse_time(time_text, name="--time")


def may_restore(wanted: bool, *, yes: bool) -> Callable[[Sequence[Copy]], bool]:
    """How it is asked whether copies may take the places of damaged files; without a terminal --yes must say so."""
    if wanted and not yes and not sys.stdin.isatty():
        raise click.UsageError("--restore asks before it changes anything; give --yes where there is no terminal")

    def asked(copies: Sequence[Copy]) -> bool:
        for copy in copies:
            click.echo(f"{copy.file}: from {copy.path or 'what was remembered of it'}", err=True)
        return yes or click.confirm("Restore these? Damaged files are kept in removed/", err=True)

    return asked


def film_span(
    *,
    days: int | None,
    first: datetime | None,
    last: datetime | None,
    rotation: int | None,
    **options: object,
) -> FilmSettings:
    """The span and the options asked for; the last seven days with observations where no span is."""
    _refuse_of_other_style(options)
    if sum((days is not None, first is not None or last is not None, rotation is not None)) > 1:
        raise click.UsageError("give one span: --days, or --from and --to, or --rotation")
    if first is not None and last is not None and first > last:
        raise _Impossible(f"--from {first:%Y-%m-%d} is later than --to {last:%Y-%m-%d}")
    if (first is None) != (last is None):
        raise click.UsageError("give both --from and --to")
    keys: dict[str, Any] = {name: value for name, value in options.items() if value is not None}
    if first is not None and last is not None:
        keys |= {"from": first.date(), "to": last.date()}
    elif rotation is not None:
        keys |= {"rotation": rotation}
    else:
        keys |= {"days": days or 7}
    with _misuse():
        return check_table(FilmSettings, keys, name="film")


def _refuse_of_other_style(options: Mapping[str, object]) -> None:
    """An option that the style asked for would pass over is misuse."""
    style = options.get("style", "daily")
    for name, (option, styles) in _OPTIONS_OF_STYLES.items():
        if options.get(name) is not None and style not in styles:
            raise click.UsageError(f"{option} is of --style {' or '.join(styles)}, not of {style}; leave it out")
    if options.get("axis") and style == "corotating" and options.get("view") != "disc":
        raise click.UsageError("--axis needs a disc: give --view disc with it, or leave it out")


def moment_of(folder: Path | None, time_text: str | None) -> datetime:
    """The time asked for in UTC; now where none is; one without a zone takes the archive's."""
    if time_text is None:
        return datetime.now(UTC).replace(microsecond=0)
    with _misuse():
        moment = parse_time(time_text, name="--time")
    zone_name = "UTC"
    if moment.tzinfo is None:
        if folder is None:
            raise _Impossible(f"--time {time_text!r}: give its zone, such as {time_text}Z for UTC")
        zone_name = read_settings(open_folder(folder)).time_zone
    with _misuse():
        return in_utc(moment, zone_name=zone_name, source="--time", name="sun")


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
        raise _Impossible(f"--site {text!r}: write NAME,LATITUDE,LONGITUDE[,ELEVATION], such as Quay,52.1,-1.3")
    try:
        numbers = [float(part) for part in parts[1:]]
    except ValueError:
        raise _Impossible(f"--site {text!r}: latitude, longitude and elevation are numbers, such as 52.1") from None
    keys = dict(zip(("latitude_deg", "longitude_deg", "elevation_m"), numbers, strict=False))
    with _misuse():
        return check_table(SiteSettings, {"name": parts[0], **keys}, name="--site")
