"""Messages, dates and numbers in other languages."""

from __future__ import annotations

import subprocess
import sys
from datetime import UTC, date, datetime

import pytest

from archive.errors import SettingsError
from archive.language import (
    day_and_month,
    days_and_months,
    decimal,
    format_date_range,
    format_day,
    format_month,
    format_time,
    gettext,
    joined,
    ngettext,
    pgettext,
    speaking,
    spoken,
    template_words,
    translated_script,
)

# The plural of "files" is that of the gettext manual's examples for Polish: 1 plik, 2 pliki, 5 plików.
OWN_POLISH = """
msgid ""
msgstr ""
"Content-Type: text/plain; charset=utf-8\\n"
"Plural-Forms: nplurals=3; plural=(n==1 ? 0 : n%10>=2 && n%10<=4 && (n%100<10 || n%100>=20) ? 1 : 2);\\n"

msgid "North is {angle} off."
msgstr "Północ: {angle} <obok>."

msgctxt "month"
msgid "May"
msgstr "maj"

msgid "{n} file"
msgid_plural "{n} files"
msgstr[0] "{n} plik"
msgstr[1] "{n} pliki"
msgstr[2] "{n} plików"
""".encode()


def test_english_is_spoken_where_nothing_else_is_said() -> None:
    assert spoken() == "en"
    assert gettext("North is {angle} off.", angle="3°") == "North is 3° off."
    assert [ngettext("{n} file", "{n} files", n) for n in (0, 1, 2)] == ["0 files", "1 file", "2 files"]
    assert gettext("100 % {") == "100 % {"


def test_a_catalogue_gives_words_and_the_forms_of_the_plural() -> None:
    with speaking("pl", OWN_POLISH):
        assert gettext("North is {angle} off.", angle="3°") == "Północ: 3° <obok>."
        assert [ngettext("{n} file", "{n} files", n) for n in (1, 2, 5, 22, 25)] == [
            "1 plik", "2 pliki", "5 plików", "22 pliki", "25 plików",
        ]  # fmt: skip
        assert pgettext("month", "May") == "maj"
        assert gettext("Not in it") == "Not in it"
    assert spoken() == "en"


def test_templates_escape_words_and_values_but_not_markup() -> None:
    import jinja2

    environment = jinja2.Environment(autoescape=True)
    environment.globals.update(template_words())
    text = "{% set link %}<a>x</a>{% endset %}{{ _('North is {angle} off.', angle=link) }} {{ _('<{x}>', x='&') }}"
    with speaking("pl", OWN_POLISH):
        found = environment.from_string(text).render()
    assert found == "Północ: <a>x</a> &lt;obok&gt;. &lt;&amp;&gt;"


SCRIPT = (
    'const n = 5, angle = "3°"; print(_("North is {angle} off."), ngettext("{n} file", "{n} files", n), _("`$\\"{"));'
)


def test_scripts_are_written_with_words_in_place() -> None:
    assert translated_script(SCRIPT) == (
        'const n = 5, angle = "3°"; '
        'print(`North is ${angle} off.`, [`${n} file`, `${n} files`][Number(n != 1)], "`$\\"{");'
    )
    with speaking("pl", OWN_POLISH):
        assert "`Północ: ${angle} <obok>.`, [`${n} plik`, `${n} pliki`, `${n} plików`][Number(" in translated_script(
            SCRIPT
        )


@pytest.mark.parametrize(
    "source",
    [b"msgid no quotes", b'msgid "North is {angle} off."\nmsgstr "{other}"\n', b'msgid "a"\nmsgstr "{0.real}"\n'],
)
def test_a_catalogue_with_mistakes_is_refused_in_one_line(source: bytes) -> None:
    with pytest.raises(SettingsError, match=r"^theme/locale/de\.po: .+; correct it$"), speaking("de", source):
        pass


# As in the Unicode CLDR's tables of these languages, and any almanac printed in them.
@pytest.mark.parametrize(
    ("language", "day", "short", "month", "span", "figure", "words"),
    [
        ("en", "3 June 2026", "3 June", "June 2026", "3 to 17 June 2026", "7.25", "a, b and c"),
        ("de", "3. Juni 2026", "3. Juni", "Juni 2026", "3.–17. Juni 2026", "7,25", "a, b und c"),
        ("fr-CH", "3 juin 2026", "3 juin", "juin 2026", "3–17 juin 2026", "7,25", "a, b et c"),
        ("pl", "3 czerwca 2026", "3 czerwca", "czerwiec 2026", "3–17 czerwca 2026", "7,25", "a, b i c"),
        ("ja", "2026年6月3日", "6月3日", "2026年6月", "2026年6月3日～17日", "7.25", "a、b、c"),
    ],
)
def test_dates_numbers_and_lists(
    language: str, day: str, short: str, month: str, span: str, figure: str, words: str
) -> None:
    first, last = date(2026, 6, 3), date(2026, 6, 17)
    with speaking(language):
        assert (format_day(first), day_and_month(first), format_month(first)) == (day, short, month)
        assert format_date_range(first, last) == span
        assert days_and_months(first, first) == short
        assert decimal("7.25") == figure
        assert joined(["a", "b", "c"]) == words
        assert format_time(datetime(2026, 6, 3, 9, 5, tzinfo=UTC)) == "09:05 UTC"


def test_help_loads_no_catalogue() -> None:
    code = "import sys; from archive.commands.main import main; main(['--help']); print('babel' in sys.modules)"
    told = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert told.stdout.strip().endswith("False")
