"""Values typed on the command line; an impossible one is misuse, one line for each cause."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta
from typing import IO, TYPE_CHECKING, Any

import click

from archive.errors import ArchiveError

if TYPE_CHECKING:
    from archive.records.settings import SiteSettings

__all__ = [
    "Day",
    "ImpossibleValue",
    "Number",
    "NumberRange",
    "as_misuse",
    "parse_duration",
    "parse_site",
    "parse_typed_time",
]


class Number(click.types.FloatParamType):
    """A number."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Return the number; click's own refusal would speak of a "float"."""
        return super().convert(_checked_number(self, value, param, ctx), param, ctx)


class NumberRange(click.FloatRange):
    """A number within limits."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Return the number; see `Number`."""
        return super().convert(_checked_number(self, value, param, ctx), param, ctx)


def _checked_number(
    kind: Number | NumberRange, value: Any, param: click.Parameter | None, ctx: click.Context | None
) -> Any:
    try:
        float(value)
    except ValueError:
        kind.fail(f"{value!r} is not a number; write 12.5", param, ctx)
    return value


class Day(click.DateTime):
    """A day such as ``2026-06-03``."""

    def __init__(self) -> None:
        super().__init__(["%Y-%m-%d"])

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Return the day; click's own refusal would show the format's code."""
        try:
            return super().convert(value, param, ctx)
        except click.BadParameter:
            self.fail(f"{value!r} is not a day; write 2026-06-03", param, ctx)


class ImpossibleValue(click.UsageError):
    """A value that cannot be: one line a cause without usage, for the option itself was used rightly."""

    def show(self, file: IO[Any] | None = None) -> None:
        """Print each cause on a line of its own."""
        for cause in self.format_message().splitlines():
            click.echo(f"northlimb: {cause}", file=file, err=file is None)


@contextmanager
def as_misuse() -> Iterator[None]:
    """Turn the refusal of a value into misuse, for it was typed on the command line.

    Raises
    ------
    ImpossibleValue
        In place of any ArchiveError.
    """
    try:
        yield
    except ArchiveError as error:
        raise ImpossibleValue("\n".join(error.causes)) from error


def parse_typed_time(text: str) -> datetime:
    """Return the time given with --time, with its zone if it has one."""
    from archive.records.capture_time import parse_time

    with as_misuse():
        return parse_time(text, name="--time")


_DURATION = re.compile(
    r"(?P<sign>[+-]?)(?:(?P<days>\d+)d)?(?:(?P<hours>\d+(?:\.\d+)?)h)?(?:(?P<minutes>\d+)m(?:in)?)?(?:(?P<seconds>\d+)s)?"
    r"|(?P<clock_sign>[+-]?)(?P<clock_hours>\d{1,2}):(?P<clock_minutes>[0-5]\d)"
)
_LONGEST = timedelta(days=36525)


def parse_duration(text: str, *, name: str) -> timedelta:
    """Return a duration such as ``-2h``, ``+1h30m``, ``45s`` or ``-2:00``."""
    match = _DURATION.fullmatch(text.strip())
    found = {} if match is None else {key: value for key, value in match.groupdict().items() if value}
    sign = -1 if "-" in (found.pop("sign", ""), found.pop("clock_sign", "")) else 1
    try:
        parts = {key.removeprefix("clock_"): float(value) for key, value in found.items()}
        duration = sign * timedelta(**parts)
    except OverflowError:
        duration = 2 * _LONGEST
    if not found or not timedelta(0) < abs(duration) <= _LONGEST:
        raise ImpossibleValue(f"{name} {text!r}: write a duration such as -2h, +1h30m or -45s")
    return timedelta(seconds=round(duration.total_seconds()))


def parse_site(text: str) -> SiteSettings:
    """Return the site given with --site as NAME,LATITUDE,LONGITUDE[,ELEVATION]."""
    from archive.records.settings import SiteSettings
    from archive.records.toml_files import check_table

    parts = [part.strip() for part in text.split(",")]
    if len(parts) not in (3, 4):
        raise ImpossibleValue(f"--site {text!r}: write NAME,LATITUDE,LONGITUDE[,ELEVATION], such as Quay,52.1,-1.3")
    try:
        numbers = [float(part) for part in parts[1:]]
    except ValueError:
        raise ImpossibleValue(f"--site {text!r}: latitude, longitude and elevation are numbers, such as 52.1") from None
    keys = dict(zip(("latitude_deg", "longitude_deg", "elevation_m"), numbers, strict=False))
    with as_misuse():
        return check_table(SiteSettings, {"name": parts[0], **keys}, name="--site")
