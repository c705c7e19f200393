"""What is stated of a new picture: the order of sources, choices, and what is refused or left out."""

import io
from datetime import UTC, datetime, timedelta, timezone

import numpy as np
import pytest
from astropy.io import fits

from archive.errors import ArchiveError, FactsError, SettingsError
from archive.filing.statements import AddOptions, read_sidecar_of, record_of, stated_facts
from archive.model.observation import Capture
from archive.reading import Facts, FoundTime, facts_in_file
from archive.records.archive_files import files_of
from archive.records.record import PictureEntry, Sidecar, read_record, record_text
from archive.records.settings import InstrumentSettings, Settings, SiteSettings

TIME = datetime(2024, 6, 3, 9, 15, tzinfo=UTC)
NAME = "Sun.png"
TOR = SiteSettings(name="Tor", latitude_deg=52.1, longitude_deg=-1.3)
QUAY = SiteSettings(name="Quay", latitude_deg=50.2, longitude_deg=-5.4)
REFRACTOR = InstrumentSettings(name="Refractor")
ROBOT = InstrumentSettings(name="Robot")
ENTRY = PictureEntry(file="2024/2024-06-03/0915Z.png", sha256="0f" * 32)
ONE = Settings(title="Sun", observer="A", time_zone="Europe/London", sites=(TOR,), instruments=(REFRACTOR,))
TWO = ONE.model_copy(update={"sites": (TOR, QUAY), "instruments": (REFRACTOR, ROBOT)})


def at(minutes=0, *, hours=0):
    return TIME + timedelta(minutes=minutes, hours=hours)


def facts(source="fits", *, time=TIME, meaning="middle", site=None, instrument=None, **capture):
    found = None if time is None else FoundTime(time, meaning)
    return Facts(source, found, capture=Capture(**capture), site=site, instrument=instrument)


def stated(*found, options=None, note=None, settings=ONE, name=NAME):
    return stated_facts(settings, options or AddOptions(), note or Sidecar(), found, name=name)


def recorded(*found, **given):
    return record_of(stated(*found, **given), ENTRY)


def refusal(*found, error=FactsError, **given):
    with pytest.raises(error) as caught:
        stated(*found, **given)
    (line,) = caught.value.causes
    assert "\n" not in line
    return line


def test_the_time_comes_from_the_first_source_that_has_one_and_others_are_named():
    sources = [
        (facts("fits", time=at(20)), "the FITS header"),
        (facts("exif", time=at(30)), "EXIF"),
        (facts("name", time=at(40)), "the file's name"),
    ]
    options, note = AddOptions(time=at(0)), Sidecar(time=at(10))
    for start, minutes, source, doubts in (
        (0, 20, "the FITS header", 2),
        (1, 30, "EXIF", 1),
        (2, 40, "the file's name", 0),
    ):
        when = stated(*(found for found, _ in sources[start:])).when
        assert (when.middle_utc, when.source, len(when.doubts)) == (at(minutes), source, doubts)
    everything = [found for found, _ in sources]
    when = stated(*everything, note=note).when
    assert (when.middle_utc, when.source, len(when.doubts)) == (at(10), "the note beside it", 3)
    when = stated(*everything, note=note, options=options).when
    assert (when.middle_utc, when.source) == (at(0), "--time")
    assert [doubt.split(" says ")[0] for doubt in when.doubts] == [
        "Sun.png: the note beside it",
        "Sun.png: the FITS header",
        "Sun.png: EXIF",
        "Sun.png: the file's name",
    ]


def test_every_fact_comes_from_the_first_source_that_has_it():
    fits_facts = facts("fits", gain=2.0, exposure_s=0.002, filter="film")
    exif_facts = facts("exif", gain=3.0, exposure_s=0.003, binning=3, seeing=3.0)
    record = recorded(fits_facts, exif_facts, note=Sidecar(gain=1.0, transparency="thin cirrus"))
    found = (record.gain, record.exposure_s, record.binning, record.filter, record.transparency, record.seeing)
    assert found == (1.0, 0.002, 3, "film", "thin cirrus", 3.0)
    assert recorded(facts()).gain is None


def test_a_gain_of_zero_is_a_fact_too():
    assert recorded(facts(gain=5.0), note=Sidecar(gain=0.0)).gain == 0.0


def test_what_the_options_state_of_the_way_up_wins():
    note = Sidecar(north_angle_deg=10, north_angle_sigma_deg=2, mirrored="yes", band="h-alpha")
    record = recorded(facts(), note=note)
    assert (record.north_angle_deg, record.north_angle_sigma_deg, record.stated_mirrored) == (10.0, 2.0, True)
    assert record.band == "h-alpha"
    record = recorded(facts(), note=note, options=AddOptions(north_angle_deg=0.0, mirrored=False))
    assert (record.north_angle_deg, record.north_angle_sigma_deg, record.stated_mirrored) == (0.0, None, False)


