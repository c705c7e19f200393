"""Spots counted through the program: corrections by hand, names that stay, the month's report, advice on captures."""

from __future__ import annotations

import csv
import io
import json
import shutil
import tomllib
from pathlib import Path

import numpy as np
import pytest
from astropy.io import fits
from astropy.wcs import WCS
from derived import change_rows, maker_of

from archive.commands.main import main
from archive.stages.comparison_picture import derotated_picture
from archive.stages.map_growth import grown_map
from archive.stages.north_up_disc import north_up_disc
from archive.stages.picture_files import picture_files

from .conftest import keep_one_look

SAMPLE = Path(__file__).parents[2] / "sample_archive"
DAY = "2026-06-03"
RECORD = "2026/2026-06-03/1830Z.toml"


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("counted") / "my-sun"
    derived = (".northlimb", "site", "group-names.toml")
    shutil.copytree(SAMPLE, folder, ignore=shutil.ignore_patterns(*derived, "2026-05-*"))  # a week is enough
    keep_one_look(folder)
    settings = folder / "archive.toml"
    text = settings.read_text(encoding="utf-8")
    settings.write_text(text.partition("[[films]]")[0], encoding="utf-8")
    assert main(["build", str(folder)]) == 0
    return folder


@pytest.fixture
def archive_folder(built: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(built, tmp_path / "my-sun"))


def groups(folder: Path) -> dict[str, list[dict[str, object]]]:
    found = json.loads((folder / "site" / "data" / "groups.json").read_text(encoding="utf-8"))
    return {one["name"]: one["sightings"] for one in found}


def observation(folder: Path) -> dict[str, object]:
    found = json.loads((folder / "site" / "data" / "observations.json").read_text(encoding="utf-8"))
    return next(one for one in found if one["id"].startswith(DAY))


def add_to_record(folder: Path, text: str) -> None:
    record = folder / RECORD
    record.write_text(record.read_text(encoding="utf-8") + text, encoding="utf-8")


def test_names_stay_when_all_is_measured_anew(archive_folder: Path) -> None:
    """All but pictures and maps, which tell nothing of groups; `test_build` deletes those as well."""
    names = (archive_folder / "group-names.toml").read_bytes()
    before = groups(archive_folder)
    assert len(before) >= 5
    kept = [maker_of(make) for make in (picture_files, north_up_disc, derotated_picture, grown_map)]
    assert change_rows(archive_folder, "DELETE FROM value WHERE maker NOT IN (?, ?, ?, ?)", *kept) > 20
    assert main(["build", str(archive_folder)]) == 0
    assert groups(archive_folder) == before
    assert (archive_folder / "group-names.toml").read_bytes() == names


def test_looking_at_a_day_changes_nothing_of_what_is_kept(built: Path) -> None:
    kept = {path: path.read_bytes() for path in (built / ".northlimb").rglob("*") if path.is_file()}
    assert len(kept) >= 50
    assert main(["show", str(built), DAY]) == 0
    assert {path: path.read_bytes() for path in (built / ".northlimb").rglob("*") if path.is_file()} == kept


def test_charts_change_where_their_figures_do(archive_folder: Path) -> None:
    charts = archive_folder / "site" / "charts" / "index.html"
    before = charts.read_bytes()
    (archive_folder / RECORD).with_name("notes.md").write_text("Haze at noon.\n", encoding="utf-8")
    assert main(["build", str(archive_folder)]) == 0
    assert charts.read_bytes() == before
    add_to_record(archive_folder, "\n[counts]\ngroups = 2\nspots = 31\n")
    assert main(["build", str(archive_folder)]) == 0
    assert charts.read_bytes() != before


def test_relative_number_is_wolfs(built: Path) -> None:
    """R = k (10 g + s), Wolf."""
    counts = observation(built)["counts"]
    assert isinstance(counts, dict)
    assert counts["groups"] >= 3
    assert counts["relative_number"] == 10 * counts["groups"] + counts["spots"]


def test_counts_by_hand_win_and_are_marked(archive_folder: Path) -> None:
    add_to_record(archive_folder, "\n[counts]\ngroups = 9\nspots = 41\n")
    assert main(["build", str(archive_folder)]) == 0
    assert observation(archive_folder)["counts"] == {
        "groups": 9,
        "spots": 41,
        "relative_number": 131.0,
        "stated": True,
        "least_spot_msh": None,
    }


