"""`northlimb new`: make an empty archive."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from archive.commands.options import FOLDER, JSON
from archive.commands.printing import caution_lines, print_answer, print_warnings
from archive.commands.values import ImpossibleValue, Number, as_misuse, parse_site
from archive.model.choices import MIRRORED, MOUNTS

if TYPE_CHECKING:
    from archive.records.settings import Settings

__all__ = ["new"]

UNKNOWN = "unknown"
# Asked in this order; with the choices or the default where there are some.
_QUESTIONS: dict[str, tuple[str, tuple[str, ...] | None, str | None]] = {
    "title": ("Title", None, None),
    "observer": ("Observer", None, None),
    "site": (
        "Site: NAME,LATITUDE,LONGITUDE[,ELEVATION], such as Quay,52.1,-1.3 or Quay,52 06 30 N,1 18 W,41",
        None,
        None,
    ),
    "time_zone": ("Time zone of times that come without one", None, None),  # this computer's is proposed
    "instrument": ("Instrument", None, None),
    "mount": ("Mount (unknown is fine: days with spots show north without it)", MOUNTS, UNKNOWN),
    "mirrored": ("Are its pictures mirror images (unknown is fine: spots show it)?", MIRRORED, UNKNOWN),
    "camera_angle": (
        "Camera angle in degrees, counter-clockwise from the picture's up to the zenith (altaz) "
        "or to celestial north (equatorial); unknown is fine: it is learned from days with spots",
        None,
        UNKNOWN,
    ),
}
# Asked for along with others only: a command that is whole but for these asks nothing, in scripts on a terminal too.
_MAY_STAY_UNKNOWN = ("mirrored", "camera_angle")
# Stands in for what is not yet answered while one answer is checked.
_EXAMPLE = {
    "title": "Sun", "observer": "A. Teal", "site": "Quay,0,0", "time_zone": "UTC", "instrument": "Doorstep",
    "mount": UNKNOWN, "mirrored": UNKNOWN, "camera_angle": UNKNOWN,
}  # fmt: skip


@click.command(
    "new",
    short_help="Make an empty archive.",
    epilog='Example: northlimb new my-sun --title "Sun over the quay" --observer "A. Teal" --site Quay,52.1,-1.3 '
    "--time-zone Europe/London --instrument Doorstep --mount altaz --mirrored no --camera-angle 0",
)
@FOLDER
@click.option("--title", help="Title of the archive and its site.")
@click.option("--observer", help="Name that the site gives as the observer.")
@click.option(
    "--site",
    help="NAME,LATITUDE,LONGITUDE[,ELEVATION]: degrees, north and east positive, or 52.1N, 52 06 30 N; metres.",
)
@click.option(
    "--time-zone",
    help="Zone of times that come without one, such as Europe/London; on a terminal this computer's is proposed.",
)
@click.option("--instrument", help="Name of the telescope and camera.")
@click.option("--mount", type=click.Choice(MOUNTS), help="How the instrument is mounted.")
@click.option(
    "--mirrored",
    type=click.Choice(MIRRORED),
    help="Whether its pictures are mirror images.  [default: unknown]",
)
@click.option(
    "--camera-angle",
    type=Number(),
    metavar="DEG",
    help="From the picture's up to the zenith (altaz) or to celestial north (equatorial), counter-clockwise, "
    "un-mirrored; 0 where they agree.  [default: not known]",
)
@JSON
def new(folder: Path, as_json: bool, camera_angle: float | None, **wanted: str | None) -> None:
    """Make an empty archive in FOLDER. On a terminal, what is missing is asked for."""
    from archive.records.new_archive import create_archive, far_zones

    answers = _complete({**wanted, "camera_angle": None if camera_angle is None else str(camera_angle)})
    settings = _settings(answers)
    settings_file = create_archive(folder, settings)
    warnings = far_zones(settings)
    print_warnings(warnings)
    lines = [
        f"made {settings_file}; edit it whenever something changes",
        f"next: northlimb add {folder} PICTURE...",
        *caution_lines(),
    ]
    answer = {"status": "done", "folder": folder, "settings": settings_file, "warnings": warnings}
    print_answer(answer, lines, as_json=as_json)


def _complete(wanted: dict[str, str | None]) -> dict[str, str]:
    """Return all answers, the missing ones asked for on a terminal; elsewhere their absence is misuse."""
    missing = [name for name in _QUESTIONS if wanted[name] is None]
    needed = [name for name in missing if name not in _MAY_STAY_UNKNOWN]
    if needed and not sys.stdin.isatty():
        options = ", ".join(f"--{name.replace('_', '-')}" for name in needed)
        raise click.UsageError(f"missing: {options}; give them (on a terminal they are asked for)")
    answers = {name: given for name, given in wanted.items() if given is not None}
    return answers | {name: _ask(name) if needed else UNKNOWN for name in missing}


def _ask(name: str) -> str:
    """Return the answer to one question, asked again until it can be."""
    question, choices, default = _QUESTIONS[name]
    default = _proposed_zone() if name == "time_zone" else default
    kind = click.Choice(choices) if choices else None

    def checked(text: str) -> str:
        answer: str = kind.convert(text, None, None) if kind else text
        _settings({**_EXAMPLE, name: answer})
        return answer

    return str(click.prompt(question, default=default, type=kind, value_proc=checked, err=True))


def _proposed_zone() -> str:
    from archive.records.zones import computer_zone

    return computer_zone() or "UTC"


def _settings(answers: dict[str, str]) -> Settings:
    """Return the settings of a new archive with one site and one instrument."""
    from archive.records.settings import Settings
    from archive.records.toml_files import check_table

    instrument: dict[str, Any] = {"name": answers["instrument"], "mount": answers["mount"]}
    instrument["mirrored"] = answers["mirrored"]
    if answers["camera_angle"].strip() != UNKNOWN:
        instrument["camera_angle_deg"] = _number(answers["camera_angle"])
    keys: dict[str, Any] = {
        "title": answers["title"],
        "observer": answers["observer"],
        "time_zone": answers["time_zone"],
        "sites": [parse_site(answers["site"]).model_dump()],
        "instruments": [instrument],
    }
    with as_misuse():
        return check_table(Settings, keys, name="new")


def _number(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        raise ImpossibleValue(f"camera angle {text!r}: write a number of degrees, such as -12.5, or unknown") from None
