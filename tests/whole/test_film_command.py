"""`film` with its styles and options, from the command line to the files; one archive of drawn pictures."""

from __future__ import annotations

import json
import re
import shutil
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from pathlib import Path
from typing import Any

import imageio_ffmpeg
import numpy as np
import pytest
from derived import blob_of, rows
from PIL import Image
from scenes.discs import Scene

from archive.commands.main import main
from archive.films.annotations import disc_annotations
from archive.films.job import FilmJob, FilmOptions, view_geometry
from archive.films.production import film_of
from archive.model.group import NamedPosition
from whole.conftest import SPOTS, draw, new_archive

AV1 = True  # see `conftest.py`
Answer = Callable[..., tuple[int, Any]]
TIMES = ["20260601T091500Z", "20260602T091500Z", "20260602T151500Z", "20260612T091500Z"]
SPAN = ("--from", "2026-06-01", "--to", "2026-06-12")
QUICK = ("--size", "480", "--pace", "0.2")


@pytest.fixture(scope="module")
def filed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three days in an archive, ten of them without a picture; north stated."""
    folder = tmp_path_factory.mktemp("filed")
    new_archive(folder / "my-sun")
    for number, time in enumerate(TIMES):
        # The afternoon's picture is the less sharp one of its day.
        draw(folder / f"{time}.png", Scene(spots=SPOTS, blur_px=1.2 + number % 3, seed=number))
        picture = str(folder / f"{time}.png")
        assert main(["add", str(folder / "my-sun"), picture, "--north-angle", "0", "--mirrored", "no"]) == 0
    assert main(["build", str(folder / "my-sun")]) == 0  # discs are made once for all tests
    return folder / "my-sun"


@pytest.fixture
def folder(filed: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(filed, tmp_path / "my-sun"))


@pytest.fixture(scope="module")
def filmed(filed: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """That archive with a film of one day."""
    root = Path(shutil.copytree(filed, tmp_path_factory.mktemp("filmed") / "my-sun"))
    assert main(["film", str(root), "--days", "1", *QUICK]) == 0
    return root


def names(told: Any) -> set[str]:
    return {name for frame in told["frames"] for name in frame["observations"]}


def test_a_smooth_film_is_kept_with_its_options_and_shown(folder: Path, answer: Answer) -> None:
    status, told = answer("film", folder, "--days", "2", "--style", "smooth", *QUICK, "--grid")
    assert status == 0
    assert (told["style"], told["width_px"]) == ("smooth", 480)
    kept = (folder / "archive.toml").read_text().split("[[films]]")[1]
    assert set(kept.split("\n")) >= {'style = "smooth"', "days = 2", "size_px = 480", "pace_s = 0.2", "grid = true"}
    (film,) = (folder / "site" / "films").glob("last-2-days-smooth-0.2-s-a-day-480-px-grid.mp4")
    frames, _ = imageio_ffmpeg.count_frames_and_secs(str(film))
    assert frames == len(told["frames"]) == 51  # ten days at five frames
    assert film.with_name(f"{film.stem}-av1.mp4").is_file()
    assert f"{film.stem}-av1.mp4" in (folder / "site" / "films" / "index.html").read_text()


@pytest.mark.usefixtures("without_av1")
def test_a_span_without_pictures_in_reach_is_blank_and_told(folder: Path, tmp_path: Path, answer: Answer) -> None:
    _, told = answer("film", folder, *SPAN, "--style", "smooth", *QUICK, "--out", tmp_path / "gap.mp4")
    assert told["film"]["warnings"] == ["gap.mp4: 21 of 56 frames are blank: no picture within reach (--reach)"]
    _, told = answer("film", folder, *SPAN, "--style", "smooth", *QUICK, "--reach", "6", "--out", tmp_path / "gap.mp4")
    assert told["film"]["warnings"] == []


@pytest.mark.usefixtures("without_av1")
def test_a_span_is_as_long_as_its_pictures_and_one_of_a_century_is_refused(
    folder: Path, tmp_path: Path, answer: Answer
) -> None:
    centuries = ("--from", "1900-01-01", "--to", "2099-12-31", "--style", "smooth", *QUICK)
    _, told = answer("film", folder, *centuries, "--out", tmp_path / "all.mp4")
    assert len(told["frames"]) == 56  # eleven days at five frames: what lies beyond the pictures is not shown
    assert answer("amend", folder, "2026-06-01T0915Z", "--time", "1900-01-02T09:15:00Z")[0] == 0
    before = (folder / "archive.toml").read_bytes()
    for out in ((), ("--out", tmp_path / "century.mp4")):
        status, told = answer("film", folder, *centuries, *out)
        assert (status, told["status"], len(told["causes"])) == (1, "refused", 1)
        assert re.match(
            r"film: 230\d\d\d frames from 1900-01-02 to 2026-06-12 \(5 a day\), but the limit is 100000",
            told["causes"][0],
        )
    assert (folder / "archive.toml").read_bytes() == before
    assert not (tmp_path / "century.mp4").exists()


@pytest.mark.usefixtures("without_av1")
def test_the_sharpest_of_a_day_unless_all_are_asked_for(folder: Path, tmp_path: Path, answer: Answer) -> None:
    out = tmp_path / "film.mp4"
    _, told = answer("film", folder, *SPAN, *QUICK, "--out", out)
    assert names(told) == {"2026-06-01T0915Z", "2026-06-02T0915Z", "2026-06-12T0915Z"}
    _, told = answer("film", folder, *SPAN, *QUICK, "--all-pictures", "--out", out)
    assert len(names(told)) == 4
    listed = json.loads(out.with_suffix(".json").read_text())
    assert {key: told[key] for key in listed} == listed


@pytest.mark.usefixtures("without_av1")
def test_a_film_is_made_anew_only_when_something_changed(folder: Path, answer: Answer) -> None:
    words = ("film", folder, "--days", "2", "--style", "corotating", *QUICK)
    answer(*words)
    made = rows(folder, film_of)
    assert len(made) == 1
    answer(*words)
    assert rows(folder, film_of) == made
    record = folder / "2026" / "2026-06-12" / "0915Z.toml"
    record.write_text(record.read_text().replace("north_angle_deg = 0", "north_angle_deg = 30"))
    answer("film", folder, "--days", "2", "--style", "corotating", *QUICK, "--grid")  # the site's other film follows
    assert len(remade := rows(folder, film_of)) == 2
    assert not made.items() & remade.items()
    assert len(list((folder / "site" / "films").glob("*.json"))) == 2


@pytest.mark.parametrize(
    ("damage", "ending"),
    [*(("gone", ending) for ending in (".mp4", "-av1.mp4", "-loop.mp4", ".jpg", ".json")), ("damaged", ".mp4")],
)
def test_a_film_that_lost_a_file_is_made_anew(
    filmed: Path, tmp_path: Path, answer: Answer, ending: str, damage: str
) -> None:
    """Also where the site has lost it: there it is a second name of the same file."""
    folder = Path(shutil.copytree(filmed, tmp_path / "my-sun"))
    before = {path.name: path.read_bytes() for path in (folder / "site" / "films").iterdir()}
    (shown,) = (folder / "site" / "films").glob(f"last-1-days-0.2-s-a-picture-480-px{ending}")
    lost = blob_of(folder, sha256(shown.read_bytes()).hexdigest())
    shown.unlink()
    shown.hardlink_to(lost)  # as the build leaves it, and a copy does not
    if damage == "damaged":
        lost.write_bytes(b"\xff" * 40)
    else:
        lost.unlink()
        shown.unlink()
    assert answer("build", folder)[0] == 0
    assert {path.name: path.read_bytes() for path in (folder / "site" / "films").iterdir()} == before
    assert lost.read_bytes() == before[shown.name]


@pytest.mark.usefixtures("without_av1")
def test_a_map_says_where_its_longitudes_lie(folder: Path, tmp_path: Path, answer: Answer) -> None:
    words = ("film", folder, *SPAN, *QUICK, "--style", "corotating", "--longitude", "210", "--out", tmp_path / "m.mp4")
    status, told = answer(*words)
    assert status == 0
    assert told["disc"] is None
    assert told["map"]["longitude_deg"] == 210


@pytest.mark.parametrize(
    "words",
    [("--pace", "0"), ("--reach", "11"), ("--size", "100"), ("--style", "rough"), ("--longitude", "400")],
)
def test_what_cannot_be_is_misuse(filed: Path, words: tuple[str, ...]) -> None:
    assert main(["film", str(filed), *words]) == 2


@pytest.mark.parametrize(
    ("words", "line"),
    [
        (("--reach", "2"), "--reach is of --style smooth, not of daily; leave it out"),
        (("--reach", "2", "--style", "corotating"), "--reach is of --style smooth, not of corotating; leave it out"),
        (("--view", "disc"), "--view is of --style corotating, not of daily; leave it out"),
        (
            ("--longitude", "0", "--style", "smooth"),
            "--longitude is of --style corotating, not of smooth; leave it out",
        ),
        (("--axis", "--style", "corotating"), "--axis needs a disc: give --view disc with it, or leave it out"),
        (("--from", "2026-06-11"), "give both --from and --to"),
    ],
)
def test_an_option_that_would_be_passed_over_is_misuse(
    filed: Path, capsys: pytest.CaptureFixture[str], words: tuple[str, ...], line: str
) -> None:
    before = (filed / "archive.toml").read_bytes()
    assert main(["film", str(filed), *words]) == 2
    assert capsys.readouterr().err.splitlines()[-1] == f"Error: {line}"
    assert (filed / "archive.toml").read_bytes() == before


@pytest.mark.usefixtures("without_av1")
def test_an_interrupted_film_leaves_the_old_one(
    folder: Path, tmp_path: Path, answer: Answer, monkeypatch: pytest.MonkeyPatch
) -> None:
    span = ("--from", "2026-06-01", "--to", "2026-06-02")
    words = ("film", folder, *span, *QUICK, "--style", "smooth", "--out", tmp_path / "film.mp4")
    answer(*words)
    before = {path: path.read_bytes() for path in tmp_path.glob("film*")}
    from archive.disc import painted

    def stopped(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(painted, "derotated_box", stopped)
    assert main([*map(str, words)]) == 130
    assert {path: path.read_bytes() for path in tmp_path.glob("*film*")} == before


@pytest.mark.usefixtures("without_av1")
def test_names_are_written_beside_groups_while_they_live(folder: Path, tmp_path: Path, answer: Answer) -> None:
    """The two films differ where a name stands: near a group on its own day, nowhere on a day without that group."""
    pictures = {}
    for wanted in ((), ("--group-names",)):
        out = tmp_path / f"film{len(wanted)}.mp4"
        assert answer("film", folder, "--days", "3", *QUICK, *wanted, "--out", out)[0] == 0
        with Image.open(out.with_suffix(".jpg")) as poster:
            pictures[wanted] = np.asarray(poster.convert("L"), dtype=float)
    assert json.loads((folder / "site" / "data" / "groups.json").read_text())
    changed = np.abs(pictures[("--group-names",)] - pictures[()]) > 60
    lines, columns = np.nonzero(changed)
    assert 20 < len(lines) < 0.05 * changed.size
    assert np.hypot(lines - 240, columns - 240).max() < 240


@pytest.mark.parametrize("moment", ["before", "after"])
def test_a_name_does_not_outlive_its_group(moment: str) -> None:
    seen = datetime(2026, 6, 1, 9, 15, tzinfo=UTC)
    options = FilmOptions(group_names=True)
    job = FilmJob((), {}, "natural", options, (NamedPosition("2311-4", seen, 10.0, view_geometry(seen).l0_deg),))
    far = timedelta(days=-1 if moment == "before" else 1)
    assert [label.text for label in disc_annotations(job)(seen).labels] == ["2311-4"]
    assert disc_annotations(job)(seen + far).labels == ()
