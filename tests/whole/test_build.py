"""`build`, `film`, `publish`, `verify`, `show`, `preview`: from an archive to a site that is served."""

from __future__ import annotations

import csv
import json
import random
import re
import shutil
import signal
import sqlite3
import subprocess
import sys
import urllib.request
from collections.abc import Callable, Sequence
from contextlib import closing
from pathlib import Path
from typing import Any

import feedparser
import numpy as np
import pytest
from astropy.io import fits
from astropy.wcs import WCS
from derived import blobs, change_rows, maker_of
from PIL import Image
from scenes.discs import Scene, Spot

from archive.commands.main import main
from archive.stages.unchanged import keep_build

from .conftest import NEW, SPOTS, draw, new_archive

Answer = Callable[..., tuple[int, Any]]
DAYS = (1, 2, 3, 5)
PAIR = (1, 2)
TARGET = """
[[targets]]
name = "web"
folder = '{}'
"""


LOOKS: dict[int, dict[str, Any]] = {
    1: {"tint": (1.0, 0.7, 0.3), "peak": 0.5},
    2: {"radius_px": 170.0, "peak": 0.9, "mirrored": True},
    3: {"cloud": 0.25, "sky_level": 0.05},
    5: {"blur_px": 2.0, "limb_u": (0.75, -0.1)},
}


def built(folder: Path, days: Sequence[int]) -> Path:
    """Days each turned, mirrored, sized, lit and tinted differently, put into an archive, and their site."""
    for day in days:
        angle, look = -60.0 + 50.0 * day, LOOKS[day]
        scene = Scene(spots=SPOTS, north_angle_deg=angle, seed=day, **look)
        picture = draw(folder.with_name(f"2026060{day}T091500Z.png"), scene)
        mirrored = "yes" if look.get("mirrored") else "no"
        words = ["add", str(folder), str(picture), "--north-angle", str(angle), "--mirrored", mirrored]
        assert main(words) == 0
    assert main(["build", str(folder)]) == 0
    return folder


