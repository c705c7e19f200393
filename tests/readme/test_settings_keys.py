"""Every key of `archive.toml` about the archive, its sites and its instruments is changed and seen to take effect.

Targets are in `test_target_keys.py`, films in `test_film_keys.py`, observers and factors in `whole/test_series.py`.
"""

from __future__ import annotations

import json
import math
import tomllib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from scenes.discs import Spot

from archive.commands.main import main
from archive.records.settings import (
    FactorSettings,
    FilmSettings,
    InstrumentSettings,
    ObserverSettings,
    Settings,
    SiteSettings,
    TargetSettings,
)
from readme.small import answer_of, draw, new_archive
from readme.text import block_with, keys_of, with_value

ALL = block_with("format = 1").text
HEAD, SITES, INSTRUMENTS = ALL.partition("[[targets]]")[0].split("\n\n")[:3]
BLOCKS = {"": HEAD, "sites": SITES, "instruments": INSTRUMENTS}


def with_key(what: str, value: str) -> str:
    """The settings of the README, one key of them changed; without targets and films."""
    table, _, key = what.rpartition(".")
    return "\n\n".join(with_value(block, key, value) if name == table else block for name, block in BLOCKS.items())


AS_PRINTED = "\n\n".join(BLOCKS.values())


# Keys that pictures filed from then on show: what is written instead, where `show` tells it, before and after.
SHOWN: dict[str, tuple[str, Callable[[Any], object], object, object]] = {
    "time_zone": ('"Europe/Paris"', lambda shown: shown["time_utc"], "2026-06-03T09:15:00Z", "2026-06-03T08:15:00Z"),
    "relative_number_k": ("0.6", lambda shown: shown["counts"]["relative_number"], 11.0, 6.6),
    "sites.name": ('"Pier"', lambda shown: shown["site"], "Quay", "Pier"),
    "sites.latitude_deg": ("40.0", lambda shown: shown["sun"]["altitude_deg"] > 48.0, False, True),
    "sites.longitude_deg": ("20.0", lambda shown: shown["sun"]["azimuth_deg"] > 130.0, False, True),
    "instruments.name": ('"Shed"', lambda shown: shown["instrument"], "Doorstep", "Shed"),
    "instruments.mount": (
        '"equatorial"', lambda shown: shown["orientation"]["evidence"][0]["note"],
        "P - q + camera angle of the alt-azimuth mount", "P + camera angle of the equatorial mount",
    ),
    "instruments.mirrored": ('"yes"', lambda shown: shown["orientation"]["mirrored"], False, True),
    "instruments.camera_angle_deg": (
        "10", lambda shown: round(shown["orientation"]["north_angle_deg"], 2), 21.95, 31.95
    ),
    "instruments.band": ('"calcium-k"', lambda shown: shown["band"], "white", "calcium-k"),
}  # fmt: skip


def page(name: str, words: str) -> Callable[[Path], bool]:
    """Whether a page of the site holds these words."""
    return lambda site: words in (site / name).read_text(encoding="utf-8")


# Keys that the site shows: what is written instead, what is true of the site then, and was not before.
ON_THE_SITE: dict[str, tuple[str, Callable[[Path], bool]]] = {
    "title": ('"Sun over the hill"', page("index.html", "Sun over the hill")),
    "observer": ('"B. Wren"', page("index.html", "B. Wren")),
    "language": ('"de-AT"', page("index.html", 'lang="de-AT"')),
    "looks": (
        '["flat"]',
        lambda site: (
            not any("tint-mono" in path.read_text(encoding="utf-8") for path in site.glob("days/*/index.html"))
        ),
    ),
    "days": ('"local"', page("observatory/index.html", "A day is a day by the clock of the site")),
    "times": ('"local"', page("index.html", "09:15 UTC (10:15 BST)")),
    "fits": ('"none"', lambda site: not list(site.rglob("*-disc.fits"))),
    "address": ('"https://example.com/there/"', page("index.html", '"https://example.com/there/"')),
    "licence": ('"CC0-1.0"', page("index.html", "publicdomain/zero/1.0/")),
    "contact": ('"https://example.com/me"', page("observatory/index.html", 'href="https://example.com/me"')),
    "published_site_precision_deg": ("5.0", page("observatory/index.html", "50.0")),
    "instruments.filter": ('"Herschel wedge"', page("observatory/index.html", "Herschel wedge")),
}
ALONE = {"format", "sites.elevation_m"}  # each has a test of its own