def test_groups_by_hand_stand_in_place_of_the_measured(archive_folder: Path) -> None:
    name = next(iter(groups(archive_folder)))
    add_to_record(
        archive_folder,
        f'\n[[groups]]\nname = "{name}"\nlatitude_deg = 12.0\ncarrington_longitude_deg = 101.0\nspots = 4\n'
        "area_msh = 210.0\n",
    )
    assert main(["build", str(archive_folder)]) == 0
    here = {
        called: [seen for seen in sightings if str(seen["observation"]).startswith(DAY)]
        for called, sightings in groups(archive_folder).items()
    }
    seen = {called: sightings for called, sightings in here.items() if sightings}
    assert list(seen) == [name]
    assert seen[name][0]["latitude_deg"] == 12.0
    assert seen[name][0]["spots"] == 4
    assert seen[name][0]["stated"] is True


def test_a_name_by_hand_keeps_its_groups_at_the_next_build(archive_folder: Path) -> None:
    """Also where it stands, but for the digits that are kept, where another name was given."""
    given = tomllib.loads((archive_folder / "group-names.toml").read_text(encoding="utf-8"))["groups"]
    before = groups(archive_folder)
    one = max(given, key=lambda one: len(before.get(one["name"], [])))
    day, minute = f"{one['time']:%Y-%m-%d %H%M}Z".split()
    record = archive_folder / day[:4] / day / f"{minute}.toml"
    text = record.read_text(encoding="utf-8")
    for number, off_deg in enumerate((-0.004, 0.004)):
        latitude_deg, longitude_deg = one["latitude_deg"] + off_deg, one["carrington_longitude_deg"] + off_deg
        record.write_text(
            f'{text}\n[[groups]]\nname = "2999-{30 + number}"\nlatitude_deg = {latitude_deg:.3f}\n'
            f"carrington_longitude_deg = {longitude_deg:.3f}\nspots = 4\n",
            encoding="utf-8",
        )
        assert main(["build", str(archive_folder)]) == 0
        first = groups(archive_folder)
        assert f"2999-{30 + number}" in first
        assert main(["build", str(archive_folder)]) == 0
        assert groups(archive_folder) == first