@pytest.fixture(scope="module")
def built_week(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Four days in four looks."""
    folder = tmp_path_factory.mktemp("week") / "my-sun"
    assert main(["new", str(folder), *NEW]) == 0
    return built(folder, DAYS)


@pytest.fixture(scope="module")
def built_pair(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two days in one look, for what is derived to be made again and again."""
    return built(new_archive(tmp_path_factory.mktemp("pair") / "my-sun"), PAIR)


@pytest.fixture(scope="module")
def built_day(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A day in one look, for damage that takes all that is derived, however much that is."""
    return built(new_archive(tmp_path_factory.mktemp("day") / "my-sun"), DAYS[:1])


@pytest.fixture
def day(built_day: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(built_day, tmp_path / "my-sun"))


@pytest.fixture
def pair(built_pair: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(built_pair, tmp_path / "my-sun"))


@pytest.fixture
def week(built_week: Path, tmp_path: Path) -> Path:
    """A copy of that archive for each test, times of files kept."""
    return Path(shutil.copytree(built_week, tmp_path / "my-sun"))


def observations(folder: Path) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = json.loads((folder / "site" / "data" / "observations.json").read_text())
    return found


def test_every_day_gets_a_page_and_its_disc_stands_north_up(built_week: Path) -> None:
    """The drawn spot at latitude 18, 20 deg west of the meridian, is where trigonometry puts it, to a pixel or two."""
    for day in DAYS:
        folder = built_week / "site" / "days" / f"2026-06-0{day}"
        assert (folder / "index.html").is_file()
        disc = np.asarray(Image.open(folder / "0915Z-disc.jpg").convert("L"), dtype=float)
        assert disc.shape == (1024, 1024)
        x = 511.5 + 460.8 * np.cos(np.radians(18)) * np.sin(np.radians(20))
        y = 511.5 - 460.8 * np.sin(np.radians(18))
        column, row = round(x), round(y)
        umbra = disc[row - 3 : row + 4, column - 3 : column + 4].mean()
        quiet = np.median(disc[row - 60 : row + 61, column - 60 : column + 61])
        assert umbra < 0.6 * quiet, day


def test_neighbouring_days_differ_in_brightness_by_under_one_percent(built_week: Path) -> None:
    means = []
    for day in DAYS:
        disc = np.asarray(
            Image.open(built_week / "site" / "days" / f"2026-06-0{day}" / "0915Z-disc.jpg").convert("L"), float
        )
        means.append(disc.sum())
        assert disc[:20, :20].max() <= 1, "the sky is black"
    assert np.ptp(means) / np.mean(means) < 0.01


def test_disc_as_fits_is_read_by_other_software(built_week: Path) -> None:
    """Outside checks: astropy.wcs, Thompson (2006); B0 and L0 by the record's own time."""
    path = built_week / "site" / "days" / "2026-06-03" / "0915Z-disc.fits"
    with fits.open(path) as units:
        header, data = units[1].header, units[1].data
    assert header["CTYPE1"] == "HPLN-TAN"
    one = next(one for one in observations(built_week) if one["id"] == "2026-06-03T0915Z")
    assert header["RSUN_OBS"] == pytest.approx(one["sun"]["semidiameter_arcsec"], abs=0.01)
    assert header["CRLT_OBS"] == pytest.approx(one["sun"]["b0_deg"], abs=1e-3)
    assert header["CRLN_OBS"] == pytest.approx(one["sun"]["l0_deg"], abs=1e-3)
    assert header["DSUN_OBS"] == pytest.approx(1.0144 * 149597870700, rel=1e-3)  # early June, near aphelion
    assert header["DATE-OBS"] == "2026-06-03T09:15:00"
    # The spot of the scene, in helioprojective arcsec; B0 of the scene is 0.
    west = np.sin(np.radians(20)) * np.cos(np.radians(18)) * header["RSUN_OBS"] / 3600
    north = np.sin(np.radians(18)) * header["RSUN_OBS"] / 3600
    column, row = WCS(header).world_to_pixel_values(west, north)
    box = data[round(float(row)) - 20 : round(float(row)) + 21, round(float(column)) - 20 : round(float(column)) + 21]
    dark = box < 0.6 * np.median(box)
    rows, columns = np.nonzero(dark)
    assert columns.mean() - 20 + round(float(column)) == pytest.approx(float(column), abs=1.0)
    assert rows.mean() - 20 + round(float(row)) == pytest.approx(float(row), abs=1.0)


def test_wcs_reads_back_the_same_pixel(built_week: Path) -> None:
    header = fits.getheader(built_week / "site" / "days" / "2026-06-03" / "0915Z-disc.fits", 1)
    wcs = WCS(header)
    for x, y in ((511.5, 511.5), (100.25, 800.5), (900.0, 60.0)):
        back = wcs.world_to_pixel_values(*wcs.pixel_to_world_values(x, y))
        assert np.hypot(back[0] - x, back[1] - y) < 0.1
    # The limb, to the north: the semidiameter.
    assert wcs.pixel_to_world_values(511.5, 511.5 + 460.8)[1] * 3600 == pytest.approx(header["RSUN_OBS"], abs=0.05)


def test_data_match_the_design(built_week: Path) -> None:
    found = observations(built_week)
    assert [one["id"] for one in found] == [f"2026-06-0{day}T0915Z" for day in DAYS]
    first = found[0]
    assert first["time_utc"] == "2026-06-01T09:15:00Z"
    assert first["picture"]["width_px"] == 640
    assert first["disc"]["radius_px"] == pytest.approx(190.4, abs=0.2)
    assert first["orientation"]["status"] == "solved"
    assert [piece["kind"] for piece in first["orientation"]["evidence"]] == ["stated", "sky"]
    assert set(first["sun"]) >= {"p_deg", "b0_deg", "l0_deg", "semidiameter_arcsec", "carrington_rotation"}
    with (built_week / "site" / "data" / "observations.csv").open(newline="") as stream:
        rows = list(csv.DictReader(stream))
    assert rows[0]["disc_radius_px"] == str(first["disc"]["radius_px"])
    feed = feedparser.parse((built_week / "site" / "feed.xml").read_bytes())
    assert not feed.bozo
    assert len(feed.entries) == len(DAYS)


def test_position_is_published_to_a_tenth_of_a_degree(built_week: Path) -> None:
    for path in (built_week / "site").rglob("*"):
        if path.is_file():
            content = path.read_bytes()
            assert b"52.12" not in content, path
            assert b"1.345" not in content, path
            assert str(built_week).encode() not in content, path


def test_a_second_build_writes_nothing(week: Path, answer: Answer) -> None:
    main(["build", str(week)])
    _, told = answer("build", week)
    assert told["report"]["written"] == 0


def test_a_record_that_says_the_same_in_other_words_asks_for_no_stage(
    day: Path, answer: Answer, monkeypatch: pytest.MonkeyPatch
) -> None:
    record, settings = next(day.glob("2026/*/0*Z.toml")), day / "archive.toml"
    assert answer("build", day)[0] == 0
    assert answer("build", day)[0] == 0  # names of groups were added meanwhile
    with monkeypatch.context() as patched:
        patched.setattr("archive.pipeline.gathered_site", None)  # whoever calls it fails
        record.write_text(f"# Seen through thin air.\n{record.read_text()}")
        settings.write_text(f"{settings.read_text()}\n# To be moved next year.\n")
        assert answer("build", day)[1]["report"]["written"] == 0
        assert answer("build", day)[1]["report"]["written"] == 0
    assert "Seen through thin air" in (day / "remembered-words.json").read_text()
    record.write_text(f"seeing = 2\n{record.read_text()}")
    assert answer("show", day, "2026-06-01")[0] == 0  # which reads the record before the build does
    assert answer("build", day)[1]["report"]["written"] > 0
    assert "Seeing" in (day / "site/days/2026-06-01/index.html").read_text()


def test_keys_of_derived_things_that_are_others_make_them_again_alike(pair: Path, answer: Answer) -> None:
    """The sealed words of rows are as they were; what they were made from is not."""
    assert change_rows(pair, "UPDATE value SET key = ?", b"\xff" * 16) > 10 * len(PAIR)
    status, told = answer("build", pair)
    assert (status, told["report"]["written"]) == (0, 0)
    # What the last build of another folder has told stays: the archive was copied from there.
    statement = "DELETE FROM value WHERE key = ? AND maker != ?"
    assert change_rows(pair, statement, b"\xff" * 16, maker_of(keep_build)) == 0


def test_a_bit_in_any_value_makes_it_again(pair: Path, answer: Answer) -> None:
    """In a number or a name it would pass for another measurement."""
    chance = random.Random(20260603)
    with closing(sqlite3.connect(pair / ".northlimb/store.sqlite")) as database, database:
        values = database.execute("SELECT rowid, value FROM value").fetchall()
        for number, value in values:
            damaged = bytearray(value or b"\0")
            damaged[chance.randrange(len(damaged))] ^= 1 << chance.randrange(8)
            database.execute("UPDATE value SET value = ? WHERE rowid = ?", (bytes(damaged), number))
    assert len(values) > 10 * len(PAIR)
    status, told = answer("build", pair)
    assert (status, told["report"]["written"]) == (0, 0)


@pytest.mark.parametrize(
    ("archive", "damage"), [("pair", "gone"), ("day", "cut"), ("day", "a bit"), ("day", "another's")]
)
def test_blobs_that_are_lost_or_damaged_come_back(
    request: pytest.FixtureRequest, answer: Answer, archive: str, damage: str
) -> None:
    """All of them at once; those that the site shows are damaged there too, for they are the same files."""
    root: Path = request.getfixturevalue(archive)
    before = tree(root / "site")
    chance, kept = random.Random(20260603), blobs(root)
    content = {path: path.read_bytes() for path in kept}
    assert len(kept) > 10
    for number, path in enumerate(kept):
        data = bytearray(content[path])
        data[chance.randrange(len(data))] ^= 1 << chance.randrange(8)
        if damage == "gone":
            path.unlink()
        else:
            path.write_bytes(
                {"cut": data[: len(data) // 2], "a bit": data, "another's": content[kept[number - 1]]}[damage]
            )
    shutil.rmtree(root / "site/days/2026-06-01")
    status, _ = answer("build", root)
    assert status == 0
    assert tree(root / "site") == before
    assert {path: path.read_bytes() for path in blobs(root)} == content


def tree(folder: Path) -> dict[Path, bytes]:
    return {path.relative_to(folder): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}


@pytest.mark.parametrize("damage", ["gone", "empty", "nonsense", "cut", "other", "newer", "trigger"])
def test_a_table_that_is_not_ours_is_made_anew_and_the_site_stays(day: Path, answer: Answer, damage: str) -> None:
    before, table = tree(day / "site"), day / ".northlimb/store.sqlite"
    kept = {path: path.read_bytes() for path in blobs(day)}
    if damage == "gone":
        table.unlink()
    elif damage == "newer":
        change_rows(day, "PRAGMA user_version = 2")
    elif damage == "trigger":
        change_rows(day, "CREATE TRIGGER theirs AFTER DELETE ON value BEGIN UPDATE blob SET uses = 0; END")
    elif damage == "other":
        table.unlink()
        change_rows(day, "CREATE TABLE value (theirs)")
    else:
        data = table.read_bytes()
        table.write_bytes({"empty": b"", "nonsense": b"\xff" * 5000, "cut": data[: len(data) // 2]}[damage])
    status, told = answer("build", day)
    assert (status, told["report"]["written"]) == (0, 0)
    assert tree(day / "site") == before
    assert {path: path.read_bytes() for path in blobs(day)} == kept


def test_an_archive_that_grew_day_by_day_comes_back_byte_for_byte(archive_folder: Path, tmp_path: Path) -> None:
    """Maps grow by what is new, groups keep the names that they got, films are kept: all must be made again alike."""
    for number in (1, 2):
        spots = (Spot(18.0, -30.0 + 13.2 * number, 3.0), Spot(-12.0, -20.0 + 13.2 * number, 2.5))
        main(["add", str(archive_folder), str(draw(tmp_path / f"2026060{number}T091500Z.png", Scene(spots=spots)))])
        assert main(["film", str(archive_folder), "--days", "2", "--size", "480", "--pace", "0.4"]) == 0
    site = archive_folder / "site"
    before = {path.relative_to(site): path.read_bytes() for path in site.rglob("*") if path.is_file()}
    assert {".mp4", ".fits", ".json"} < {path.suffix for path in before}
    assert json.loads(before[Path("data/groups.json")])
    names = (archive_folder / "group-names.toml").read_bytes()
    shutil.rmtree(archive_folder / ".northlimb")
    shutil.rmtree(site)
    assert main(["build", str(archive_folder)]) == 0
    after = {path.relative_to(site): path.read_bytes() for path in site.rglob("*") if path.is_file()}
    assert [path for path in {*before, *after} if before.get(path) != after.get(path)] == []
    assert (archive_folder / "group-names.toml").read_bytes() == names


def test_stating_the_angle_later_turns_the_disc(archive_folder: Path, tmp_path: Path) -> None:
    main(["add", str(archive_folder), str(draw(tmp_path / "20260603T091500Z.png"))])
    settings = archive_folder / "archive.toml"
    settings.write_text(settings.read_text().replace("camera_angle_deg = 0.0\n", ""))
    main(["build", str(archive_folder)])
    assert observations(archive_folder)[0]["orientation"]["status"] == "unknown"
    assert observations(archive_folder)[0]["orientation"]["north_angle_deg"] is None
    page = (archive_folder / "site" / "days" / "2026-06-03" / "index.html").read_text()
    assert "original orientation" in page.lower()
    record = archive_folder / "2026" / "2026-06-03" / "0915Z.toml"
    record.write_text("north_angle_deg = 40\nmirrored = false\n" + record.read_text())
    main(["build", str(archive_folder)])
    assert observations(archive_folder)[0]["orientation"]["north_angle_deg"] == 40.0


def test_film_of_the_week_plays_in_the_site(week: Path, answer: Answer) -> None:
    status, told = answer("film", week)
    assert status == 0
    site = week / "site" / "films"
    assert (site / "last-7-days.mp4").stat().st_size > 10_000
    assert (site / "last-7-days.jpg").is_file()
    frames = json.loads((site / "last-7-days.json").read_text())["frames"]
    assert frames == told["frames"]
    assert [frame["index"] for frame in frames] == list(range(len(frames)))
    shown = {name for frame in frames for name in frame["observations"]}
    assert shown == {f"2026-06-0{day}T0915Z" for day in DAYS}
    assert "<video" in (site / "index.html").read_text()
    # Kept with the site: it follows when the days change.
    assert "days = 7" in (week / "archive.toml").read_text()


def test_film_to_a_file_leaves_archive_and_site_alone(pair: Path, tmp_path: Path, answer: Answer) -> None:
    settings = (pair / "archive.toml").read_bytes()
    out = tmp_path / "two-days.mp4"
    status, told = answer("film", pair, "--from", "2026-06-01", "--to", "2026-06-02", "--size", "480", "--out", out)
    assert status == 0
    assert out.is_file()
    assert out.with_suffix(".json").is_file()
    assert told["film"]["observation_ids"] == ["2026-06-01T0915Z", "2026-06-02T0915Z"]
    assert (pair / "archive.toml").read_bytes() == settings
    assert not list((pair / "site" / "films").glob("*.mp4"))


def test_span_without_pictures_is_refused(week: Path, answer: Answer) -> None:
    settings = (week / "archive.toml").read_bytes()
    status, told = answer("film", week, "--from", "2020-01-01", "--to", "2020-02-01")
    assert status == 1
    assert "no picture in white light with known north" in told["causes"][0]
    assert (week / "archive.toml").read_bytes() == settings


def test_published_folder_holds_exactly_the_site(week: Path, tmp_path: Path) -> None:
    main(["build", str(week)])
    target = tmp_path / "www"
    assert main(["publish", str(week), str(target)]) == 0
    (week / "2026" / "2026-06-05" / "0915Z.toml").unlink()
    main(["build", str(week)])
    assert main(["publish", str(week), str(target)]) == 0
    files = {path.relative_to(target): path.read_bytes() for path in target.rglob("*") if path.is_file()}
    site = week / "site"
    assert files == {path.relative_to(site): path.read_bytes() for path in site.rglob("*") if path.is_file()}
    assert not (target / "days" / "2026-06-05").exists()


def test_whole_evening_is_one_command(week: Path, tmp_path: Path, answer: Answer) -> None:
    settings = week / "archive.toml"
    settings.write_text(
        settings.read_text() + f'\n[[targets]]\nname = "web"\nfolder = "{(tmp_path / "www").as_posix()}"\n'
    )
    picture = draw(tmp_path / "20260606T091500Z.png", Scene(seed=6))
    status, told = answer("add", week, picture, "--publish")
    assert status == 1  # before anything is filed
    assert told["pictures"] == []
    assert "not allowed yet" in told["causes"][0]
    assert main(["trust", str(week)]) == 0
    status, told = answer("add", week, picture, "--publish")
    assert status == 0
    assert told["evening"]["published"]["report"]["copied"] > 0
    assert (tmp_path / "www" / "days" / "2026-06-06" / "index.html").is_file()
    assert (tmp_path / "www" / "films" / "last-7-days.mp4").is_file()


def test_a_refused_picture_keeps_nothing_else_from_being_published(pair: Path, tmp_path: Path, answer: Answer) -> None:
    settings = pair / "archive.toml"
    settings.write_text(
        settings.read_text() + f'\n[[targets]]\nname = "web"\nfolder = "{(tmp_path / "www").as_posix()}"\n'
    )
    assert main(["trust", str(pair)]) == 0
    picture, broken = draw(tmp_path / "20260606T091500Z.png", Scene(seed=6)), tmp_path / "20260607T091500Z.png"
    broken.write_bytes(picture.read_bytes()[:-500])
    status, told = answer("add", pair, broken, picture, "--publish")
    assert status == 1
    assert [one["status"] for one in told["pictures"]] == ["refused", "added"]
    assert told["evening"]["published"]["report"]["copied"] > 0
    assert (tmp_path / "www" / "days" / "2026-06-06" / "index.html").is_file()


def test_verify_names_what_is_not_as_filed(week: Path, answer: Answer, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["verify", str(week)]) == 0
    changed = week / "2026" / "2026-06-01" / "0915Z.png"
    data = bytearray(changed.read_bytes())
    data[len(data) // 2] ^= 1
    changed.write_bytes(bytes(data))
    (week / "2026" / "2026-06-02" / "0915Z.png").unlink()
    shutil.copy(week / "2026" / "2026-06-03" / "0915Z.png", week / "2026" / "2026-06-03" / "1000Z.png")
    capsys.readouterr()
    assert main(["verify", str(week)]) == 1
    lines = capsys.readouterr().err.splitlines()
    for name, word in (
        ("2026-06-01/0915Z.png", "changed"),
        ("2026-06-02/0915Z.png", "missing"),
        ("2026-06-03/1000Z.png", "extra"),
    ):
        assert [line for line in lines if name in line and word in line], name
    status, told = answer("verify", week)
    assert status == 1
    assert told["changed"] == ["2026/2026-06-01/0915Z.png"]


def test_show_prints_the_evidence(built_week: Path, capsys: pytest.CaptureFixture[str], answer: Answer) -> None:
    capsys.readouterr()
    assert main(["show", str(built_week), "2026-06-03"]) == 0
    out = capsys.readouterr().out
    assert "stated" in out
    assert "sky" in out
    _, told = answer("show", built_week, "2026-06-03")
    assert told[0]["orientation"]["north_angle_deg"] == 90.0
    assert main(["show", str(built_week), "2026-06-30"]) == 1


def test_stated_angle_that_the_mount_contradicts_stands_and_is_shown(built_week: Path) -> None:
    one = next(one for one in observations(built_week) if one["id"] == "2026-06-03T0915Z")
    assert one["orientation"]["north_angle_deg"] == 90.0
    page = (built_week / "site" / "days" / "2026-06-03" / "index.html").read_text()
    assert "disagrees" in page


def test_preview_serves_the_site_on_loopback_only(built_week: Path) -> None:
    command = [sys.executable, "-m", "archive", "preview", str(built_week), "--port", "0", "--json"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True, cwd=Path(__file__).parents[2]) as process:
        assert process.stdout is not None
        address = re.search(r"http://127\.0\.0\.1:\d+/[\w-]+/", "".join(iter(process.stdout.readline, "}\n")))
        assert address is not None
        with urllib.request.urlopen(address[0] + "days/2026-06-03/index.html") as page:
            assert page.status == 200
        process.send_signal(signal.SIGINT)
        assert process.wait(10) == 130


def test_upside_down_fits_comes_out_upright_by_its_header(archive_folder: Path, tmp_path: Path, answer: Answer) -> None:
    """A header as solar observatories write it, CROTA2 = 180 (Thompson 2006): solar north is down as stored."""
    from scenes.discs import draw_disc, quantise

    scene = Scene(width_px=400, height_px=400, x_px=199.5, y_px=199.5, radius_px=150, spots=(Spot(30.0, 0.0, 3.0),))
    picture = quantise(draw_disc(scene), 16)[:, ::-1]  # rows top first; turned 180 deg and stored bottom row first
    unit = fits.PrimaryHDU(np.ascontiguousarray(picture))
    for key, value in {
        "CTYPE1": "HPLN-TAN", "CTYPE2": "HPLT-TAN", "CUNIT1": "arcsec", "CUNIT2": "arcsec", "CRPIX1": 200.5,
        "CRPIX2": 200.5, "CRVAL1": 0.0, "CRVAL2": 0.0, "CDELT1": 6.3, "CDELT2": 6.3, "CROTA2": 180.0,
        "DATE-OBS": "2026-06-03T09:15:00",
    }.items():  # fmt: skip
        unit.header[key] = value
    unit.writeto(tmp_path / "down.fits")
    settings = archive_folder / "archive.toml"
    settings.write_text(settings.read_text().replace("camera_angle_deg = 0.0\n", ""))
    _, told = answer("add", archive_folder, tmp_path / "down.fits")
    orientation = told["pictures"][0]["orientation"]
    assert orientation["evidence"][0]["kind"] == "header"
    assert abs(orientation["north_angle_deg"]) == pytest.approx(180.0, abs=0.01)
    assert orientation["mirrored"] is False
    main(["build", str(archive_folder)])
    disc = np.asarray(
        Image.open(archive_folder / "site" / "days" / "2026-06-03" / "0915Z-disc.jpg").convert("L"), float
    )
    row = round(511.5 - 460.8 * 0.5)
    assert disc[row - 3 : row + 4, 509:515].mean() < 0.7 * disc[1023 - row - 3 : 1023 - row + 4, 509:515].mean()


def test_command_of_a_missing_archive_is_one_clear_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for command in ("build", "verify", "publish"):
        assert main([command, str(tmp_path / "none")]) == 1
        lines = capsys.readouterr().err.splitlines()
        assert len(lines) == 1
        assert "northlimb new" in lines[0]


def test_misuse_exits_with_2(archive_folder: Path) -> None:
    assert main(["film", str(archive_folder), "--days", "3", "--rotation", "2312"]) == 2
    assert main(["sun"]) == 2
    assert main(["no-such-command"]) == 2
    assert main(["new", str(archive_folder) + "-2", "--title", "T"]) == 2


def test_a_theme_of_the_archive_changes_its_site_and_a_mistake_in_it_stops_the_build(
    built_week: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "my-sun"
    shutil.copytree(built_week, folder)
    theme = folder / "theme"
    theme.mkdir()
    (theme / "style.css").write_text("h1 { color: #006; }\n", encoding="utf-8")
    (theme / "not_found.html").write_text("<title>Lost</title>\n{{ site.title }}\n", encoding="utf-8")
    assert main(["trust", str(folder)]) == 0
    assert main(["build", str(folder)]) == 0
    assert (folder / "site/404.html").read_text() == "<title>Lost</title>\nSun over the quay\n"
    assert (folder / "site/static/style.css").read_text().endswith("h1 { color: #006; }\n")
    assert main(["verify", str(folder)]) == 0
    (theme / "not_found.html").write_text("{{ site.name }}", encoding="utf-8")
    assert main(["trust", str(folder)]) == 0
    capsys.readouterr()
    assert main(["build", str(folder)]) == 1
    said = capsys.readouterr().err.strip().splitlines()[-1]
    assert said.startswith(f"northlimb: {theme / 'not_found.html'}: line 1: ")
    assert "correct it" in said
