"""Every key of `[[films]]` in the README is changed and seen to take effect on the film that `build` makes."""

from __future__ import annotations

import dataclasses
import json
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import pytest
from scenes.discs import Spot

from archive.commands.main import main
from archive.films.job import FilmOptions
from archive.films.production import PACE_S
from archive.records.archive_files import files_of
from archive.records.settings import read_settings
from archive.stages.films import film_stem
from readme.small import draw, new_archive
from readme.text import block_with, keys_of

FILMS = "[[films]]" + block_with("format = 1").text.partition("[[films]]")[2]
SPOTS = (Spot(10.0, 5.0, 4.0),)
# The first in Carrington rotation 2311, the others in 2312.
STAMPS = ("20260608T091500Z", "20260609T091500Z", "20260609T101500Z")
# As short and small as a film may be, of each style; the README's own takes minutes where there are many pictures.
SHORT = {"pace_s": 0.2, "size_px": 480}
DAILY = {"style": "daily", "days": 2, **SHORT}
SMOOTH = {**DAILY, "style": "smooth"}
DISC = {**DAILY, "style": "corotating", "view": "disc"}


@dataclass(frozen=True)
class Made:
    """A film's list of frames and the bytes of its poster."""

    frames: Any
    poster: bytes

    def shown(self) -> list[str]:
        """The observations that it shows, in order."""
        return sorted({name for frame in self.frames["frames"] for name in frame["observations"]})


def poster(made: Made) -> object:
    return made.poster


def length(made: Made) -> object:
    return len(made.frames["frames"])


# Each key: the film as it would be, what is changed, and where it shows.
CHANGES: dict[str, tuple[Mapping[str, object], Mapping[str, object], Callable[[Made], object]]] = {
    "style": (DAILY, {"style": "smooth"}, lambda made: made.frames["style"]),
    "days": (DAILY, {"days": 1}, Made.shown),
    "from": (DAILY, {"days": None, "from": "2026-06-09", "to": "2026-06-09"}, Made.shown),
    "to": (DAILY, {"days": None, "from": "2026-06-08", "to": "2026-06-08"}, Made.shown),
    "rotation": (DAILY, {"days": None, "rotation": 2312}, Made.shown),
    "band": (DAILY, {"band": "h-alpha"}, Made.shown),
    "all_pictures": (DAILY, {"all_pictures": True}, Made.shown),
    "pace_s": (DAILY, {"pace_s": 0.4}, length),
    "reach_days": (SMOOTH, {"reach_days": 0.3}, lambda made: [one["observations"] for one in made.frames["frames"]]),
    "size_px": (DAILY, {"size_px": 512}, lambda made: made.frames["width_px"]),
    "look": (DAILY, {"look": "mono"}, poster),
    "caption": (DAILY, {"caption": "date"}, poster),
    "shape": (DAILY, {"shape": "wide"}, lambda made: made.frames["width_px"]),
    "clock": (DAILY, {"clock": "local"}, poster),
    "credit": (DAILY, {"credit": "B. Wren"}, poster),
    "marks": (DAILY, {"marks": True}, poster),
    "earth": (DAILY, {"earth": True}, poster),
    "title_card": (DAILY, {"title_card": True}, length),
    "hold_s": (DAILY, {"hold_s": 1.0}, length),
    "grid": (DAILY, {"grid": True}, poster),
    "axis": (DAILY, {"axis": True}, poster),
    "group_names": (DAILY, {"group_names": True}, poster),
    "view": (DISC, {"view": "map"}, poster),
    "longitude_deg": (DISC, {"longitude_deg": 30.0}, poster),
}


# What no picture of these days shows: tests/whole/test_eclipse_day.py.
ELSEWHERE = {"eclipse"}


def table(values: Mapping[str, object]) -> str:
    def written(value: object) -> str:
        return str(value) if str(value)[:5] == "2026-" else json.dumps(value)

    return "[[films]]\n" + "".join(f"{key} = {written(value)}\n" for key, value in values.items() if value is not None)


def both(key: str) -> tuple[str, str]:
    """The film before and after the change of a key."""
    base, change, _ = CHANGES[key]
    return table(base), table({**base, **change})


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Made]:
    """All films that the tests ask for, made by one `build` of two days and three pictures; by their tables."""
    folder = tmp_path_factory.mktemp("films")
    root = new_archive(folder / "my-sun")
    for number, stamp in enumerate(STAMPS):
        assert main(["add", str(root), str(draw(folder / f"{stamp}.png", seed=number, spots=SPOTS))]) == 0
    (folder / "20260609T111500Z.toml").write_text('band = "h-alpha"\n', encoding="utf-8")
    assert main(["add", str(root), str(draw(folder / "20260609T111500Z.png", seed=9)), "--north-angle", "0"]) == 0
    tables = sorted({one for key in CHANGES for one in both(key)})
    path = root / "archive.toml"
    path.write_text("\n".join([path.read_text(encoding="utf-8"), *tables]), encoding="utf-8")
    assert main(["build", str(root)]) == 0
    films = root / "site" / "films"
    stems = [film_stem(film) for film in read_settings(files_of(root)).films]
    return {
        one: Made(
            json.loads((films / f"{stem}.json").read_text(encoding="utf-8")), (films / f"{stem}.jpg").read_bytes()
        )
        for one, stem in zip(tables, stems, strict=True)
    }


def test_every_key_of_a_film_is_walked_here() -> None:
    in_comments = {"from", "to", "rotation", *ELSEWHERE}
    assert all(f"or {key} = " in FILMS or f"and {key} = " in FILMS for key in in_comments)
    assert {*keys_of(FILMS), *in_comments} == {*CHANGES, *ELSEWHERE}


@pytest.mark.parametrize("key", CHANGES)
def test_a_key_of_a_film_takes_effect(key: str, made: dict[str, Made]) -> None:
    before, after = (made[one] for one in both(key))
    look = CHANGES[key][2]
    assert look(before) != look(after)


def test_defaults_in_the_comments_are_those_of_films_without_the_key(made: dict[str, Made]) -> None:
    printed = tomllib.loads(FILMS)["films"][0]
    for key, value in dataclasses.asdict(FilmOptions()).items():
        if value is not None:
            assert printed[key] == value, key
    assert "else 2) or a picture (else 1)" in FILMS
    assert (PACE_S["smooth"], PACE_S["daily"], PACE_S["corotating"]) == (2.0, 1.0, 1.0)
