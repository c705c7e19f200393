"""`fits` in archive.toml: of which days the site offers the disc as FITS; all else comes out the same."""

from __future__ import annotations

import io
import shutil
from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from PIL import Image
from scenes.discs import Spot, draw_disc, quantise

from archive.commands.main import main
from archive.records.disc_files import read_disc
from archive.stages.north_up_disc import Turned, north_up_disc
from archive.stages.study import study
from archive.sun.view import sun_view
from whole.conftest import keep_one_look
from whole.film_scenes import EPOCH, lone_spots, scene_at

NEW = [
    "--title", "Sun over the quay", "--observer", "A. Teal", "--site", "Quay,52.1,-1.3", "--time-zone", "UTC",
    "--instrument", "Doorstep", "--mount", "unknown",
]  # fmt: skip
DAYS = (0, 1, 2)


def test_no_light_is_negative() -> None:
    """A cubic spline swings below 0 beside white letters and in small black umbrae: before, by 0.05 to 0.5 of white."""
    scene = replace(
        scene_at(lone_spots(0.0), EPOCH, north_angle_deg=0.0),
        spots=(Spot(5.0, 5.0, 0.6, umbra_share=1.0, umbra_level=0.0),),
        blur_px=0.0,
        noise=0.0,
    )
    levels = quantise(draw_disc(scene), 8)
    levels[-24:-12, 12:120:8] = 255
    stream = io.BytesIO()
    Image.fromarray(levels).save(stream, "PNG")
    made = study(stream.getvalue(), "drawn.png")
    disc = read_disc(north_up_disc(stream.getvalue(), "drawn.png", Turned(made.measured.disc, 20.0, False)))
    assert disc.min() == 0.0
    assert disc.max() > 0.5


@pytest.fixture(scope="module")
def filed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An archive of three days with a film of them, never built."""
    folder = tmp_path_factory.mktemp("offered")
    root = folder / "my-sun"
    world = lone_spots(sun_view(EPOCH, latitude_deg=0.0, longitude_deg=0.0).l0_deg)
    assert main(["new", str(root), *NEW]) == 0
    for day in DAYS:
        time_utc = EPOCH + timedelta(days=day)
        path = folder / f"{time_utc:%Y%m%dT%H%M%SZ}.png"
        Image.fromarray(quantise(draw_disc(scene_at(world, time_utc, north_angle_deg=0.0)), 8)).save(path)
        assert main(["add", str(root), str(path), "--north-angle", "0", "--mirrored", "no"]) == 0
    keep_one_look(root)
    settings = root / "archive.toml"
    settings.write_text(settings.read_text(encoding="utf-8") + "\n[[films]]\ndays = 3\nsize_px = 480\npace_s = 0.2\n")
    return root


@pytest.fixture(scope="module")
def of_all(filed: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    return built(filed, tmp_path_factory.mktemp("all"), '"all"')


@pytest.fixture(scope="module")
def of_none(filed: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    return built(filed, tmp_path_factory.mktemp("none"), '"none"')


def built(filed: Path, folder: Path, fits: str) -> Path:
    root = folder / "my-sun"
    shutil.copytree(filed, root)
    return built_again(root, fits)


def built_again(root: Path, fits: str) -> Path:
    settings = root / "archive.toml"
    lines = settings.read_text(encoding="utf-8").splitlines()
    told = [f"fits = {fits}" if line.startswith("fits = ") else line for line in lines]
    assert any(line.startswith("fits = ") for line in lines), "`new` writes the key"
    settings.write_text("\n".join(told) + "\n", encoding="utf-8")
    assert main(["build", str(root)]) == 0
    return root


def discs(root: Path) -> list[str]:
    return sorted(path.parent.name for path in (root / "site").rglob("*-disc.fits"))


def linked(root: Path) -> list[str]:
    pages = (root / "site" / "days").glob("*-*-*/index.html")
    return sorted(page.parent.name for page in pages if "-disc.fits" in page.read_text(encoding="utf-8"))


def others(root: Path) -> Iterator[tuple[str, bytes]]:
    """All but the discs, the pages that link to them, and the list of files."""
    for path in sorted((root / "site").rglob("*")):
        if (
            path.is_file()
            and path.suffix not in (".html",)
            and "-disc.fits" not in path.name
            and path.name != "files.json"
        ):
            yield str(path.relative_to(root)), path.read_bytes()


def kept_bytes(root: Path) -> int:
    """Of site and derived things, what two names share once."""
    found = [path.stat() for name in ("site", ".northlimb") for path in (root / name).rglob("*") if path.is_file()]
    return sum({one.st_ino: one.st_size for one in found}.values())


def disc_bytes(root: Path) -> dict[str, bytes]:
    site = root / "site"
    return {path.relative_to(site).as_posix(): path.read_bytes() for path in site.rglob("*-disc.fits")}


def derived_bytes(root: Path) -> int:
    return sum(path.stat().st_size for path in (root / ".northlimb").rglob("*") if path.is_file())


def test_the_site_offers_those_of_all_days_of_none_or_of_the_newest(filed: Path, of_all: Path, of_none: Path) -> None:
    days = [f"{EPOCH + timedelta(days=day):%Y-%m-%d}" for day in DAYS]
    assert discs(of_all) == linked(of_all) == days
    assert discs(of_none) == linked(of_none) == []


def test_maps_films_and_comparisons_do_not_depend_on_it(of_all: Path, of_none: Path) -> None:
    names = [name for name, _ in others(of_all)]
    for kind in ("turned-back.avif", "map.png", ".mp4"):
        assert any(name.endswith(kind) for name in names), kind
    assert list(others(of_all)) == list(others(of_none))


def test_discs_that_are_not_offered_take_no_space(of_all: Path, of_none: Path) -> None:
    taken = sum(path.stat().st_size for path in (of_all / "site").rglob("*-disc.fits"))
    assert kept_bytes(of_all) - kept_bytes(of_none) > 0.95 * taken


def test_a_later_change_gives_what_a_build_from_nothing_gives(of_all: Path, of_none: Path, tmp_path: Path) -> None:
    wanted = disc_bytes(of_all)
    root = tmp_path / "my-sun"
    shutil.copytree(of_none, root)
    newest = discs(built_again(root, "1"))
    assert newest == discs(of_all)[-1:] == linked(root)
    built_again(root, '"all"')
    assert disc_bytes(root) == wanted
    assert discs(built_again(root, '"none"')) == []
    assert derived_bytes(root) < derived_bytes(of_none) + 100_000


@pytest.mark.parametrize("value", ['"some"', "0", "-3", "1.5", "true"])
def test_anything_else_is_refused(filed: Path, tmp_path: Path, value: str, capsys: pytest.CaptureFixture[str]) -> None:
    root = tmp_path / "my-sun"
    shutil.copytree(filed, root)
    settings = root / "archive.toml"
    text = settings.read_text(encoding="utf-8")
    settings.write_text(text.replace('fits = "all"', f"fits = {value}"), encoding="utf-8")
    assert main(["build", str(root)]) == 1
    assert "fits = " in (told := capsys.readouterr().err)
    assert 'must be "all", "none" or a number of newest days' in told
