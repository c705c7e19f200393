"""`sun --eclipses`: the eclipses that a site sees, the caution first."""

from __future__ import annotations

import json

import pytest

from archive.commands.main import main
from archive.safety import CAUTION, ECLIPSE_CAUTION

MADRID = ["sun", "--site", "Madrid,40.4,-3.7,650"]


def test_the_list_of_a_year_tells_the_caution_first(capsys: pytest.CaptureFixture[str]) -> None:
    """2005 October 3: annular at Madrid for 4 min 11 s, magnitude 0.958 (NASA's tables; from memory)."""
    assert main([*MADRID, "--eclipses", "2005"]) == 0
    text = " ".join(capsys.readouterr().out.split())
    assert text.startswith(ECLIPSE_CAUTION[:60])
    assert text.endswith(CAUTION[-60:])
    assert "2005-10-03 annular, magnitude 0.95" in text
    assert "annular for 4 min 1" in text
    assert text.count("contact") >= 4


def test_programs_read_every_moment(capsys: pytest.CaptureFixture[str]) -> None:
    assert main([*MADRID, "--eclipses", "2026-2027", "--json"]) == 0
    answer = json.loads(capsys.readouterr().out)
    assert answer["caution"].startswith(ECLIPSE_CAUTION)
    first, second = answer["eclipses"]
    assert first["kind"] == "partial"
    assert first["second"] is None
    assert first["greatest"]["time_utc"].startswith("2026-08-12T18:3")
    assert second["greatest"]["time_utc"].startswith("2027-08-02T08:5")
    assert second["is_earth_guessed"] is True


def test_a_year_without_an_eclipse_is_told(capsys: pytest.CaptureFixture[str]) -> None:
    """London saw none in 2016 (HM Nautical Almanac Office; from memory)."""
    assert main(["sun", "--site", "London,51.5,-0.1", "--eclipses", "2016"]) == 0
    assert "  none\n" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--eclipses", "soon"], "write a year, or two such as 2026-2030"),
        (["--eclipses", "2030-2026"], "the earlier one first"),
        (["--eclipses", "1890"], "give years from 1950 to 2099"),
        (["--eclipses", "2026", "--radius", "400"], "leave out --time and --radius"),
    ],
)
def test_years_that_mean_nothing_are_misuse(options: list[str], said: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main([*MADRID, *options]) == 2
    assert said in capsys.readouterr().err
