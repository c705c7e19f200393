"""The record of a picture and the note beside a new one."""

import tomllib
from datetime import UTC, datetime, timedelta, timezone

import pytest

from archive.errors import SettingsError
from archive.model.observation import Capture
from archive.records.archive_files import files_of
from archive.records.record import (
    CAPTURE_FACTS,
    PictureEntry,
    Record,
    Sidecar,
    capture_of,
    read_record,
    read_sidecar,
    record_text,
)

ENTRY = PictureEntry(file="2026/2026-06-03/0915Z.png", sha256="0f" * 32, original_name="Sun.png")
RECORD = "2026/2026-06-03/0915Z.toml"
TIME = datetime(2026, 6, 3, 9, 15, 30, tzinfo=UTC)
FULL = Record(
    time=TIME,
    time_from="the FITS header",
    start=TIME - timedelta(seconds=45),
    length_s=90.0,
    site="Tor",
    instrument='4" refractor',
    band="h-alpha",
    filter="film, OD 5",
    exposure_s=0.0004,
    gain=-3.5,
    binning=2,
    frames_captured=5000,
    frames_stacked=500,
    seeing=2.5,
    transparency="thin cirrus",
    north_angle_deg=-12.25,
    north_angle_sigma_deg=0.5,
    mirrored="yes",
    picture=ENTRY,
)


@pytest.mark.parametrize("record", [FULL, Record(time=TIME, picture=ENTRY)], ids=["all keys", "least"])
def test_a_record_reads_back_as_it_was(tmp_path, record):
    path = tmp_path / RECORD
    path.parent.mkdir(parents=True)
    path.write_text(record_text(record), encoding="utf-8")
    assert read_record(files_of(tmp_path), RECORD) == record


def test_a_record_is_plain_toml_for_other_programs():
    """Read with the standard library, independent of the writer."""
    found = tomllib.loads(record_text(FULL))
    assert found["time"] == TIME
    assert found["exposure_s"] == 0.0004
    assert found["mirrored"] == "yes"
    assert found["picture"] == {"file": ENTRY.file, "sha256": ENTRY.sha256, "original_name": "Sun.png"}
    keys = list(found)
    assert keys[0] == "time"
    assert keys[-1] == "picture"


@pytest.mark.parametrize(
    "name",
    ['Sun "best" \\ of.png', "Sonne\tum\nneun.png", "太陽 ☉.png", "'; #[x]\x7f\x00.png", "latin-\udcfc.png", "=.png"],
    ids=ascii,
)
def test_any_name_of_a_file_can_be_kept(name):
    """Names on disk are bytes; what is no text is kept as an escape (Python's surrogateescape, PEP 383)."""
    entry = PictureEntry(file=ENTRY.file, sha256=ENTRY.sha256, original_name=name)
    text = record_text(Record(time=TIME, picture=entry))
    assert text.encode("utf-8")
    assert tomllib.loads(text)["picture"]["original_name"] == name.replace("\udcfc", "\\udcfc")


def test_capture_facts_of_a_record_are_all_handed_on():
    assert {field for field in Capture.__dataclass_fields__} == {"start_utc", *CAPTURE_FACTS}
    capture = capture_of(FULL)
    assert capture.start_utc == FULL.start
    assert {key: getattr(capture, key) for key in CAPTURE_FACTS} == {key: getattr(FULL, key) for key in CAPTURE_FACTS}
    assert None not in [getattr(capture, key) for key in CAPTURE_FACTS]


def _record(tmp_path, *lines, picture=f'file = "{ENTRY.file}"\nsha256 = "{ENTRY.sha256}"', record=RECORD):
    path = tmp_path / record
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text("\n".join([*lines, "[picture]", picture]), encoding="utf-8")
    return read_record(files_of(tmp_path), record)


def test_times_with_an_offset_are_taken_to_utc(tmp_path):
    record = _record(tmp_path, "time = 2026-06-03T11:15:30+02:00")
    assert record.time == TIME
    assert record.time.tzinfo is UTC


@pytest.mark.parametrize(
    ("line", "cause"),
    [
        ("time = 2026-06-03T09:15:00", "time = 2026-06-03T09:15:00: is without a zone; write it in UTC with a Z"),
        ("time = 2026-06-03", "time = 2026-06-03: must be a date and time without quotes"),
        ("time = 09:15:00", "time = 09:15:00: must be a date and time without quotes"),
        ("time = 20260603", "time = 20260603: must be a date and time without quotes"),
        ('time = "2026-06-03T09:15:00Z"', "time = '2026-06-03T09:15:00Z': must be a date and time without quotes"),
        ("time = 0001-01-01T00:00:00+14:00", "the Sun's place is known for the years 1900 to 2099; correct the year"),
        ("time = 9999-12-31T23:59:59-12:00", "the Sun's place is known for the years 1900 to 2099; correct the year"),
        ("time = 1900-01-01T09:00:00+14:00", "the Sun's place is known for the years 1900 to 2099; correct the year"),
        ("time = 2100-01-01T00:00:00Z", "the Sun's place is known for the years 1900 to 2099; correct the year"),
    ],
)
def test_what_is_no_moment_is_refused(tmp_path, line, cause):
    with pytest.raises(SettingsError) as caught:
        _record(tmp_path, line)
    (found,) = caught.value.causes
    assert cause in found