def archive_with(settings: str, folder: Path) -> Path:
    folder.mkdir(exist_ok=True)
    root = new_archive(folder / "my-sun")
    (root / "archive.toml").write_text(settings, encoding="utf-8")
    return root


def test_the_readme_shows_every_key_of_the_settings_and_none_that_is_not_there() -> None:
    shown = tomllib.loads(ALL)
    in_comments = {
        "": {"smoothed_number"},
        "sites": {"horizon"},
        "targets": {"region", "branch"},
        "films": {"from", "to", "rotation", "eclipse"},
    }
    models = {
        "sites": SiteSettings,
        "instruments": InstrumentSettings,
        "observers": ObserverSettings,
        "factors": FactorSettings,
        "targets": TargetSettings,
        "films": FilmSettings,
    }
    assert set(shown) | in_comments[""] == set(Settings.model_fields)
    assert "# smoothed_number = " in ALL
    for table, model in models.items():
        named = {key for entry in shown[table] for key in entry} | in_comments.get(table, set())
        assert named == {field.alias or name for name, field in model.model_fields.items()}
        assert all(f"{key} = " in ALL for key in named)
    walked = {f"{table}.{key}".lstrip(".") for table, block in BLOCKS.items() for key in keys_of(block)}
    assert walked == {*SHOWN, *ON_THE_SITE, *ALONE}


def shown_with(settings: str, folder: Path, capsys: pytest.CaptureFixture[str]) -> Any:
    """What `show` tells of a picture of one spot, filed under these settings."""
    root = archive_with(settings, folder)
    picture = draw(folder / "tuesday.png", spots=(Spot(10.0, 5.0, 4.0),))
    (added,) = answer_of(capsys, "add", root, picture, "--time", "2026-06-03T10:15:00")["pictures"]
    (shown,) = answer_of(capsys, "show", root, added["id"])
    return shown


@pytest.fixture(scope="module")
def told() -> list[Any]:
    """Holds what `show` tells under the README's own settings, once a test has asked."""
    return []


@pytest.mark.parametrize("what", SHOWN)
def test_a_key_of_the_settings_takes_effect_on_pictures(
    what: str, told: list[Any], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    value, look, before, after = SHOWN[what]
    if not told:
        told.append(shown_with(AS_PRINTED, tmp_path / "printed", capsys))
    assert look(told[0]) == before
    assert look(shown_with(with_key(what, value), tmp_path / "changed", capsys)) == after


def test_the_height_of_the_site_takes_effect_on_the_sun(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    altitudes = []
    for height in ("40", "4000"):
        root = archive_with(with_key("sites.elevation_m", height), tmp_path / height)
        altitudes.append(answer_of(capsys, "sun", root, "--time", "2026-06-03T09:15Z")["altitude_deg"])
    # 3960 m across the line of sight, 46.2 deg high, at 1.014 au of 149 597 870 700 m (IAU 2012 resolution B2).
    parallax_deg = math.degrees(3960 * math.cos(math.radians(46.18)) / (1.014 * 149_597_870_700))
    assert altitudes[0] - altitudes[1] == pytest.approx(parallax_deg, rel=0.02)


def test_settings_of_a_later_format_are_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    root = archive_with(with_key("format", "2"), tmp_path)
    capsys.readouterr()
    assert main(["show", str(root), "2026-06-03", "--json"]) == 1
    assert "made by a newer northlimb" in json.loads(capsys.readouterr().out)["causes"][0]
    assert (root / "archive.toml").read_text(encoding="utf-8") == with_key("format", "2")


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("built")
    root = archive_with(AS_PRINTED, folder)
    assert main(["add", str(root), str(draw(folder / "20260603T091500Z.png"))]) == 0
    assert main(["build", str(root)]) == 0
    return root


@pytest.fixture
def built_with(built: Path) -> Iterator[Callable[[str], Path]]:
    """Build with other settings; they are put back afterwards."""

    def build(settings: str) -> Path:
        (built / "archive.toml").write_text(settings, encoding="utf-8")
        assert main(["build", str(built)]) == 0
        return built / "site"

    yield build
    (built / "archive.toml").write_text(AS_PRINTED, encoding="utf-8")


@pytest.mark.parametrize("what", sorted(ON_THE_SITE, key="looks".__eq__))
def test_a_key_of_the_settings_takes_effect_on_the_site(
    what: str, built: Path, built_with: Callable[[str], Path]
) -> None:
    value, is_so = ON_THE_SITE[what]
    assert not is_so(built / "site")
    assert is_so(built_with(with_key(what, value)))
