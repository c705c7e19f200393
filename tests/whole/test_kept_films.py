"""`film --list` and `film --forget`: what the settings keep."""

from pathlib import Path

import pytest
from readme.small import draw, new_archive

from archive.commands.main import main
from archive.records.archive_files import files_of
from archive.records.settings import FilmSettings, read_settings
from archive.stages.films import film_stem

KEPT = """
[[films]]
days = 7

[[films]]
style = "smooth"
rotation = 2311
shape = "wide"
credit = "Quay Observatory"
"""


@pytest.fixture
def root(tmp_path: Path) -> Path:
    folder = new_archive(tmp_path / "my-sun")
    settings = folder / "archive.toml"
    settings.write_text(settings.read_text(encoding="utf-8") + KEPT, encoding="utf-8")
    return folder


def test_films_are_listed_and_one_is_forgotten_by_its_name(root: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["film", str(root), "--list"]) == 0
    listed = capsys.readouterr().out.splitlines()
    assert listed[0] == "last-7-days: The last 7 days observed"
    assert listed[1].startswith("rotation-2311-smooth-wide-credit-")
    assert main(["film", str(root), "--forget", listed[1].partition(":")[0]]) == 0
    assert [film_stem(film) for film in read_settings(files_of(root)).films] == ["last-7-days"]
    capsys.readouterr()
    assert main(["film", str(root), "--forget", "no-such-film"]) == 1
    assert "kept are: last-7-days" in capsys.readouterr().err


@pytest.mark.parametrize("more", [["--days", "3"], ["--style", "smooth"], ["--forget", "last-7-days"]])
def test_options_of_a_film_to_be_made_are_misuse_beside_list(root: Path, more: list[str]) -> None:
    assert main(["film", str(root), "--list", *more]) == 2
    assert len(read_settings(files_of(root)).films) == 2


def test_names_of_files_are_plain_and_differ_where_films_do() -> None:
    films = [{}, {"shape": "tall"}, {"pace_s": 2.5}, {"look": "warm"}, {"caption": "none"}, {"hold_s": 2.0}]
    names = [film_stem(FilmSettings.model_validate({"days": 7, **film})) for film in films]
    assert names == [
        "last-7-days",
        "last-7-days-tall",
        "last-7-days-2.5-s-a-picture",
        "last-7-days-look-warm",
        "last-7-days-no-caption",
        "last-7-days-last-frame-held-2-s",
    ]
    one, other = (film_stem(FilmSettings(days=7, credit=words)) for words in ("Quay", "Pier"))
    assert one != other


@pytest.mark.usefixtures("without_av1")
def test_a_film_of_one_picture_says_so(root: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["add", str(root), str(draw(tmp_path / "20260608T091500Z.png", seed=1)), "--north-angle", "0"]) == 0
    out = tmp_path / "sun.gif"
    quick = ["--size", "480", "--pace", "0.2", "--shape", "tall"]
    assert main(["film", str(root), "--days", "1", *quick, "--out", str(out)]) == 0
    told = capsys.readouterr().out
    assert "it shows one picture" in told
    assert "480 x 854 px" in told
    assert out.read_bytes()[:6] == b"GIF89a"
