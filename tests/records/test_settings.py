"""`archive.toml`: written, read back, edited without loss."""

from datetime import date

import pytest

from archive.errors import SettingsError
from archive.records.archive_files import files_of
from archive.records.settings import (
    FilmSettings,
    InstrumentSettings,
    Settings,
    SiteSettings,
    TargetSettings,
    find_named,
    keep_film,
    new_settings_text,
    read_settings,
)

TOR = SiteSettings(name="Tor", latitude_deg=52.1, longitude_deg=-1.3, elevation_m=240)
QUAY = SiteSettings(name="Quay", latitude_deg=-41, longitude_deg=174.7)
REFRACTOR = InstrumentSettings(name='4" refractor', mount="altaz", mirrored="no", camera_angle_deg=-3.5, filter="film")
WEEK = FilmSettings(days=7)
SPAN = FilmSettings.model_validate({"from": date(2026, 6, 1), "to": date(2026, 6, 28)})


@pytest.mark.parametrize(
    "settings",
    [
        Settings(title="Sun", observer="A", sites=(TOR,), instruments=(REFRACTOR,)),
        Settings(
            title='Sun "over" the tor \\ ☉',
            observer="Å. Observer",
            time_zone="Australia/Lord_Howe",
            language="de-AT",
            address="https://sun.example/x/",
            published_site_precision_deg=0.5,
            looks=("mono", "warm"),
            sites=(TOR, QUAY),
            instruments=(REFRACTOR, InstrumentSettings(name="Other", band="h-alpha")),
            targets=(TargetSettings(name="web", folder="/srv/sun"),),
            films=(WEEK, SPAN),
        ),
    ],
    ids=["least", "all"],
)
def test_new_settings_read_back_as_they_were(root, settings):
    (root / "archive.toml").write_text(new_settings_text(settings), encoding="utf-8")
    assert read_settings(files_of(root)) == settings


def test_examples_in_the_first_settings_work_when_their_comment_mark_is_taken_away(root):
    text = new_settings_text(Settings(title="Sun", observer="A", sites=(TOR,), instruments=(REFRACTOR,)))
    lines = [
        line[2:] if line.startswith(("# address", "# [[", "# name", "# folder")) else line for line in text.splitlines()
    ]
    (root / "archive.toml").write_text("\n".join(lines), encoding="utf-8")
    settings = read_settings(files_of(root))
    assert settings.address == "https://example.org/sun/"
    assert settings.targets == (TargetSettings(name="web", folder="/path/to/web/folder"),)


def test_a_film_is_added_once_and_every_byte_before_it_stays(root):
    path = root / "archive.toml"
    before = path.read_bytes()
    assert [keep_film(files_of(root), film) for film in (WEEK, SPAN, WEEK, SPAN)] == [True, True, False, False]
    assert read_settings(files_of(root)).films == (WEEK, SPAN)
    assert path.read_bytes().startswith(before)
    assert b"# shown on every page" in before


def test_a_film_is_added_to_a_file_of_another_system(root):
    path = root / "archive.toml"
    text = "\ufeff" + path.read_text(encoding="utf-8").rstrip() + "  # no line end after this"
    path.write_bytes(text.replace("\n", "\r\n").encode())
    assert keep_film(files_of(root), WEEK)
    assert read_settings(files_of(root)).films == (WEEK,)
    after = path.read_bytes()
    assert after.count(b"\n") == after.count(b"\r\n")
    assert after.startswith(text.replace("\n", "\r\n").encode())


def test_films_on_one_line_are_refused_with_what_to_do(root):
    path = root / "archive.toml"
    before = "films = [{ days = 7 }]\n" + path.read_text(encoding="utf-8")
    path.write_text(before, encoding="utf-8")
    assert not keep_film(files_of(root), WEEK)
    with pytest.raises(
        SettingsError, match=r"films = \[\.\.\.\] stands on one line: write each film as a \[\[films\]\]"
    ):
        keep_film(files_of(root), SPAN)
    assert path.read_text(encoding="utf-8") == before


def test_permissions_of_the_settings_stay_when_a_film_is_added(root):
    path = root / "archive.toml"
    path.chmod(0o600)
    keep_film(files_of(root), WEEK)
    assert path.stat().st_mode & 0o777 == 0o600


def test_a_newer_format_is_refused_without_complaints_about_its_keys(root):
    (root / "archive.toml").write_text("format = 2\nplaces = {}\n", encoding="utf-8")
    with pytest.raises(SettingsError) as caught:
        read_settings(files_of(root))
    (line,) = caught.value.causes
    assert line.endswith("archive.toml: format = 2: made by a newer northlimb; update northlimb to open it")


@pytest.mark.parametrize("value", ["0", "true", "1.0", "'1'"])
def test_a_format_that_never_was_is_a_mistake(root, value):
    path = root / "archive.toml"
    path.write_text(f"format = {value}\n" + path.read_text(encoding="utf-8"), encoding="utf-8")
    with pytest.raises(SettingsError, match=r"archive\.toml: format = .*: must be "):
        read_settings(files_of(root))


def test_true_and_false_serve_as_yes_and_no(root):
    path = root / "archive.toml"
    path.write_text(path.read_text(encoding="utf-8") + "mirrored = false\n", encoding="utf-8")
    assert read_settings(files_of(root)).instruments[0].mirrored == "no"


def test_names_are_found_in_any_case_and_unknown_ones_listed():
    assert find_named((TOR, QUAY), " qUAY ", what="site") is QUAY
    assert find_named((TOR, QUAY), None, what="site") is TOR
    with pytest.raises(SettingsError, match=r"no site named 'Pier' \(known: Tor, Quay\); add it there"):
        find_named((TOR, QUAY), "Pier", what="site")


def test_a_hundred_films_are_kept_and_the_next_is_refused(root):
    (root / "archive.toml").write_text(
        new_settings_text(
            Settings(
                title="Sun",
                observer="A",
                sites=(TOR,),
                instruments=(REFRACTOR,),
                films=tuple(FilmSettings(days=days) for days in range(1, 101)),
            )
        ),
        encoding="utf-8",
    )
    assert not keep_film(files_of(root), WEEK)
    with pytest.raises(
        SettingsError, match=r"archive\.toml: 100 films are kept, and no more may be; remove a \[\[films\]\]"
    ):
        keep_film(files_of(root), SPAN)
    with (root / "archive.toml").open("a", encoding="utf-8") as stream:
        stream.write("[[films]]\ndays = 101\n")
    with pytest.raises(SettingsError, match=r"archive\.toml: films: has 101 entries; at most 100 are read$"):
        read_settings(files_of(root))