@pytest.mark.parametrize(("angle", "advice"), [(400.0, "must be at most 360"), (float("nan"), "must be a finite")])
def test_an_option_out_of_range_is_refused(angle, advice):
    line = refusal(facts(), options=AddOptions(north_angle_deg=angle), error=SettingsError)
    assert line.startswith(f"--north-angle: north_angle_deg = {angle}: {advice}")


def test_notes_of_the_option_and_beside_the_picture_are_both_kept():
    assert stated(facts(), options=AddOptions(note=" Clear. "), note=Sidecar(note="Two groups.")).notes == (
        "Clear.",
        "Two groups.",
    )
    assert stated(facts(), options=AddOptions(note="  "), note=Sidecar(note="")).notes == ()


# Time, length and middle


def test_start_and_end_in_the_note_give_middle_and_length():
    record = recorded(facts(length_s=10.0), note=Sidecar(start=at(-1), end=at(1)))
    assert (record.time, record.start, record.length_s) == (TIME, at(-1), 120.0)


@pytest.mark.parametrize(
    ("note", "middle"),
    [
        (Sidecar(start=TIME, length_s=120), at(1)),
        (Sidecar(end=TIME, length_s=120), at(-1)),
        (Sidecar(time=TIME, length_s=120), TIME),
        (Sidecar(time=TIME, start=at(-1), end=at(1)), TIME),
        (Sidecar(length_s=120), at(5)),
    ],
    ids=["start", "end", "middle", "all three", "length only"],
)
def test_a_length_stated_moves_from_either_end_to_the_middle(note, middle):
    record = recorded(facts(time=at(4), meaning="start", length_s=30.0), note=note)
    assert (record.time, record.length_s) == (middle, 120.0)
    assert record.start == middle - timedelta(minutes=1)


def test_the_length_in_the_file_serves_where_the_note_has_none():
    record = recorded(facts(meaning="start", length_s=91.0))
    assert (record.time, record.start, record.length_s) == (TIME + timedelta(seconds=46), TIME, 91.0)
    assert recorded(facts(meaning="start")).start is None


@pytest.mark.parametrize(
    ("note", "cause"),
    [
        (Sidecar(start=at(1), end=at(0)), "end 2024-06-03T09:15:00Z is before start 2024-06-03T09:16:00Z; correct"),
        (Sidecar(time=at(3), end=at(2)), "end 2024-06-03T09:17:00Z is before time 2024-06-03T09:18:00Z; correct"),
        (Sidecar(start=at(0), end=at(2), length_s=90), "length_s = 90, but from start to end are 120 s; correct one"),
    ],
)
def test_a_note_at_odds_with_itself_is_refused(note, cause):
    assert refusal(facts(), note=note).startswith(f"Sun.png: the note beside it: {cause}")


def test_a_capture_longer_than_a_day_is_refused():
    line = refusal(facts(), note=Sidecar(start=at(hours=-49), end=at()), error=SettingsError)
    assert line == "Sun.png: the note beside it: from start to end: length_s = 176400.0: must be at most 86400"


def test_times_in_the_note_are_in_its_own_zone_else_the_archives():
    local = datetime.fromisoformat("2024-06-03T10:15:00")
    assert recorded(note=Sidecar(time=local)).time == TIME
    assert recorded(note=Sidecar(time=local, time_zone="Europe/Berlin")).time == at(hours=-1)
    aware = local.replace(tzinfo=timezone(timedelta(hours=-4)))
    assert recorded(note=Sidecar(time=aware, time_zone="Europe/Berlin")).time == at(hours=5)
    assert recorded(note=Sidecar(start=local, end=at(2))).time == at(1)  # one with a zone, one without


def test_a_capture_over_the_change_of_clocks_has_its_true_length():
    """Clocks in London go from 01:00 to 02:00 on 2024-03-31 (Directive 2000/84/EC: last Sunday of March, 01:00 UTC)."""
    note = Sidecar(
        start=datetime.fromisoformat("2024-03-31T00:50:00"), end=datetime.fromisoformat("2024-03-31T02:10:00")
    )
    record = recorded(note=note)
    assert (record.length_s, record.time) == (1200.0, datetime(2024, 3, 31, 1, 0, tzinfo=UTC))