@pytest.mark.parametrize("value", ['"yes"', "true"])
def test_mirrored_in_words_or_as_truth(tmp_path, value):
    assert _record(tmp_path, "time = 2026-06-03T09:15:00Z", f"mirrored = {value}").stated_mirrored is True
    assert _record(tmp_path, "time = 2026-06-03T09:15:00Z", 'mirrored = "no"').stated_mirrored is False
    assert _record(tmp_path, "time = 2026-06-03T09:15:00Z").stated_mirrored is None


@pytest.mark.parametrize(
    ("line", "cause"),
    [
        ('mirrored = "perhaps"', "mirrored = 'perhaps': must be 'yes' or 'no'"),
        ("mirrored = 1", "mirrored = 1: must be 'yes' or 'no'"),
        ("seeing = 9", "seeing = 9: must be at most 5"),
        ("binning = 2.0", "binning = 2.0: must be a whole number, without quotes"),
        ("frames_captured = 10000000000", "frames_captured = 10000000000: must be at most 1000000000"),
        ("north_angle_sigma_deg = 1", "north_angle_sigma_deg = 1: is the standard error of north_angle_deg, which is"),
        (
            "frames_stacked = 11\nframes_captured = 10",
            "frames_stacked = 11: is more than frames_captured = 10; are they exchanged?",
        ),
        ("north_angel_deg = 3", "north_angel_deg: no such key; did you mean north_angle_deg?"),
    ],
)
def test_a_mistake_in_a_record_is_one_line(tmp_path, line, cause):
    with pytest.raises(SettingsError) as caught:
        _record(tmp_path, "time = 2026-06-03T09:15:00Z", line)
    (found,) = caught.value.causes
    assert found.startswith(f"{tmp_path / RECORD}: {cause}")


@pytest.mark.parametrize(
    "file",
    [
        "../2026-06-03/0915Z.png",
        "/etc/passwd",
        "2026/2026-06-03/../../../secret.png",
        "2026/2026-06-03/..",
        "2026\\\\2026-06-03\\\\0915Z.png",
        "2025/2026-06-03/0915Z.png",
        "0915Z.png",
    ],
)
def test_a_record_cannot_point_outside_its_archive(tmp_path, file):
    with pytest.raises(SettingsError, match=r"picture\.file = .*: must be the picture's place in the archive"):
        _record(tmp_path, "time = 2026-06-03T09:15:00Z", picture=f'file = "{file}"\nsha256 = "{ENTRY.sha256}"')


@pytest.mark.parametrize(
    ("file", "own"),
    [
        ("2026/2026-06-03/0916Z.png", "0915Z.png"),
        ("2026/2026-06-04/0915Z.png", "0915Z.png"),
        ("2026/2026-06-03/0915Z.toml", "0915Z with .avif, .bmp, .fits"),
        ("2026/2026-06-03/0915Z-2.fits", "0915Z.fits"),
    ],
)
def test_a_record_of_another_observations_picture_is_refused(tmp_path, file, own):
    picture = f'file = "{file}"\nsha256 = "{ENTRY.sha256}"'
    with pytest.raises(SettingsError) as caught:
        _record(tmp_path, "time = 2026-06-03T09:15:00Z", picture=picture)
    (found,) = caught.value.causes
    assert found.startswith(f"{tmp_path / RECORD}: picture.file = {file!r}: not this record's own picture, which is ")
    assert own in found


def test_a_record_taken_out_names_its_own_picture(tmp_path):
    moved = f"removed/2026-06-05T101112Z-removed/{RECORD}"
    assert _record(tmp_path, "time = 2026-06-03T09:15:00Z", record=moved).picture == PictureEntry(
        file=ENTRY.file, sha256=ENTRY.sha256
    )


def test_a_checksum_of_another_length_is_refused(tmp_path):
    with pytest.raises(SettingsError, match=r"picture\.sha256 = '0f0f': must be 64 digits"):
        _record(tmp_path, "time = 2026-06-03T09:15:00Z", picture=f'file = "{ENTRY.file}"\nsha256 = "0f0f"')


def test_a_note_holds_times_without_a_zone_as_they_are(tmp_path):
    path = tmp_path / "Sun.toml"
    path.write_text("start = 2026-06-03 10:15:00\nend = 2026-06-03T10:16:30+01:00\ntime_zone = 'Europe/London'\n")
    note = read_sidecar(path)
    assert note.start == datetime.fromisoformat("2026-06-03T10:15:00")
    assert note.end == datetime(2026, 6, 3, 10, 16, 30, tzinfo=timezone(timedelta(hours=1)))


def test_an_empty_note_says_nothing(tmp_path):
    path = tmp_path / "Sun.toml"
    path.write_bytes(b"")
    assert read_sidecar(path) == Sidecar()
