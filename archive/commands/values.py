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
    "WholeNumberRange",
    "as_misuse",
    "parse_duration",
    "parse_site",
    "parse_typed_time",
    "parse_years",
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


class WholeNumberRange(click.IntRange):
    """A whole number within limits."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Return the number; click's own refusal would speak of an "integer range"."""
        try:
            int(value)
        except ValueError:
            self.fail(f"{value!r} is not a whole number; write 7", param, ctx)
        return super().convert(value, param, ctx)


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


# A whole number, decimals, and what may follow them in a coordinate.
_COMMA_IN_NUMBER = re.compile(r"[NSEW]?\s*[+-]?\d+(?:[°:'\s]+\d+)*,\d+[°'\"\s]*[NSEWm]?", re.IGNORECASE)


def parse_site(text: str) -> SiteSettings:
    """Return the site given with --site as NAME,LATITUDE,LONGITUDE[,ELEVATION]."""
    from archive.records.settings import SiteSettings
    from archive.records.toml_files import check_table

    name, *places = _site_parts(text)
    if len(places) not in (2, 3):
        raise ImpossibleValue(
            f"--site {text!r}: write NAME,LATITUDE,LONGITUDE[,ELEVATION], such as Quay,52.1,-1.3 or Quay,52.1N,1.3W"
        )
    keys: dict[str, Any] = dict(zip(("latitude_deg", "longitude_deg"), places, strict=False))
    if len(places) == 3:
        try:
            keys["elevation_m"] = float(places[2].replace(",", ".").removesuffix("m"))
        except ValueError:
            raise ImpossibleValue(f"--site {text!r}: the elevation is a number of metres, such as 41") from None
    with as_misuse():
        return check_table(SiteSettings, {"name": name, **keys}, name="--site")


def _site_parts(text: str) -> list[str]:
    """Return a site's name, latitude, longitude and elevation; commas within numbers are told from those between."""
    if ";" in text:
        return [part.strip() for part in text.split(";")]
    name, *parts = (part.strip() for part in text.split(","))
    pairs = [f"{whole},{rest}" for whole, rest in zip(parts[::2], parts[1::2], strict=False)]
    last = parts[len(parts) - len(parts) % 2 :]  # an elevation in whole metres
    if len(parts) in (4, 5, 6) and all(_COMMA_IN_NUMBER.fullmatch(pair) for pair in pairs):
        return [name, *pairs, *last]
    return [name, *parts]


def parse_years(text: str) -> tuple[int, int]:
    """Return the first and the last year of ``2026`` or ``2026-2030``."""
    from archive.reports.eclipses import FIRST_YEAR, LAST_YEAR

    years = re.fullmatch(r"\s*(\d{4})\s*(?:-\s*(\d{4})\s*)?", text)
    if years is None:
        raise ImpossibleValue(f"--eclipses {text!r}: write a year, or two such as 2026-2030")
    first, last = int(years[1]), int(years[2] or years[1])
    if not FIRST_YEAR <= first <= last <= LAST_YEAR:
        raise ImpossibleValue(
            f"--eclipses {text!r}: give years from {FIRST_YEAR} to {LAST_YEAR}, the earlier one first"
        )
    return first, last