def test_the_notes_zone_is_that_of_times_in_the_file_and_its_name_too():
    local = TIME.replace(tzinfo=None)
    # London was an hour ahead of UTC that day.
    assert recorded(facts("name", time=local)).time == at(hours=-1)
    for source in ("name", "exif"):
        assert recorded(facts(source, time=local), note=Sidecar(time_zone="UTC")).time == TIME
    # One that tells its own zone keeps it.
    assert recorded(facts("fits"), note=Sidecar(time_zone="Asia/Tokyo")).time == TIME
    agreeing = stated(facts("name", time=local), note=Sidecar(time=local, time_zone="Asia/Tokyo"))
    assert (agreeing.when.middle_utc, agreeing.doubts) == (at(hours=-9), ())


@pytest.mark.parametrize("zone", ["Europe/London", None])
def test_a_time_in_the_note_that_comes_twice_is_refused(zone):
    note = Sidecar(start=datetime.fromisoformat("2024-10-27T01:30:00"), time_zone=zone)
    line = refusal(note=note)
    assert "(start in the note beside it) occurs twice in Europe/London" in line
    assert line.endswith("2024-10-27T01:30:00+01:00 or 2024-10-27T01:30:00+00:00")


def test_a_time_in_the_future_is_refused():
    later = (datetime.now(UTC) + timedelta(days=2)).replace(microsecond=0)
    assert "is in the future" in refusal(facts(time=later))


def test_place_and_record_agree_at_the_end_of_a_minute():
    record = recorded(facts(time=TIME.replace(second=59, microsecond=900_000)))
    assert record.time == at(1)


# Site and instrument


def test_the_only_site_and_instrument_serve_whatever_the_file_calls_them():
    found = stated(facts(site="Elsewhere", instrument="CAM 178"))
    assert (found.site, found.instrument) == (TOR, REFRACTOR)


def test_options_then_the_note_then_the_file_choose_among_several():
    named = facts(site="quay", instrument="ROBOT")
    note = Sidecar(site="Tor", instrument="Refractor")
    options = AddOptions(site=" QUAY", instrument="robot")
    for given, chosen in (
        ({}, (QUAY, ROBOT)),
        ({"note": note}, (TOR, REFRACTOR)),
        ({"note": note, "options": options}, (QUAY, ROBOT)),
    ):
        found = stated(named, settings=TWO, **given)
        assert (found.site, found.instrument) == chosen
    later = stated(facts(site="CAM"), facts("exif", site="Quay", instrument="Robot"), settings=TWO)
    assert (later.site, later.instrument) == (QUAY, ROBOT)


@pytest.mark.parametrize("found", [facts(), facts(site="Elsewhere", instrument="CAM 178")])
def test_several_and_none_chosen_are_listed(found):
    assert refusal(found, settings=TWO) == "Sun.png: which site? give --site with one of: Tor, Quay"
    line = refusal(found, settings=TWO, options=AddOptions(site="Tor"))
    assert line == "Sun.png: which instrument? give --instrument with one of: Refractor, Robot"


def test_an_unknown_name_that_was_stated_is_refused_even_where_there_is_only_one():
    line = refusal(facts(), options=AddOptions(site="Pier"))
    assert line == "--site 'Pier': not in archive.toml (known: Tor); add it there"
    line = refusal(facts(), note=Sidecar(instrument="Pier"))
    assert (
        line == "Sun.png: the note beside it: instrument 'Pier': not in archive.toml (known: Refractor); add it there"
    )


# Facts that cannot be


@pytest.mark.parametrize(
    ("key", "value", "why"),
    [
        ("gain", 1e9, "gain = 1000000000.0: must be at most 100000"),
        ("binning", 0, "binning = 0: must be at least 1"),
        ("binning", 65, "binning = 65: must be at most 64"),
        ("seeing", 9.0, "seeing = 9.0: must be at most 5"),
        ("exposure_s", float("inf"), "exposure_s = inf: must be a finite number"),
        ("length_s", 1e6, "length_s = 1000000.0: must be at most 86400"),
        ("frames_stacked", 10**12, "frames_stacked = 1000000000000: must be at most 1000000000"),
        ("filter", "x" * 300, f"filter = '{'x' * 56}...: must be at most 200 characters long"),
    ],
)
def test_what_the_file_says_and_cannot_be_is_left_out_and_told(key, value, why):
    found = stated(facts(meaning="start", **{"exposure_s": 0.001, key: value}))
    assert found.doubts == (f"Sun.png (the FITS header): {why}; left out",)
    record = record_of(found, ENTRY)
    assert getattr(record, key) is None
    assert record.time == TIME  # not moved by half of an impossible length


