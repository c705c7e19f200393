"""The languages of pages, films and desk: the words of a catalogue, dates, numbers and lists as each writes them.

English stands in the code and the templates. ``with speaking("de"):`` holds for what is done within, in this thread;
without it all is English. Catalogues are the files ``site_templates/locale/LANG.po``; `tests/catalogues.py` gathers the
messages into them.
"""

from archive.language.captions import caption_words
from archive.language.catalogues import LANGUAGES, catalogue_of, check_catalogue, known_language
from archive.language.dates import (
    beside_utc,
    day_and_month,
    days_and_months,
    format_date_range,
    format_day,
    format_month,
    format_time,
    month_name,
    short_day,
    short_month_name,
    short_weekday_name,
    weekday_name,
)
from archive.language.figures import decimal, joined
from archive.language.kept_words import kept_title, kept_words
from archive.language.scripts import translated_script
from archive.language.speech import (
    gettext,
    gettext_noop,
    ngettext,
    pgettext,
    speaking,
    spoken,
    spoken_digest,
)
from archive.language.template_words import template_words

__all__ = [
    "LANGUAGES",
    "beside_utc",
    "caption_words",
    "catalogue_of",
    "check_catalogue",
    "day_and_month",
    "days_and_months",
    "decimal",
    "format_date_range",
    "format_day",
    "format_month",
    "format_time",
    "gettext",
    "gettext_noop",
    "joined",
    "kept_title",
    "kept_words",
    "known_language",
    "month_name",
    "ngettext",
    "pgettext",
    "short_day",
    "short_month_name",
    "short_weekday_name",
    "speaking",
    "spoken",
    "spoken_digest",
    "template_words",
    "translated_script",
    "weekday_name",
]
