"""Mistakes in hand-edited TOML: all at once, one line each, in plain words."""

import re

import pytest
from pydantic import TypeAdapter

from archive.disk import Folder
from archive.errors import SettingsError
from archive.records.archive_files import files_of
from archive.records.record import Record, Sidecar, read_record, read_sidecar
from archive.records.settings import Settings, check_format, read_settings
from archive.records.toml_files import TomlModel, load_toml, parse_toml
from archive.records.value_kinds import Zone

GOOD = """
title = "Sun"
observer = "A"
{top}
[[sites]]
name = "Tor"
latitude_deg = {latitude}
longitude_deg = -1.3
{site}
[[instruments]]
name = "Refractor"
{instrument}
{rest}
"""


def causes(text, model=Settings):
    with pytest.raises(SettingsError) as caught:
        parse_toml(text, model, name="archive.toml")
    return caught.value.causes


def settings_causes(*, top="", latitude="52.1", site="", instrument="", rest=""):
    return causes(GOOD.format(top=top, latitude=latitude, site=site, instrument=instrument, rest=rest))


def test_every_mistake_of_a_file_is_reported_at_once():
    found = causes(
        """
        titel = "Sun"
        observer = 3
        time_zone = "Europe/Londn"
        [[sites]]
        name = "Tor"
        latitude_deg = 91
        longitude_deg = -1.3
        [[instruments]]
        name = "Refractor"
        mount = "tripod"
        [[instruments]]
        name = "refractor"
        [[films]]
        days = 7
        rotation = 2300
        """
    )
    assert sorted(found) == [
        "archive.toml: films[1]: give one span: days, or from and to, or rotation, or eclipse",
        "archive.toml: instruments[1].mount = 'tripod': must be 'altaz', 'equatorial' or 'unknown'",
        "archive.toml: observer = 3: must be text in quotes",
        "archive.toml: sites[1].latitude_deg = 91: must be at most 90",
        "archive.toml: time_zone = 'Europe/Londn': no such time zone; did you mean Europe/London?",
        "archive.toml: titel: no such key; did you mean title?",
        "archive.toml: title: missing; add it",
    ]


@pytest.mark.parametrize(
    ("value", "advice"),
    [
        ("true", "= true: must be a number, without quotes"),
        ('"high"', "= 'high': must be degrees, such as 52.1, 52.1N or 52 06 30 N"),
        ("inf", "= inf: must be a finite number"),
        ("nan", "= nan: must be a finite number"),
        ("90.5", "= 90.5: must be at most 90"),
        ("-91", "= -91: must be at least -90"),
        ("1" + "0" * 50, "= an enormous number: must be at most 90"),
        ("1" + "0" * 400, "= an enormous number: is too large a number"),
        ("[52.1]", ": must be a number, without quotes"),
        ("2026-06-03", "= 2026-06-03: must be a number, without quotes"),
    ],
    ids=lambda text: text[:12],
)
def test_what_is_no_latitude_is_refused(value, advice):
    assert settings_causes(latitude=value) == (f"archive.toml: sites[1].latitude_deg {advice}".replace(" :", ":"),)


