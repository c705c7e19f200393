"""A wrong north put right: the spots of the picture are the same, and so are their groups' names."""

from __future__ import annotations

import json
import re
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from scenes.discs import Scene, Spot

from archive.commands.main import main

from .conftest import draw, new_archive

Answer = Callable[..., tuple[int, Any]]
SPOTS = (Spot(18.0, 20.0, 2.5), Spot(-12.0, -35.0, 2.0), Spot(25.0, -30.0, 2.2), Spot(-20.0, 48.0, 2.4))
RECORD = "2026/2026-06-03/0915Z.toml"


def state(folder: Path, north_angle_deg: float, mirrored: str) -> None:
    record = folder / RECORD
    text = re.sub(r"north_angle_deg = \S+", f"north_angle_deg = {north_angle_deg}", record.read_text(encoding="utf-8"))
    record.write_text(re.sub(r'mirrored = "\w+"', f'mirrored = "{mirrored}"', text), encoding="utf-8")
    assert main(["build", str(folder)]) == 0


def places(folder: Path, answer: Answer) -> dict[str, tuple[float, float]]:
    """The place in the picture of each group's first spot, which does not turn with north."""
    shown = answer("show", folder, "2026-06-03")[1][0]
    return {
        shown["groups"][spot["group"]]["name"]: (round(spot["x_px"]), round(spot["y_px"])) for spot in shown["spots"]
    }


@pytest.fixture(scope="module", params=[SPOTS[:1], SPOTS[:2], SPOTS], ids=["one", "two", "four"])
def built(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, tuple[Spot, ...]]:
    """An archive of a picture whose north is wrong, and its spots; not to be changed."""
    folder = tmp_path_factory.mktemp("turned")
    root = new_archive(folder / "my-sun")
    picture = draw(folder / "20260603T091500Z.png", Scene(spots=request.param))
    assert main(["add", str(root), str(picture), "--north-angle", "140", "--mirrored", "no"]) == 0
    assert main(["build", str(root)]) == 0
    return root, request.param


@pytest.mark.parametrize("mirrored", ["no", "yes"])
def test_names_stay_with_their_spots(
    built: tuple[Path, tuple[Spot, ...]], tmp_path: Path, answer: Answer, mirrored: str
) -> None:
    root, spots = built
    archive_folder = Path(shutil.copytree(root, tmp_path / "my-sun"))
    wrong = places(archive_folder, answer)
    assert len(wrong) == len(spots)
    names = (archive_folder / "group-names.toml").read_bytes()
    state(archive_folder, -25.0, mirrored)
    assert places(archive_folder, answer) == wrong
    assert (archive_folder / "group-names.toml").read_bytes() == names
    pages = json.loads((archive_folder / "site/data/groups.json").read_text(encoding="utf-8"))
    assert sorted(one["name"] for one in pages) == sorted(wrong)


def test_a_group_that_was_dust_gives_its_name_to_no_other(archive_folder: Path, tmp_path: Path, answer: Answer) -> None:
    """Names are given to spots, not to whatever happens to be as far from the centre."""
    picture = draw(tmp_path / "20260603T091500Z.png", Scene(spots=SPOTS))
    assert main(["add", str(archive_folder), str(picture), "--north-angle", "0", "--mirrored", "no"]) == 0
    assert main(["build", str(archive_folder)]) == 0
    before = places(archive_folder, answer)
    name, (x_px, y_px) = next(iter(before.items()))
    record = archive_folder / RECORD
    dust = f"\n[[dust]]\nx_px = {x_px}.0\ny_px = {y_px}.0\nradius_px = 8.0\n"
    record.write_text(record.read_text(encoding="utf-8") + dust, encoding="utf-8")
    assert main(["build", str(archive_folder)]) == 0
    after = places(archive_folder, answer)
    assert after == {one: place for one, place in before.items() if one != name}