def test_a_group_is_called_as_the_observer_calls_it_and_has_a_page_of_that_name(
    archive_folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """One name in two spellings is one group, with one page; that it is written in two ways is told.

    The observer's word holds for the days that follow.
    """
    place = "latitude_deg = 12.0\ncarrington_longitude_deg = 101.0\nspots = 4\narea_msh = 90.0\n"
    other = "2026/2026-06-04"
    add_to_record(archive_folder, f'\n[[groups]]\nname = "AR 1117"\n{place}')
    record = next((archive_folder / other).glob("*.toml"))
    record.write_text(f'{record.read_text(encoding="utf-8")}\n[[groups]]\nname = "ar-1117"\n{place}', encoding="utf-8")
    for _ in range(2):
        capsys.readouterr()
        assert main(["build", str(archive_folder)]) == 0
        told = [line for line in capsys.readouterr().err.splitlines() if "1117" in line]
        assert len(told) == 1
        assert f"{other}/{record.name}: name = 'ar-1117': the group is called 'AR 1117'" in told[0]
        days = [str(seen["observation"])[:10] for seen in groups(archive_folder)["AR 1117"]]
        assert days[:2] == [DAY, "2026-06-04"]
        assert days[-1] == "2026-06-07"
        assert "ar-1117" not in groups(archive_folder)
    page = (archive_folder / "site/groups/ar-1117/index.html").read_text(encoding="utf-8")
    assert "Group AR 1117" in page
    day = (archive_folder / f"site/days/{DAY}/index.html").read_text(encoding="utf-8")
    assert 'href="../../groups/ar-1117/' in day


# A solar region summary in its published form; the place is that of a group of the sample.
SUMMARY = """:Product: 0604SRS.txt
:Issued: 2026 Jun 04 0030 UTC
I.  Regions with Sunspots.  Locations Valid at 03/2400Z
Nmbr Location  Lo  Area  Z   LL   NN Mag Type
{number} {side}{latitude:02.0f}W00   {longitude:03.0f}  0080 Hsx  02   01 Alpha
"""


def test_an_official_number_stands_beside_the_name_and_what_a_hand_wrote_stays(
    archive_folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    name, (seen, *_) = next(
        (called, own)
        for called, all_days in groups(archive_folder).items()
        if (own := [one for one in all_days if str(one["observation"]).startswith(DAY)])
    )
    latitude_deg, longitude_deg = float(str(seen["latitude_deg"])), float(str(seen["carrington_longitude_deg"]))
    table = tmp_path / "0604SRS.txt"

    def numbered(number: int) -> str:
        side = "N" if latitude_deg >= 0.0 else "S"
        table.write_text(
            SUMMARY.format(number=number, side=side, latitude=abs(latitude_deg), longitude=longitude_deg % 360.0),
            encoding="ascii",
        )
        capsys.readouterr()
        assert main(["regions", str(archive_folder), str(table)]) == 0
        return capsys.readouterr().out

    assert f"AR 14001 is group {name}" in numbered(4001)
    assert "numbered before: AR 14001" in numbered(4001)
    assert f"AR 14002 left open, may be {name}: the group is AR 14001 in the file" in numbered(4002)
    assert main(["build", str(archive_folder)]) == 0
    site = archive_folder / "site"
    for page in (f"groups/{name}", f"days/{DAY}", "groups", "search"):
        assert f"{name} (AR 14001)" in (site / page / "index.html").read_text(encoding="utf-8"), page
    assert "AR 14001 4001" in (site / "search/words.js").read_text(encoding="utf-8")
    found = json.loads((site / "data/groups.json").read_text(encoding="utf-8"))
    assert {one["name"] for one in found if one["official_name"] == "AR 14001"} == {name}
    table.write_text("date,number\n", encoding="ascii")
    assert main(["regions", str(archive_folder), str(table)]) == 1
    assert "no table of regions" in capsys.readouterr().err


def test_a_group_split_by_hand_has_two_names(archive_folder: Path) -> None:
    """The half that keeps the name is called by it; the other, without one, is a group of its own."""
    before = groups(archive_folder)
    name, kept = next(
        (called, seen)
        for called, sightings in before.items()
        for seen in sightings
        if len(sightings) > 2 and str(seen["observation"]).startswith(DAY)
    )
    latitude_deg, longitude_deg = float(str(kept["latitude_deg"])), float(str(kept["carrington_longitude_deg"]))
    halves = "".join(
        f"\n[[groups]]\n{called}latitude_deg = {latitude_deg:.2f}\ncarrington_longitude_deg = {half_deg % 360.0:.2f}\n"
        "spots = 2\n"
        for called, half_deg in ((f'name = "{name}"\n', longitude_deg + 2.0), ("", longitude_deg - 1.0))
    )
    add_to_record(archive_folder, halves)
    for _ in range(2):
        assert main(["build", str(archive_folder)]) == 0
        here = [
            called
            for called, sightings in groups(archive_folder).items()
            for seen in sightings
            if str(seen["observation"]).startswith(DAY)
        ]
        assert len(here) == 2
        assert here.count(name) == 1
    assert here[1] not in before


def test_a_group_at_the_limb_is_counted_and_its_area_left_out(built: Path) -> None:
    data = json.loads((built / "site/data/observations.json").read_text(encoding="utf-8"))
    one = next(one for one in data if one["id"].startswith("2026-06-02"))
    seen = [each for group in groups(built).values() for each in group if each["observation"] == one["id"]]
    (at_limb,) = [each for each in seen if each["area_msh"] is None]
    assert abs(float(str(at_limb["central_meridian_distance_deg"]))) > 70.0
    assert one["counts"]["groups"] == len(seen) == 6
    told = sum(float(str(each["area_msh"])) for each in seen if each is not at_limb)
    assert one["spot_area_msh"] == pytest.approx(told, rel=0.02)
    page = (built / "site/days/2026-06-02/index.html").read_text(encoding="utf-8")
    assert "millionths of the solar hemisphere, without 1 group near the limb" in page


def test_a_group_by_hand_without_an_area_leaves_it_unknown(
    archive_folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Not 0: in the group, in its day, in the month, and of a group that has no other sighting."""
    by_hand = "".join(
        f"\n[[groups]]\n{area}latitude_deg = 12.0\ncarrington_longitude_deg = {longitude_deg}\nspots = 2\n"
        for area, longitude_deg in (("area_msh = 80.0\n", 101.0), ('name = "2999-1"\n', 160.0))
    )
    add_to_record(archive_folder, by_hand)
    assert main(["build", str(archive_folder)]) == 0
    assert observation(archive_folder)["spot_area_msh"] is None
    assert [seen["area_msh"] for seen in groups(archive_folder)["2999-1"]] == [None]
    assert "Area from day to day" not in (archive_folder / "site/groups/2999-1/index.html").read_text(encoding="utf-8")
    capsys.readouterr()
    assert main(["report", str(archive_folder), "--month", "2026-06", "--format", "csv"]) == 0
    rows = csv.DictReader(io.StringIO(capsys.readouterr().out))
    assert [row["spot_area_msh"] for row in rows if row["day"] == DAY] == [""]
    assert main(["show", str(archive_folder), DAY]) == 0
    shown = capsys.readouterr().out
    assert "area not known" in shown
    assert "area_msh = 0" not in shown


def test_dust_by_hand_is_not_counted(archive_folder: Path) -> None:
    before = observation(archive_folder)
    counts, disc = before["counts"], before["disc"]
    assert isinstance(counts, dict)
    assert isinstance(disc, dict)
    add_to_record(
        archive_folder, f"\n[[dust]]\nx_px = {disc['x_px']}\ny_px = {disc['y_px']}\nradius_px = {disc['radius_px']}\n"
    )
    assert main(["build", str(archive_folder)]) == 0
    after = observation(archive_folder)["counts"]
    assert isinstance(after, dict)
    assert after["groups"] == after["spots"] == 0


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("\n[counts]\ngroups = -1\nspots = 2\n", "counts.groups"),
        ("\n[counts]\ngroups = 5\nspots = 3\n", "counts.spots = 3: is fewer than groups = 5"),
        ("\n[counts]\ngroups = 0\nspots = 3\n", "counts.spots = 3: but groups = 0"),
        ("\n[[groups]]\nlatitude_deg = 95.0\ncarrington_longitude_deg = 10.0\n", "latitude_deg"),
        ('\n[[groups]]\nname = "../x"\nlatitude_deg = 5.0\ncarrington_longitude_deg = 10.0\n', "letters, digits"),
    ],
)
def test_wrong_corrections_are_refused_with_file_and_field(
    archive_folder: Path, text: str, told: str, capsys: pytest.CaptureFixture[str]
) -> None:
    add_to_record(archive_folder, text)
    assert main(["build", str(archive_folder)]) == 1
    error = capsys.readouterr().err
    assert RECORD in error
    assert told in error


def test_show_prints_groups_that_can_be_pasted(archive_folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before = observation(archive_folder)["counts"]
    assert isinstance(before, dict)
    assert main(["show", str(archive_folder), DAY]) == 0
    lines = capsys.readouterr().out.splitlines()
    start = next(number for number, line in enumerate(lines) if line.strip() == "[[groups]]")
    add_to_record(archive_folder, "\n" + "\n".join(line.strip() for line in lines[start:]) + "\n")
    assert main(["build", str(archive_folder)]) == 0
    after = observation(archive_folder)["counts"]
    assert after == {**before, "stated": True}


def test_report_of_a_month_as_csv(built: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["report", str(built), "--month", "2026-06", "--format", "csv"]) == 0
    rows = list(csv.DictReader(io.StringIO(capsys.readouterr().out)))
    assert [row["day"] for row in rows] == sorted({row["day"] for row in rows})
    row = next(row for row in rows if row["day"] == DAY)
    counts = observation(built)["counts"]
    assert isinstance(counts, dict)
    assert int(row["groups"]) == counts["groups"]
    # The hemispheres' numbers add up to the whole: every group lies on one side.
    assert float(row["relative_number_north"]) + float(row["relative_number_south"]) == counts["relative_number"]


def test_report_as_text_ends_with_means_and_a_strange_month_is_refused(
    built: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["report", str(built), "--month", "2026-06"]) == 0
    assert "means of 7 days" in capsys.readouterr().out
    assert main(["report", str(built), "--month", "2019-01"]) == 1
    assert "2019-01" in capsys.readouterr().err


def test_report_tells_of_how_many_days_the_hemispheres_are(
    archive_folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A count by hand tells none, so their means are of fewer days and do not add up to R."""
    assert main(["report", str(archive_folder), "--month", "2026-06", "--json"]) == 0
    rows = json.loads(capsys.readouterr().out)["report"]["rows"]
    told = sum(row["north"] is not None for row in rows)
    add_to_record(archive_folder, "\n[counts]\ngroups = 9\nspots = 41\n")
    assert main(["report", str(archive_folder), "--month", "2026-06"]) == 0
    assert f", of {told - 1} days), area" in capsys.readouterr().out


def test_map_is_read_by_other_software(built: Path) -> None:
    """Thompson (2006): CRLN, CRLT; a group's place on the map, by astropy.wcs, is darker than the quiet Sun."""
    name, sightings = max(groups(built).items(), key=lambda one: max(s["area_msh"] or 0.0 for s in one[1]))
    seen = min(sightings, key=lambda one: abs(float(str(one["central_meridian_distance_deg"]))))
    with fits.open(built / "site" / "rotations" / name.partition("-")[0] / "map.fits") as units:
        values, wcs = np.asarray(units[1].data), WCS(units[1].header)
        x, y = wcs.wcs_world2pix(float(str(seen["carrington_longitude_deg"])), float(str(seen["latitude_deg"])), 0)
        column, row = round(float(x)), round(float(y))
        about = values[row - 16 : row + 17, column - 16 : column + 17]
    assert np.nanmin(about) < 0.8
    assert np.isnan(values).any()


def test_day_page_tells_what_the_capture_cost(built: Path) -> None:
    page = (built / "site" / "days" / DAY / "index.html").read_text(encoding="utf-8")
    assert "Smear at the limb" in page
    assert "s (1 px of blur)" in page
