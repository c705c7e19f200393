"""All pictures of an instrument solved together: unknown camera angle and mirroring found from the spots."""

from __future__ import annotations

import hashlib
import json
import re
import shutil
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from astropy.io import fits
from derived import rows
from make_sample_archive import DOORSTEP, SamplePicture, sample_pictures
from scenes.discs import Scene
from scenes.sun_days import GroupPlan, Mount, SunNumbers, plan_days, world_of

from archive.commands.main import main
from archive.disc.limb import fit_limb
from archive.model.angles import difference_deg
from archive.model.measured import Measured, Spots
from archive.model.observation import Disc, FoundSpots
from archive.orientation.spots import solve_spots
from archive.records.places import Place, free_place
from archive.records.record import PictureEntry, Record, record_text
from archive.stages.archive import Archive, opened_archive
from archive.stages.inspection import ArchivedPicture, archived_pictures, measured_pictures, near_days, solve
from archive.stages.studies import keep_study
from archive.stages.study import Study
from archive.stages.survey import survey
from archive.sun.heliographic import to_disc
from archive.sun.view import sun_views

from .conftest import draw

Answer = Callable[..., tuple[int, Any]]
SAMPLE = Path(__file__).parents[2] / "sample_archive"
NEW = [
    "--title", "Sun over the quay", "--observer", "A. Teal", "--site", "Quay,52.1,-1.3", "--time-zone", "UTC",
    "--instrument", "Doorstep", "--mount", "altaz",
]  # fmt: skip
CAMERA_ANGLE_DEG = 70.0
NO_SPOTS = Spots()
SPOTLESS = "20260617T091500Z"
WEEK = (
    "20260614T081000Z", "20260615T101500Z", "20260616T150500Z", SPOTLESS, "20260618T072000Z", "20260619T163000Z",
    "20260620T111500Z",
)  # fmt: skip


@pytest.fixture(scope="module")
def drawn(tmp_path_factory: pytest.TempPathFactory) -> dict[Path, SamplePicture]:
    """Pictures by the sample observatory's alt-azimuth instrument, with their truth: a spotless one, and of June."""
    folder = tmp_path_factory.mktemp("pictures")
    return {
        Path(shutil.copy(filed(one), folder / one.file)): one
        for one in sample_pictures()
        if one.instrument == DOORSTEP and one.file[:8] in ("20260525", *(f"202606{day:02d}" for day in range(2, 9)))
    }


def filed(sample: SamplePicture) -> Path:
    """The picture in the sample archive."""
    return SAMPLE / f"{sample.time_utc:%Y/%Y-%m-%d/%H%MZ}{Path(sample.file).suffix}"


@pytest.fixture(scope="module")
def week(tmp_path_factory: pytest.TempPathFactory) -> dict[Path, Scene]:
    """Seven days through a mirrored instrument whose camera sits at 70 deg; three groups, none on the fourth day."""
    times = [datetime.strptime(stamp, "%Y%m%dT%H%M%S%z") for stamp in WEEK]
    views = sun_views(times, latitude_deg=52.1, longitude_deg=-1.3)
    groups = [
        GroupPlan("a", 16.0, 0.0, 1.7, 1.1, 8.0, 3, seed=11),
        GroupPlan("b", -13.0, -35.0, 1.3, 0.9, 6.0, 2, seed=12),
        GroupPlan("c", 22.0, 30.0, 1.2, 0.8, 6.0, 2, seed=13),
    ]
    middle_deg = views[3].l0_deg
    world = world_of([replace(one, longitude_deg=one.longitude_deg + middle_deg) for one in groups], epoch_utc=times[0])
    numbers = [
        SunNumbers(time, view.p_deg, view.b0_deg, view.l0_deg, view.parallactic_angle_deg, view.altitude_deg)
        for time, view in zip(times, views, strict=True)
    ]
    mount = Mount(
        "altaz", Scene(), CAMERA_ANGLE_DEG, mirrored=True, levelling_rms_deg=0.3, centre_rms_px=6.0, scale_rms=0.002
    )
    folder = tmp_path_factory.mktemp("week")
    found = {}
    for stamp, (_, planned) in zip(WEEK, plan_days(world, numbers, mount=mount), strict=True):
        scene = replace(planned, spots=(), faculae=()) if stamp == SPOTLESS else planned
        found[draw(folder / f"{stamp}.png", scene)] = scene
    return found