def test_a_later_source_serves_where_the_first_cannot_be():
    found = stated(facts(gain=1e9), facts("exif", gain=100.0))
    assert (found.keys["gain"], len(found.doubts)) == (100.0, 1)


def test_more_frames_stacked_in_the_file_than_captured_in_the_note_is_left_out():
    found = stated(facts(frames_stacked=500), note=Sidecar(frames_captured=100))
    assert found.doubts == (
        "Sun.png: frames_stacked = 500 is more than frames_captured = 100; what the file says of them is left out",
    )
    record = record_of(found, ENTRY)
    assert (record.frames_captured, record.frames_stacked) == (100, None)
    record = recorded(facts(frames_stacked=500, frames_captured=100))
    assert (record.frames_captured, record.frames_stacked) == (None, None)
    record = recorded(facts(frames_stacked=500), note=Sidecar(frames_captured=5000))
    assert (record.frames_captured, record.frames_stacked) == (5000, 500)


def test_doubts_tell_of_time_and_facts_together():
    found = stated(facts(gain=1e9), facts("name", time=at(30)))
    assert [doubt.split(" ")[1] for doubt in found.doubts] == ["the", "(the"]
    assert found.doubts[:1] == found.when.doubts


def test_a_real_header_of_impossible_values_does_not_stop_a_picture():
    unit = fits.PrimaryHDU(np.zeros((4, 5), np.uint16))
    cards = {"DATE-OBS": "2024-06-03T09:15:00", "GAIN": 1e9, "XBINNING": 99, "EXPTIME": 0.002, "TELAPSE": 1e7}
    unit.header.update(cards)
    stream = io.BytesIO()
    unit.writeto(stream)
    found = stated(*facts_in_file(stream.getvalue(), "fits", "Sun.fits"), name="Sun.fits")
    record = record_of(found, ENTRY)
    assert (record.time, record.exposure_s, record.gain, record.binning) == (TIME, 0.002, None, None)
    assert [doubt.split(" = ")[0].split(": ")[1] for doubt in found.doubts] == ["length_s", "gain", "binning"]


# The note beside a picture


def test_the_note_has_the_pictures_name(tmp_path):
    (tmp_path / "Sun.best.toml").write_text("seeing = 2\n", encoding="utf-8")
    assert read_sidecar_of(tmp_path / "Sun.best.png").seeing == 2.0
    assert read_sidecar_of(tmp_path / "Sun.png") == Sidecar()


@pytest.mark.parametrize("ending", ["TOML", "Toml", "tomL"])
def test_the_notes_ending_may_have_capitals(tmp_path, ending):
    (tmp_path / f"tuesday.{ending}").write_text("seeing = 2\n", encoding="utf-8")
    assert read_sidecar_of(tmp_path / "tuesday.png").seeing == 2.0


def test_two_notes_beside_one_picture_are_refused(tmp_path):
    (tmp_path / "tuesday.toml").write_text("seeing = 2\n", encoding="utf-8")
    (tmp_path / "tuesday.TOML").write_text("seeing = 3\n", encoding="utf-8")
    if len(list(tmp_path.iterdir())) == 1:
        pytest.skip("capitals do not count in this file system")
    with pytest.raises(SettingsError, match=r"tuesday\.png: several notes .*: tuesday\.toml, tuesday\.TOML; keep one"):
        read_sidecar_of(tmp_path / "tuesday.png")


def test_a_mistake_in_the_note_is_refused_with_its_line(tmp_path):
    (tmp_path / "Sun.toml").write_text("seeing = 9\nbining = 2\ngain = true\n", encoding="utf-8")
    with pytest.raises(ArchiveError) as caught:
        read_sidecar_of(tmp_path / "Sun.png")
    path = tmp_path / "Sun.toml"
    assert caught.value.causes == (
        f"{path}: gain = true: must be a number, without quotes",
        f"{path}: seeing = 9: must be at most 5",
        f"{path}: bining: no such key; did you mean binning?",
    )


def test_what_was_stated_is_kept_in_the_record_on_disk(tmp_path):
    note = Sidecar(start=at(-1), end=at(1), seeing=2.5, north_angle_deg=-7, mirrored="no", filter="film")
    record = recorded(facts(gain=3.0), note=note)
    file = record.picture.file.replace(".png", ".toml")
    (tmp_path / file).parent.mkdir(parents=True)
    (tmp_path / file).write_text(record_text(record), encoding="utf-8")
    kept = read_record(files_of(tmp_path), file)
    assert kept == record
    assert (kept.time_from, kept.site, kept.instrument) == ("the note beside it", "Tor", "Refractor")
    assert (kept.stated_mirrored, kept.north_angle_deg, kept.gain) == (False, -7.0, 3.0)
