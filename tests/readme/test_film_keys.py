"""Every key of `[[films]]` in the README is changed and seen to take effect on the film that `build` makes."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from scenes.discs import Spot

from archive.cli import main
from readme.small import draw, new_archive
from readme.text import block_with, keys_of

FILMS = "[[films]]" + block_with("format = 1").text.partition("[[films]]")[2]
SPOTS = (Spot(10.0, 5.0, 4.0),)
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
    "from": (DAILY, {"days": None, "from": "2026-06-03", "to": "2026-06-03"}, Made.shown),
    "to": (DAILY, {"days": None, "from": "2026-06-02", "to": "2026-06-02"}, Made.shown),
    "rotation": (DAILY, {"days": None, "rotation": 2312}, Made.shown),
    "all_pictures": (DAILY, {"all_pictures": True}, Made.shown),
    "pace_s": (DAILY, {"pace_s": 0.4}, length),
    "reach_days": (SMOOTH, {"reach_days": 0.5}, lambda made: [one["kind"] for one in made.frames["frames"]]),
    "size_px": (DAILY, {"size_px": 512}, lambda made: made.frames["width_px"]),
    "look": (DAILY, {"look": "mono"}, poster),
    "caption": (DAILY, {"caption": "date"}, poster),
    "grid": (DAILY, {"grid": True}, poster),
    "axis": (DAILY, {"axis": True}, poster),
    "group_names": (DAILY, {"group_names": True}, poster),
    "view": (DISC, {"view": "map"}, poster),
    "longitude_deg": (DISC, {"longitude_deg": 30.0}, poster),
}


def table(values: Mapping[str, object]) -> str:
    def written(value: object) -> str:
        return str(value) if str(value)[:5] == "2026-" else json.dumps(value)

    return "[[films]]\n" + "".join(f"{key} = {written(value)}\n" for key, value in values.items() if value is not None)


def key_of(values: Mapping[str, object]) -> tuple[tuple[str, str], ...]:
    return tuple(sorted((key, str(value)) for key, value in values.items() if value is not None))


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> dict[tuple[tuple[str, str], ...], Made]:
    """All films that the tests ask for, made by one `build`; by their settings."""
    folder = tmp_path_factory.mktemp("films")
    root = new_archive(folder / "my-sun")
    for number, stamp in enumerate(("20260602T091500Z", "20260603T091500Z", "20260603T101500Z")):
        assert main(["add", str(root), str(draw(folder / f"{stamp}.png", seed=number, spots=SPOTS))]) == 0
    wanted = {key_of(one): one for base, change, _ in CHANGES.values() for one in (base, {**base, **change})}
    settings = root / "archive.toml"
    settings.write_text(settings.read_text(encoding="utf-8") + "\n".join(map(table, wanted.values())), encoding="utf-8")
    assert main(["build", str(root)]) == 0
    ...
    return {}
