"""What a film is asked to be: its options, and words for it."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Sequence
from dataclasses import fields

from archive.films.job import FilmOptions
from archive.films.layout import DEFAULT_SIDE_PX
from archive.model.choices import FilmStyle
from archive.model.observation import Observation
from archive.records.settings import FilmSettings
from archive.website.observation_view import format_band

__all__ = ["film_options", "film_title", "film_words", "option_slugs", "option_words"]

_TITLE_ENDS: dict[FilmStyle, str] = {"daily": "", "smooth": ", smooth rotation", "corotating": ", fixed longitudes"}


def film_options(span: FilmSettings) -> FilmOptions:
    """Return the options that a film's settings hold, the others as most films want them."""
    names = {field.name for field in fields(FilmOptions)}
    return FilmOptions(**{name: value for name, value in span.model_dump(exclude_none=True).items() if name in names})


def film_words(span: FilmSettings) -> str:
    """Return what a film is asked to be, before it is known what it will show."""
    if span.rotation is not None:
        words = f"Carrington rotation {span.rotation}"
    elif span.eclipse:
        words = "The latest eclipse pictured"
    elif span.days is not None:
        words = f"The last {span.days} days observed" if span.days > 1 else "The last day observed"
    else:
        words = f"{span.first} to {span.last}"
    band = "" if span.band is None else f", {format_band(span.band)}"
    return words + band + _title_end(span)


def film_title(span: FilmSettings, chosen: Sequence[Observation]) -> str:
    """Return the film's title on the site."""
    band = "" if chosen[0].band == "white" else f", {format_band(chosen[0].band)}"
    return _span_title(span, chosen) + band + _title_end(span)


def _span_title(span: FilmSettings, chosen: Sequence[Observation]) -> str:
    if span.rotation is not None:
        return f"Carrington rotation {span.rotation}"
    first, last = chosen[0].day, chosen[-1].day
    if span.eclipse:
        return f"Eclipse of {last}"
    days = len({one.day for one in chosen})
    if span.days is not None and days > 1:
        return f"The last {days} days observed"
    return f"{first} to {last}" if first != last else f"{first}"


def _title_end(span: FilmSettings) -> str:
    if span.eclipse:
        return ", equal steps of time" if span.style == "smooth" else ""
    return _TITLE_ENDS[span.style]


def option_slugs(span: FilmSettings) -> list[str]:
    """Return the options of `option_words` as parts of a file's name; a credit is told apart by its text's digest."""
    slugs = [re.sub("[^a-z0-9.]+", "-", words.replace("°", "").lower()).strip("-") for words in option_words(span)]
    credit = film_options(span).credit
    if credit:
        slugs[slugs.index("credit")] = f"credit-{hashlib.sha256(credit.encode()).hexdigest()[:4]}"
    return slugs


def option_words(span: FilmSettings) -> list[str]:
    """Return the options in which a film is not as most films are."""
    usual, options = FilmOptions(), film_options(span)
    words = [f"look {options.look}"] if options.look else []
    words += ["all pictures"] if options.all_pictures else []
    each = ("hour" if span.eclipse else "day") if span.style == "smooth" else "picture"
    words += [f"{options.pace_s:g} s a {each}"] if options.pace_s else []
    if span.style == "smooth" and options.reach_days != usual.reach_days:
        words += [f"reach {options.reach_days:g} d"]
    words += [options.shape] if options.shape != usual.shape else []
    words += [f"{options.size_px} px"] if options.side_px != DEFAULT_SIDE_PX[options.shape] else []
    words += {"full": [], "date": ["date only"], "none": ["no caption"]}[options.caption]
    words += ["local time"] if options.clock == "local" else []
    words += ["credit"] if options.credit else []
    words += [name for name in ("grid", "axis", "marks", "earth") if getattr(options, name)]
    words += ["title card"] if options.title_card else []
    words += [f"last frame held {options.hold_s:g} s"] if options.hold_s else []
    words += ["group names"] if options.group_names else []
    if span.style == "corotating":
        words += [options.view] if options.view != usual.view else []
        words += [f"longitude {options.longitude_deg:g}°"] if options.longitude_deg is not None else []
    return words
