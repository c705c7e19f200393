"""Output shared by commands: JSON, warnings, refusals, the caution, formatted figures."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import fields, is_dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from archive.commands.streams import print_error_line, print_line, terminal_width
from archive.errors import ArchiveError
from archive.safety import CAUTION

if TYPE_CHECKING:
    from archive.model.choices import Band
    from archive.model.observation import Orientation

__all__ = [
    "causes_of",
    "caution_lines",
    "format_count",
    "format_north",
    "json_fields",
    "json_text",
    "next_build_line",
    "one_line",
    "print_answer",
    "print_causes",
    "print_json",
    "print_refusal",
    "print_warnings",
]


def print_json(answer: object) -> None:
    """Print the machine-readable answer."""
    print_line(json_text(answer))


def json_text(answer: object) -> str:
    """Return the machine-readable answer as text."""
    text = json.dumps(answer, default=_plain, ensure_ascii=False, indent=1, allow_nan=False)
    # A name that is not valid text on this disk becomes escapes, which JSON has for every unit of it.
    return text.encode("utf-8", "backslashreplace").decode()


def print_answer(answer: object, lines: Iterable[str], *, as_json: bool) -> None:
    """Print one answer: what a program reads, or the lines that people read, which are made as they are printed."""
    if as_json:
        print_json(answer)
        return
    for line in lines:
        print_line(line)


# Of the Sun as seen from space.
_NO_SKY = {"altitude_deg": None, "azimuth_deg": None, "parallactic_angle_deg": None}


def json_fields(value: object) -> dict[str, Any]:
    """Return the fields of a dataclass by name, to stand among others in an answer."""
    found: dict[str, Any] = _plain(value)
    return found


def _plain(value: object) -> Any:
    """Return a value for JSON: dataclasses as objects, times in UTC to the second, paths as text."""
    if is_dataclass(value):
        found = {field.name: getattr(value, field.name) for field in fields(value)}
        return found | _NO_SKY if found.get("has_horizon") is False else found
    if isinstance(value, datetime):
        return f"{value.astimezone(UTC):%Y-%m-%dT%H:%M:%SZ}"
    return str(value)


def causes_of(error: ArchiveError | OSError) -> tuple[str, ...]:
    """Return one line for each cause; what the system refuses is as much the user's to put right as what we do.

    Raises
    ------
    BrokenPipeError
        Nobody reads the answer any more, so nothing is to be said of it.
    """
    if isinstance(error, ArchiveError):
        return error.causes
    if isinstance(error, BrokenPipeError):
        raise error
    where = f"{error.filename}: " if error.filename else ""
    return (f"{where}{error.strerror or error}; check names, permissions and free space",)


def print_refusal(causes: Sequence[str], *, as_json: bool) -> None:
    """Print one line for each cause on standard error; the answer in JSON where it was asked for."""
    print_causes(causes)
    if as_json:
        print_json({"status": "refused", "causes": causes})


def print_causes(causes: Iterable[str]) -> None:
    """Print one line for each cause on standard error."""
    for cause in causes:
        print_error_line(f"northlimb: {one_line(cause)}")


def print_warnings(warnings: Iterable[str]) -> None:
    """Print one line for each warning on standard error."""
    for warning in warnings:
        print_error_line(f"warning: {one_line(warning)}")


def next_build_line(folder: Path) -> str:
    """Return that the site does not yet show what was changed in the archive."""
    return f"next: northlimb build {folder} (and publish) brings the site up to date"


def caution_lines() -> tuple[str, str]:
    """Return an empty line and the caution about the Sun, as wide as the terminal."""
    return "", click.wrap_text(CAUTION, width=terminal_width())


def one_line(text: str) -> str:
    """Return the text in one line: no line break and no control character of a file's name reaches the terminal."""
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())


def format_count(number: int, noun: str) -> str:
    """Return ``1 spot``, ``2 spots``."""
    return f"{number} {noun}{'' if number == 1 else 's'}"


def format_north(orientation: Orientation, band: Band) -> str:
    """Return a picture's north angle, its error and what it is worth."""
    if orientation.status == "unknown":
        helps = "a second day" if band == "white" else "a white-light picture of the day"
        spots = f"{helps} with spots may settle it; or "
        return (
            f"not known: shown as it came ({spots}state --north-angle, or the instrument's camera angle and mirroring)"
        )
    mirrored = ", mirrored" if orientation.mirrored else ""
    return f"{orientation.north_angle_deg:+.1f} ± {orientation.sigma_deg:.1f} deg{mirrored} ({orientation.status})"
