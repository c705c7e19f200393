"""The words of a film's captions, gathered before the film is made: whoever paints its frames needs no catalogue."""

from __future__ import annotations

from archive.language.speech import gettext, spoken
from archive.model.caption_words import CaptionWords

__all__ = ["caption_words"]

# What the CLDR's patterns call the parts of a date.
_PARTS = {"d": "{day}", "MMMM": "{month}", "MMM": "{month}", "M": "{month_number}", "y": "{year}"}


def caption_words() -> CaptionWords:
    """Return the words of captions in the language that is spoken."""
    if (language := spoken()) == "en":
        return CaptionWords()
    from babel.dates import get_date_format, get_month_names

    pattern = get_date_format("long", language)
    # Where it has words besides the month, it would run into the disc: the month is shortened.
    is_long = "'" in pattern.pattern
    months = get_month_names("abbreviated" if is_long else "wide", "format", language)
    return CaptionWords(
        date=str((get_date_format("medium", language) if is_long else pattern).format) % _PARTS,
        months=tuple(months[number] for number in range(1, 13)),
        # Translators: captions of a film's frames, beneath the date; at most as long as "between observations".
        observed=gettext("observed"),
        observed_at=gettext("observed at {time}"),
        between=gettext("between observations"),
        not_observed=gettext("not observed"),
        # Translators: beside a small disc in a film, which shows how large the Earth is.
        earth_to_scale=gettext("Earth to scale"),
        longitude_axis=gettext("Carrington longitude"),
        latitude_axis=gettext("Latitude"),
    )