@pytest.fixture(scope="module")
def built_week(week: dict[Path, Scene], tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Added at once and built; not to be changed."""
    folder = new_archive(tmp_path_factory.mktemp("built") / "my-sun")
    assert main(["add", str(folder), *map(str, week)]) == 0
    assert main(["build", str(folder)]) == 0
    return folder


@pytest.fixture
def copied_week(built_week: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(built_week, tmp_path / "my-sun"))


@pytest.fixture(scope="module")
def added_but_the_last(week: dict[Path, Scene], tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The week's spotted pictures but the last, added at once; not to be changed."""
    folder = new_archive(tmp_path_factory.mktemp("added") / "my-sun")
    assert main(["add", str(folder), *map(str, spotted(week)[:-1])]) == 0
    return folder


@pytest.fixture
def week_but_the_last(added_but_the_last: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(added_but_the_last, tmp_path / "my-sun"))


@pytest.fixture
def unsaid(tmp_path: Path) -> Path:
    """An archive that knows the mount, but neither camera angle nor mirroring."""
    return new_archive(tmp_path / "my-sun")


def new_archive(folder: Path) -> Path:
    """One look is enough here."""
    assert main(["new", str(folder), *NEW]) == 0
    settings = folder / "archive.toml"
    text = settings.read_text(encoding="utf-8")
    settings.write_text(text.replace('["natural", "warm", "mono", "flat"]', '["natural"]'), encoding="utf-8")
    return folder


def say_not_mirrored(folder: Path) -> None:
    settings = folder / "archive.toml"
    text = settings.read_text(encoding="utf-8").replace('mirrored = "unknown"', 'mirrored = "no"')
    settings.write_text(text, encoding="utf-8")


def orientations(folder: Path) -> dict[str, dict[str, Any]]:
    found = json.loads((folder / "site" / "data" / "observations.json").read_text(encoding="utf-8"))
    return {one["id"]: one["orientation"] for one in found}


def spotted(week: dict[Path, Scene]) -> list[Path]:
    return [path for path in week if path.stem != SPOTLESS]


def id_of(path: Path) -> str:
    stamp = path.stem
    return f"{stamp[:4]}-{stamp[4:6]}-{stamp[6:11]}{stamp[11:13]}Z"


def page(folder: Path, day: str) -> str:
    return (folder / "site" / "days" / day / "index.html").read_text(encoding="utf-8")


@pytest.fixture
def opened(unsaid: Path) -> Iterator[Archive]:
    """The same, opened for the stages."""
    with opened_archive(unsaid) as archive:
        yield archive


def kept_solutions(root: Path) -> dict[str, int]:
    """The weeks' joint solutions, each with a number that is another whenever it is made; see `rows`."""
    return rows(root, solve_spots)


def test_spots_give_angles_and_mirroring_that_nobody_stated(
    unsaid: Path, drawn: dict[Path, SamplePicture], answer: Answer
) -> None:
    status, told = answer("add", unsaid, *drawn)
    assert status == 0
    for added, sample in zip(told["pictures"], drawn.values(), strict=True):
        orientation = added["orientation"]
        assert orientation["mirrored"] is False
        error_deg = difference_deg(orientation["north_angle_deg"], sample.truth.north_angle_deg)
        assert abs(error_deg) < min(1.0, 3.0 * orientation["sigma_deg"]), added["id"]
    kinds = {piece["kind"] for added in told["pictures"] for piece in added["orientation"]["evidence"]}
    assert "spots" in kinds
    found = {added["id"]: added["orientation"] for added in told["pictures"]}
    assert found["2026-05-25T0915Z"]["status"] == "assumed"
    assert found["2026-06-04T0905Z"]["status"] == "solved"


def test_a_mirrored_instrument_is_found_and_every_spotted_day_brought_north_up(
    built_week: Path, week: dict[Path, Scene]
) -> None:
    found = orientations(built_week)
    for path, scene in week.items():
        orientation = found[id_of(path)]
        assert orientation["mirrored"] is True
        error_deg = abs(difference_deg(orientation["north_angle_deg"], scene.north_angle_deg))
        assert error_deg < min(1.0, 3.0 * orientation["sigma_deg"]), path.name
        if path.stem != SPOTLESS:
            assert orientation["status"] == "solved"
            assert orientation["evidence"][0]["kind"] == "spots"


def test_a_spotless_day_leans_on_the_camera_angle_that_the_others_taught(built_week: Path) -> None:
    orientation = orientations(built_week)["2026-06-17T0915Z"]
    assert orientation["status"] == "assumed"
    assert [piece["kind"] for piece in orientation["evidence"]] == ["sky"]
    observatory = (built_week / "site" / "observatory" / "index.html").read_text(encoding="utf-8")
    row = re.search(r"since 14 June 2026.*?6 pictures, mirrored.*?<td>\+(\d+\.\d)°</td>", observatory, re.DOTALL)
    assert row is not None
    assert float(row[1]) == pytest.approx(CAMERA_ANGLE_DEG, abs=0.6)


def test_days_register_within_a_tenth_of_a_pixel(built_week: Path) -> None:
    """Every disc is brought to centre (511.5, 511.5) and radius 460.8 px: no jitter in a film of them."""
    discs = sorted((built_week / "site" / "days").glob("*/*-disc.fits"))
    assert len(discs) == len(WEEK)
    for path in discs:
        with fits.open(path) as opened:
            disc = fit_limb(np.asarray(opened[1].data, dtype=np.float32))
        assert (disc.x_px, disc.y_px) == pytest.approx((511.5, 511.5), abs=0.1), path.name
        assert disc.radius_px == pytest.approx(460.8, abs=0.1), path.name


def test_later_days_orient_older_ones_in_page_and_film(unsaid: Path, week: dict[Path, Scene], answer: Answer) -> None:
    settings = unsaid / "archive.toml"
    settings.write_text(
        settings.read_text(encoding="utf-8") + "\n[[films]]\ndays = 30\nsize_px = 480\npace_s = 0.2\n", encoding="utf-8"
    )
    films = unsaid / "site" / "films"
    spotted = [path for path in week if path.stem != SPOTLESS]
    first = id_of(spotted[0])
    statuses = []
    for path in spotted[:4]:
        _, told = answer("add", unsaid, path)
        statuses.append(told["pictures"][0]["orientation"]["status"])
        if path == spotted[0]:
            assert main(["build", str(unsaid)]) == 0
            assert "original orientation, north not known" in page(unsaid, "2026-06-14")
            assert not list(films.glob("last-30-days*.json"))
    assert statuses[0] == "unknown"
    assert statuses[-1] == "solved"
    assert main(["build", str(unsaid)]) == 0
    assert orientations(unsaid)[first]["status"] == "solved"
    assert "north not known" not in page(unsaid, "2026-06-14")
    (film,) = films.glob("last-30-days*.json")
    assert first in {one for frame in json.loads(film.read_text())["frames"] for one in frame["observations"]}


def test_the_first_day_is_told_to_wait_and_the_day_that_settles_it_names_it(
    unsaid: Path, week: dict[Path, Scene], capsys: pytest.CaptureFixture[str], answer: Answer
) -> None:
    first, *others = spotted(week)
    assert main(["add", str(unsaid), str(first)]) == 0
    assert "north not known: shown as it came (a second day with spots may settle it;" in capsys.readouterr().out
    known_since = {}
    for path in others[:4]:
        assert main(["add", str(unsaid), str(path)]) == 0
        for line in capsys.readouterr().out.splitlines():
            if line.startswith("  north is now known for "):
                days = line.removeprefix("  north is now known for ").partition(" too;")[0].split(", ")
                known_since |= dict.fromkeys(days, id_of(path)[:10])
        for day in sorted(known_since):
            assert answer("show", unsaid, day)[1][0]["orientation"]["status"] != "unknown"
    assert "2026-06-14" in known_since
    assert all(settled > day for day, settled in known_since.items())


def test_pictures_of_one_hour_leave_no_two_solutions_to_tell(
    unsaid: Path, week: dict[Path, Scene], tmp_path: Path, answer: Answer
) -> None:
    """The Sun turns by half a degree an hour: that north is open then is no finding. A day later it is one."""
    first = spotted(week)[0]
    later = [
        draw(tmp_path / f"20260614T{minute}00Z.png", replace(week[first], seed=number))
        for number, minute in enumerate(("0815", "0822"))
    ]
    _, told = answer("add", unsaid, first, *later)
    for added in told["pictures"]:
        assert added["orientation"]["status"] == "unknown"
        assert not [warning for warning in added["warnings"] if "two solutions" in warning]


def test_a_wrong_camera_angle_is_warned_of_with_the_right_one(copied_week: Path, answer: Answer) -> None:
    settings = copied_week / "archive.toml"
    text = settings.read_text(encoding="utf-8")
    settings.write_text(text.replace('mount = "altaz"', 'mount = "altaz"\ncamera_angle_deg = 45.0'), encoding="utf-8")
    _, built = answer("build", copied_week)
    (warning,) = [warning for warning in built["warnings"] if "camera_angle_deg" in warning]
    told = re.search(r"camera_angle_deg = 45, but the spots of 6 pictures since 2026-06-14 say \+(\d+\.\d) ±", warning)
    assert told is not None
    assert float(told[1]) == pytest.approx(CAMERA_ANGLE_DEG, abs=0.6)


def test_a_wrong_mirroring_is_left_to_the_spots_of_no_picture(copied_week: Path, answer: Answer) -> None:
    """Said not to be mirrored, the week's spots fit no rotation: better nothing than north turned the other way."""
    say_not_mirrored(copied_week)
    _, shown = answer("show", copied_week, "2026-06-16")
    assert "spots" not in [piece["kind"] for piece in shown[0]["orientation"]["evidence"]]


def test_a_stated_angle_that_the_spots_contradict_stands_and_the_dispute_is_told(
    week_but_the_last: Path, week: dict[Path, Scene], answer: Answer
) -> None:
    last = spotted(week)[-1]
    stated_deg = round(week[last].north_angle_deg - 30.0, 1)
    _, told = answer("add", week_but_the_last, last, "--north-angle", stated_deg)
    added = told["pictures"][0]
    assert added["orientation"]["north_angle_deg"] == pytest.approx(stated_deg)
    disputes = [warning for warning in added["warnings"] if "evidence for north disagrees" in warning]
    assert [dispute for dispute in disputes if "stated says" in dispute and "spots says" in dispute], disputes
    assert main(["build", str(week_but_the_last)]) == 0
    assert orientations(week_but_the_last)[id_of(last)]["north_angle_deg"] == pytest.approx(stated_deg, abs=0.01)
    assert "disagrees" in page(week_but_the_last, "2026-06-20")


def test_a_wrong_date_is_pointed_out_at_add_and_on_the_page(
    week_but_the_last: Path, week: dict[Path, Scene], answer: Answer
) -> None:
    last = spotted(week)[-1]
    stated = datetime.strptime(last.stem, "%Y%m%dT%H%M%S%z") + timedelta(hours=26)
    _, told = answer("add", week_but_the_last, last, "--time", stated.isoformat())
    (warning,) = [warning for warning in told["pictures"][0]["warnings"] if "is the time right" in warning]
    hours = re.search(r"fit better about (\d+) hours earlier", warning)
    assert hours is not None
    assert int(hours[1]) == pytest.approx(26, abs=2)
    assert main(["build", str(week_but_the_last)]) == 0
    assert f"Its spots fit better about {hours[1]} hours earlier; is the time right?<" in page(
        week_but_the_last, f"{stated:%Y-%m-%d}"
    )
    assert "hours earlier" not in page(week_but_the_last, "2026-06-16")


def test_another_picture_of_the_same_minute_is_asked_anew_whether_its_time_is_right(
    week_but_the_last: Path, week: dict[Path, Scene], tmp_path: Path, answer: Answer
) -> None:
    last = spotted(week)[-1]
    stated = datetime.strptime(last.stem, "%Y%m%dT%H%M%S%z") + timedelta(hours=26)
    _, told = answer("add", week_but_the_last, last, "--time", stated.isoformat())
    hours = re.search(r"fit better about \d+ hours earlier", "".join(told["pictures"][0]["warnings"]))
    assert hours is not None
    assert main(["remove", str(week_but_the_last), f"{stated:%Y-%m-%dT%H%MZ}"]) == 0
    scene = week[last]
    # As many spots as `last` shows, but in places that no hour brings them to.
    large = [one for one in scene.spots if one.radius_deg > 0.5]
    apart = [replace(one, longitude_deg=one.longitude_deg - (50 if one.latitude_deg > 0 else 10)) for one in large]
    other = draw(tmp_path / "other.png", replace(scene, spots=tuple(apart)))
    _, told = answer("add", week_but_the_last, other, "--time", stated.isoformat())
    assert told["pictures"][0]["id"] == f"{stated:%Y-%m-%dT%H%MZ}"
    assert not any(hours[0] in warning for warning in told["pictures"][0]["warnings"])


def test_what_pictures_taught_goes_with_them(copied_week: Path) -> None:
    """As the archive would be built without anything kept."""
    assert orientations(copied_week)[id_of(Path(SPOTLESS))]["status"] == "assumed"
    for stamp in WEEK:
        if stamp != SPOTLESS:
            assert main(["remove", str(copied_week), id_of(Path(stamp))]) == 0
    assert main(["build", str(copied_week)]) == 0
    assert orientations(copied_week)[id_of(Path(SPOTLESS))]["status"] == "unknown"


def test_nothing_is_solved_twice(copied_week: Path) -> None:
    kept = kept_solutions(copied_week)
    assert kept
    assert main(["build", str(copied_week)]) == 0
    assert main(["show", str(copied_week), "2026-06-16"]) == 0
    assert kept_solutions(copied_week) == kept


@pytest.mark.parametrize("place", [".northlimb", ".northlimb/store.sqlite"])
def test_what_cannot_be_kept_is_shown_all_the_same(copied_week: Path, answer: Answer, place: str) -> None:
    """A file where the folder of derived things belongs, or a folder in the place of the table, holds nothing."""
    _, before = answer("show", copied_week, "2026-06-16")
    kept = copied_week / place
    if place == ".northlimb":
        shutil.rmtree(kept)
        kept.write_text("")
    else:
        kept.unlink()
        kept.mkdir()
        (kept / "of the observer.txt").write_text("mine")
    status, shown = answer("show", copied_week, "2026-06-16")
    assert status == 0
    assert shown == before
    assert kept.is_file() if place == ".northlimb" else (kept / "of the observer.txt").is_file()


def test_an_archive_that_may_not_be_written_is_shown(copied_week: Path, answer: Answer) -> None:
    _, before = answer("show", copied_week, "2026-06-16")
    paths = [copied_week, *copied_week.rglob("*")]
    for path in paths:
        path.chmod(0o555 if path.is_dir() else 0o444)
    try:
        status, shown = answer("show", copied_week, "2026-06-16")
    finally:
        for path in paths:
            path.chmod(0o755 if path.is_dir() else 0o644)
    assert (status, shown) == (0, before)


def file_away(archive: Archive, time_utc: datetime, spots: Spots = NO_SPOTS, **said: Any) -> Place:
    """A picture with record and measurements whose bytes nobody asks for."""
    place = free_place(archive.files, time_utc)
    sha256 = hashlib.sha256(place.id.encode()).hexdigest()
    entry = PictureEntry(file=place.file(".png"), sha256=sha256)
    record = archive.root / place.file(".toml")
    record.parent.mkdir(parents=True, exist_ok=True)
    text = record_text(Record(time=time_utc, site="Quay", instrument="Doorstep", picture=entry, **said))
    record.write_text(text, encoding="utf-8")
    measured = Measured(640, 480, 8, Disc(320.0, 240.0, 190.0, 0.0, 0.1), None, spots)
    keep_study(archive.store, sha256, Study(".png", (), measured, FoundSpots((), 0.05, 1.0), b"a picture"))
    return place


@pytest.mark.parametrize("day", [35, 70])
def test_one_more_picture_solves_its_week_and_the_two_beside_as_build_will(opened: Archive, day: int) -> None:
    """What `add` works out is what the next `build` looks for, and no more; nothing else is solved again."""
    start = datetime(2026, 3, 30, 12, tzinfo=UTC)  # a Monday
    for number in range(70):
        file_away(opened, start + timedelta(days=number))
    before = solutions_after(opened, archived_pictures(replace(opened)))
    assert len(before) == 10
    new = file_away(opened, start + timedelta(days=day, hours=1))
    added = solutions_after(opened, near_days(opened, {new.day}), asked={new.id})
    solved = {week for week, number in added.items() if before.get(week) != number}
    assert 1 <= len(solved) <= 3
    after = solutions_after(opened, archived_pictures(replace(opened)))
    assert {week: after[week] for week in solved} == {week: added[week] for week in solved}
    assert len([week for week, number in after.items() if added.get(week) != number]) <= 1


def solutions_after(archive: Archive, filed: list[ArchivedPicture], asked: set[str] | None = None) -> dict[str, int]:
    """The kept solutions after these pictures were solved together."""
    solve(archive, measured_pictures(archive, filed), asked=asked)
    archive.store.commit()
    return kept_solutions(archive.root)


def file_spotted(
    archive: Archive,
    time_utc: datetime,
    rng: np.random.Generator,
    *,
    late_hours: float = 0.0,
    flipped: bool = False,
    **said: Any,
) -> float:
    """A picture of spots all round the Sun that keep their places, by a camera at some degree about one angle.

    ArchivedPicture under a time that many hours late; returns its true north angle.
    """
    (sun,) = sun_views([time_utc], latitude_deg=52.1, longitude_deg=-1.3)
    # Unevenly, for an even pattern is its own mirror image.
    longitudes_deg = np.array([0.0, 31.0, 78.0, 121.0, 150.0, 205.0, 240.0, 290.0, 331.0])
    latitudes_deg = np.array([17.0, -11.0, 8.0, -20.0, 24.0, -6.0, 13.0, -15.0, 5.0])
    west, north, mu = to_disc(latitudes_deg, longitudes_deg - sun.l0_deg, b0_deg=sun.b0_deg)
    camera_angle_deg = CAMERA_ANGLE_DEG + rng.normal(scale=0.5)
    north_deg = sun.p_deg - sun.parallactic_angle_deg + camera_angle_deg
    turn = np.radians(north_deg)
    seen = mu > 0.3
    right, up = (west * np.cos(turn) - north * np.sin(turn))[seen], (west * np.sin(turn) + north * np.cos(turn))[seen]
    right = -right if flipped else right
    spots = Spots(tuple(right.tolist()), tuple(up.tolist()), tuple([100.0] * int(seen.sum())))
    file_away(archive, time_utc + timedelta(hours=late_hours), spots, **said)
    return float(north_deg)


def test_a_new_day_turns_no_day_of_weeks_ago(opened: Archive) -> None:
    """Else each evening would make, and publish, every picture of years again, turned by a hair."""
    rng = np.random.default_rng(90)
    times = [datetime(2026, 3, 2, 12, tzinfo=UTC) + timedelta(days=number) for number in range(40)]
    for time_utc in times[:-2]:
        file_spotted(opened, time_utc, rng)
    before = survey(replace(opened)).observations
    # Every day leans on what all of them taught of the camera.
    assert all({"spots", "sky"} <= {piece.kind for piece in one.orientation.evidence} for one in before)
    for time_utc in times[-2:]:
        file_spotted(opened, time_utc, rng)
        after = survey(replace(opened)).observations
        turned = [one.id for one, other in zip(before, after, strict=False) if one.orientation != other.orientation]
        # A picture bears on its own calendar week and the two beside it.
        assert turned
        assert all(one[:10] > f"{time_utc - timedelta(days=15):%Y-%m-%d}" for one in turned)
        before = after


HOUR_WRONG = "is the time right, its zone too, and was the camera as on other days?"


@pytest.mark.parametrize(
    ("odd", "mirrored", "remark"),
    [
        ({"late_hours": 2.0}, False, HOUR_WRONG),
        ({"late_hours": -1.0}, False, HOUR_WRONG),
        ({"flipped": True}, True, "only as a mirror image; is mirrored right for this picture?"),
    ],
    ids=["two hours late", "an hour early", "flipped"],
)
def test_a_picture_is_turned_by_its_spots_where_the_mount_is_wrong_about_it(
    opened: Archive, odd: dict[str, Any], mirrored: bool, remark: str
) -> None:
    """An hour or two are a wrong time zone: near noon they turn the sky's geometry by ten degrees an hour and more."""
    say_not_mirrored(opened.root)
    opened = opened.with_settings_read()
    rng = np.random.default_rng(91)
    times = [datetime(2026, 6, 1, 11, tzinfo=UTC) + timedelta(days=number) for number in range(8)]
    north_deg = [file_spotted(opened, time_utc, rng, **(odd if day == 4 else {})) for day, time_utc in enumerate(times)]
    found = survey(opened).observations
    assert [one.orientation.status for one in found] == ["solved"] * 8
    for day, one in enumerate(found):
        assert one.orientation.mirrored == (mirrored and day == 4)
        assert one.orientation.sigma_deg is not None
        off_deg = difference_deg(one.orientation.north_angle_deg, north_deg[day])
        assert abs(off_deg) < 3.0 * one.orientation.sigma_deg
        assert [text for text in one.remarks if text.endswith(remark)] == list(one.remarks)
        assert bool(one.remarks) == (day == 4)


def test_a_mirroring_that_is_stated_for_a_picture_stands_and_its_spots_are_told(opened: Archive) -> None:
    say_not_mirrored(opened.root)
    opened = opened.with_settings_read()
    rng = np.random.default_rng(92)
    times = [datetime(2026, 6, 1, 11, tzinfo=UTC) + timedelta(days=number) for number in range(8)]
    for day, time_utc in enumerate(times):
        file_spotted(opened, time_utc, rng, **({"mirrored": "yes"} if day == 4 else {}))
    found = survey(opened).observations
    told = "its spots fit those of other days only where it is not mirrored; is mirrored right for this picture?"
    assert found[4].remarks == (told,)
    # The camera angle was learned from pictures that are not mirrored: it says nothing of one that is said to be.
    assert (found[4].orientation.status, found[4].orientation.mirrored) == ("unknown", None)