@pytest.mark.parametrize(
    ("keys", "cause"),
    [
        ({"rest": "[[films]]\ndays = true"}, "films[1].days = true: must be a whole number, without quotes"),
        ({"rest": "[[films]]\ndays = 7.0"}, "films[1].days = 7.0: must be a whole number, without quotes"),
        ({"rest": "[[films]]\ndays = 0"}, "films[1].days = 0: must be at least 1"),
        (
            {"rest": "[[films]]\nfrom = 2026-06-03T00:00:00\nto = 2026-06-04"},
            "films[1].from = 2026-06-03T00:00:00: must be a date without quotes, such as 2026-06-03",
        ),
        (
            {"rest": '[[films]]\nfrom = 2026-06-03\nto = "2026-06-04"'},
            "films[1].to = '2026-06-04': must be a date without quotes, such as 2026-06-03",
        ),
        ({"rest": "[[films]]\nfrom = 2026-06-03"}, "films[1]: give both from and to"),
        ({"rest": "[[films]]\nfrom = 2026-06-03\nto = 2026-06-02"}, "films[1]: from is later than to"),
        ({"top": "language = 'english please'"}, "language = 'english please': must be a language tag such as en"),
        ({"top": "address = 'sun.example'"}, "address = 'sun.example': must be a web address that begins with https"),
        ({"top": "looks = []"}, "looks: is empty; at least one is needed"),
        ({"top": "looks = ['warm', 'warm']"}, "looks: duplicate name 'warm'"),
        ({"top": "looks = 'warm'"}, "looks = 'warm': must be a list in square brackets"),
        ({"top": "time_zone = ''"}, "time_zone = '': no such time zone; use a name such as Europe/London"),
        ({"top": "time_zone = '../x'"}, "time_zone = '../x': no such time zone; use a name such as Europe/London"),
        ({"top": "published_site_precision_deg = 0"}, "published_site_precision_deg = 0: must be more than 0"),
        ({"site": "elevation = 3"}, "sites[1].elevation: no such key; did you mean elevation_m?"),
        ({"site": "zzz = 3"}, "sites[1].zzz: no such key; remove it"),
        ({"site": "language = 'en'"}, "sites[1].language: no such key; it belongs at the top of the file, above"),
        ({"instrument": "mirrored = 'maybe'"}, "instruments[1].mirrored = 'maybe': must be 'yes', 'no' or 'unknown'"),
        ({"instrument": "filter = '  '"}, "instruments[1].filter = '  ': must not be empty"),
        ({"instrument": 'filter = "a\\nb"'}, "instruments[1].filter = 'a\\nb': must be on one line, without control"),
        ({"rest": "[targets]\nname = 'web'\nfolder = 'x'"}, "targets: must be written as a table [[targets]]"),
        ({"rest": "[[targets]]\nname = 'web'"}, "targets[1]: give one place: folder or url"),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_a_mistake_is_one_line_that_says_what_to_do(keys, cause):
    (line,) = settings_causes(**keys)
    assert line.startswith(f"archive.toml: {cause}")
    assert "\n" not in line


@pytest.mark.parametrize(
    ("text", "cause"),
    [
        ("title = 'Sun' 3\n", r"archive\.toml: not valid TOML: .*\(at line 1, column 15\); fix it"),
        ("a = 1\na = 2\n", r"archive\.toml: not valid TOML: duplicate key .*; fix it"),
        ("day = 2026-02-30\n", r"archive\.toml: line 1: day = 2026-02-30: no such day or time"),
        ("a = " + "9" * 5000, r"archive\.toml: a number has thousands of digits; fix it"),
        ("a = " + "[" * 100_000, r"archive\.toml: not valid TOML: brackets nested too deeply; fix it"),
    ],
    ids=["broken", "twice", "no such day", "digits", "nested"],
)
def test_text_that_is_no_toml_is_one_line(text, cause):
    (line,) = causes(text)
    assert re.fullmatch(cause, line)


@pytest.mark.parametrize(
    ("line", "advice"),
    [
        ("camera_angle_deg = 12,5", "write 12.5, with a decimal point"),
        ("camera_angle_deg = 12.5°", "write a number without its unit"),
        ("camera_angle_deg = .5", "write digits on both sides of the decimal point"),
        ("filter = “film”", 'write straight quotes, "'),
        ("filter = film", "text must be in quotes"),
        ('filter = "film', "the closing quote is missing"),
        ("filter = 'film", "the closing quote is missing"),
        ('folder = "C:\\Users\\Sun"', "write a backslash twice in double quotes, or use '...' instead"),
        ("filter =", "the value is missing; give one, or remove the line"),
        ("filter = # glass", "the value is missing; give one, or remove the line"),
        ("filter: 'film'", "write key = value, not key: value"),
        ("camera angle = 3", "a key is one word"),
        ("[[sites]", "the closing bracket is missing"),
        ("whole = True", "write true or false in small letters"),
        ("time = 3.6.2026", "write a day as 2026-06-03, a time as 2026-06-03T09:15:00Z"),
        ("time = 09:15", "write a day as 2026-06-03, a time as 2026-06-03T09:15:00Z"),
    ],
)
@pytest.mark.parametrize("rest", ["", "\nlast = 1\n"], ids=["at the end", "in the middle"])
def test_a_usual_mistake_in_a_line_is_told_in_plain_words(line, advice, rest):
    assert causes(f"title = 'Sun “Zwei”'\n\n{line}{rest}") == (f"archive.toml: line 3: {line}: {advice}",)


def test_missing_and_misshapen_tables_are_named_as_they_are_written():
    found = causes("title = 'Sun'\nobserver = 'A'\nsites = 3\n")
    assert found == (
        "archive.toml: sites: must be written as a table [[sites]]",
        "archive.toml: instruments: missing; add a table [[instruments]]",
    )
    assert "record: picture: missing; add a table [picture]" in _record_causes("time = 2026-06-03T09:15:00Z")


def _record_causes(text):
    with pytest.raises(SettingsError) as caught:
        parse_toml(text, Record, name="record")
    return caught.value.causes


def test_no_wording_of_the_library_reaches_the_user():
    """Every kind of wrong value against every key of a note, which has every kind of field but tables."""
    wrong = ("true", "-7", "1e300", "'words'", "''", "[1]", "{ a = 1 }", "2026-06-03", "09:15:00", "nan", "'x\\u0000'")
    lines = []
    for key in Sidecar.model_fields:
        for value in wrong:
            try:
                parse_toml(f"{key} = {value.replace(chr(39), chr(34))}", Sidecar, name="note")
            except SettingsError as error:
                lines += error.causes
    assert len(lines) > 100  # most are wrong for most keys
    assert [line for line in lines if re.search("input|should|valid |pydantic|Error|datetime", line)] == []
    assert all(re.match(r"note: [a-z_]+( = .+)?: (must|no such|no picture|is )", line) for line in lines)


def test_a_byte_order_mark_is_no_mistake_and_other_encodings_are_named(tmp_path):
    path = tmp_path / "note.toml"
    path.write_bytes("\ufeffgain = 7\r\n".encode())
    assert load_toml(Folder(tmp_path), "note.toml") == {"gain": 7}
    path.write_bytes("note = 'Föhn'".encode("latin-1"))
    with pytest.raises(SettingsError, match=r"note\.toml: byte 9 is not UTF-8; save the file as UTF-8 text$"):
        load_toml(Folder(tmp_path), "note.toml")
    with pytest.raises(SettingsError, match=r"absent\.toml: cannot be read: No such file or directory$"):
        load_toml(Folder(tmp_path), "absent.toml")


def test_a_kind_of_mistake_without_words_of_its_own_still_names_file_and_key():
    class Rare(TomlModel):
        raw: bytes

    assert causes("raw = 3", Rare)[0].startswith("archive.toml: raw = 3: ")


@pytest.mark.parametrize(
    ("text", "cause"),
    [
        ("x" + ".a" * 900 + " = 1", "archive.toml: a key of over 20 parts with dots between them; fix it"),
        ("[x" + ".a" * 5000 + "]", "archive.toml: a key of over 20 parts with dots between them; fix it"),
        ("x = { " + "'a'. " * 5000 + "a = 1 }", "archive.toml: a key of over 20 parts with dots between them; fix it"),
        ("x" * 5000 + " = 1", "archive.toml: " + "x" * 57 + "...: no such key; remove it"),
    ],
    ids=["dotted", "table", "quoted", "long key"],
)
def test_what_is_deep_or_long_is_still_one_readable_line(text, cause):
    assert cause in causes(text)


def test_a_format_of_thousands_of_digits_is_told(tmp_path):
    (tmp_path / "archive.toml").write_text("format = 0x" + "f" * 5000, encoding="utf-8")
    for read in (check_format, read_settings):
        with pytest.raises(SettingsError, match="format = an enormous number: made by a newer northlimb"):
            read(files_of(tmp_path))


def test_a_note_of_gigabytes_is_not_read(tmp_path):
    path = tmp_path / "0915Z.toml"
    with path.open("wb") as stream:
        stream.truncate(10 * 2**30)  # sparse: it takes no room on the disk
    for read in (lambda: load_toml(Folder(tmp_path), "0915Z.toml"), lambda: read_sidecar(path)):
        with pytest.raises(
            SettingsError, match=r"0915Z\.toml: 10737\.4 MB, over the 1 MB that it may have; shorten it$"
        ):
            read()


def test_dots_in_a_text_are_no_parts_of_a_key():
    text = 'note = """1. Haze..... 2.3.4 and so on ' + ". " * 500 + '"""\n# a.b.c ...'
    assert parse_toml(text, Sidecar, name="sun.toml").note.startswith("1. Haze..... 2.3.4")


@pytest.mark.parametrize(
    ("table", "cause"),
    [
        ("[[dust]]\nx_px = 1.0\ny_px = 1.0\n", "record: dust: has 1001 entries; at most 1000 are read"),
        ("[[groups]]\nlatitude_deg = 1.0\ncarrington_longitude_deg = 1.0\n",
         "record: groups: has 1001 entries; at most 1000 are read"),
    ],
    ids=["dust", "groups"],
)  # fmt: skip
def test_a_thousand_entries_are_read_and_no_more(table, cause):
    record = 'time = 2026-06-03T09:15:00Z\n[picture]\nfile = "2026/2026-06-03/0915Z.png"\nsha256 = "' + "0" * 64 + '"\n'
    parse_toml(record + table * 1000, Record, name="record")
    with pytest.raises(SettingsError) as refused:
        parse_toml(record + table * 1001, Record, name="record")
    assert refused.value.causes == (cause,)


def test_of_thousands_of_mistakes_twenty_are_told(tmp_path):
    path = tmp_path / "0915Z.toml"
    path.write_text("".join(f"k{number} = 1\n" for number in range(50_000)), encoding="utf-8")
    with pytest.raises(SettingsError) as refused:
        read_record(files_of(tmp_path), "0915Z.toml")
    assert len(refused.value.causes) == 21
    assert refused.value.causes[-1].endswith("0915Z.toml: 49982 more mistakes; correct these first")


@pytest.mark.parametrize("zone", ["CEST", "BST", "EDT", "GMT+1", "UTC+2", "+02:00"])
def test_no_zone_hours_away_is_suggested_for_an_abbreviation_or_an_offset(zone: str) -> None:
    with pytest.raises(ValueError, match="no such time zone; abbreviations and offsets do not say") as told:
        TypeAdapter(Zone).validate_python(zone)
    assert "did you mean" not in str(told.value)
