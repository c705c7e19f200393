"""Types of value that settings and records share; each refuses invalid values in plain words."""

from __future__ import annotations

import difflib
import re
from datetime import UTC, datetime
from typing import Annotated
from zoneinfo import ZoneInfo, available_timezones

from pydantic import AfterValidator, BeforeValidator, Field

from archive.model.choices import YesNo

__all__ = ["FIRST_YEAR", "LAST_YEAR", "AwareTime", "PlainTime", "Text", "YesNoOrBool", "Zone", "yes_or_no"]

# The whole years in which ERFA's `epv00` gives the Sun's place (its documentation: within 100 years of J2000.0).
FIRST_YEAR, LAST_YEAR = 1900, 2099
_ABBREVIATION_OR_OFFSET = re.compile(r"[A-Za-z]{1,5}|[A-Za-z]*[+-].*")


def _on_one_line(text: str) -> str:
    if not text.isprintable():
        raise ValueError("must be on one line, without control characters")
    return text


def yes_or_no(value: object) -> object:
    """Return "yes" or "no" for `true` and `false`; anything else unchanged, for the field to check."""
    return ("yes" if value else "no") if isinstance(value, bool) else value


def _known_zone(name: str) -> str:
    try:
        ZoneInfo(name)
    except (KeyError, ValueError, OSError) as error:
        near = difflib.get_close_matches(name, available_timezones(), n=1)
        if _ABBREVIATION_OR_OFFSET.fullmatch(name):
            # The nearest name would be a zone hours away.
            advice = "abbreviations and offsets do not say when summer time begins; use a name such as Europe/London"
        else:
            advice = f"did you mean {near[0]}?" if near else "use a name such as Europe/London or UTC"
        raise ValueError(f"no such time zone; {advice}") from error
    return name


def _in_known_years(moment: datetime) -> datetime:
    if not FIRST_YEAR <= moment.year <= LAST_YEAR:
        raise ValueError(f"the Sun's place is known for the years {FIRST_YEAR} to {LAST_YEAR}; correct the year")
    return moment


def _in_utc(moment: datetime) -> datetime:
    if moment.tzinfo is None:
        raise ValueError("is without a zone; write it in UTC with a Z, such as 2026-06-03T09:15:00Z")
    return moment.astimezone(UTC)


Text = Annotated[str, Field(min_length=1, max_length=200), AfterValidator(_on_one_line)]
Zone = Annotated[str, AfterValidator(_known_zone)]
YesNoOrBool = Annotated[YesNo, BeforeValidator(yes_or_no)]
PlainTime = Annotated[datetime, AfterValidator(_in_known_years)]
AwareTime = Annotated[PlainTime, AfterValidator(_in_utc), AfterValidator(_in_known_years)]
