"""A site without a horizon: pictures from space, at any hour, by no mount on the ground."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from archive.commands.main import main

from .conftest import draw

Answer = Callable[..., tuple[int, Any]]
SKY = ("altitude_deg", "azimuth_deg", "parallactic_angle_deg")


@pytest.fixture
def in_space(archive_folder: Path) -> Path:
    """The site's place taken out of its settings, and its horizon denied."""
    settings = archive_folder / "archive.toml"
    text = settings.read_text(encoding="utf-8")
    text = re.sub(r"(?m)^(latitude_deg|longitude_deg|elevation_m) = .*\n", "", text)
    settings.write_text(re.sub(r'(?m)^(name = "Quay".*)$', r'\1\nhorizon = "none"', text), encoding="utf-8")
    return archive_folder


def test_the_sun_is_up_at_any_hour_and_nothing_is_told_of_a_sky(
    in_space: Path, tmp_path: Path, answer: Answer, capsys: pytest.CaptureFixture[str]
) -> None:
    """Half past midnight of summer time at the quay, where the same picture is told to be of the night."""
    status, added = answer("add", in_space, draw(tmp_path / "20260603T233000Z.png"), "--north-angle", "0")
    assert status == 0
    assert added["pictures"][0]["warnings"] == []
    assert main(["build", str(in_space)]) == 0
    (shown,) = answer("show", in_space, "2026-06-03")[1]
    assert shown["counts"]["groups"] == 2
    assert shown["not_counted"] is None
    assert [shown["sun"][name] for name in SKY] == [None] * 3
    (told,) = json.loads((in_space / "site/data/observations.json").read_text())
    assert [told["sun"][name] for name in SKY] == [None] * 3
    assert told["sun"]["b0_deg"] is not None
    page = (in_space / "site/days/2026-06-03/index.html").read_text()
    assert "Semidiameter" in page
    assert not re.search("Altitude|Azimuth|Parallactic|zenith|horizon", page)
    assert "in space" in (in_space / "site/observatory/index.html").read_text()
    capsys.readouterr()
    assert main(["show", str(in_space), "2026-06-03"]) == 0
    assert "seen from space" in capsys.readouterr().out
    assert main(["sun", str(in_space)]) == 0
    assert "altitude" not in capsys.readouterr().out


def test_show_says_why_a_picture_is_not_counted(
    archive_folder: Path, tmp_path: Path, answer: Answer, capsys: pytest.CaptureFixture[str]
) -> None:
    """As the day's page says it: here of a night at the quay."""
    answer("add", archive_folder, draw(tmp_path / "20260603T233000Z.png"))
    (shown,) = answer("show", archive_folder, "2026-06-03")[1]
    assert re.fullmatch(r"the Sun was 1\d deg below the horizon at this time and site: .*", shown["not_counted"])
    assert main(["show", str(archive_folder), "2026-06-03"]) == 0
    assert f"not counted: {shown['not_counted']}\n" in capsys.readouterr().out
    assert main(["build", str(archive_folder)]) == 0
    said = shown["not_counted"].replace(" deg", "°").removeprefix("the ")
    assert said in (archive_folder / "site/days/2026-06-03/index.html").read_text()
