"""What README and the help say is what the program does."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import click
import pytest
from PIL import Image
from scenes.discs import Scene, draw_disc, quantise

from archive.cli import main, northlimb
from archive.records.record import Sidecar
from archive.records.settings import Settings
from archive.records.toml_files import parse_toml
from archive.safety import CAUTION

README = (Path(__file__).parents[1] / "README.md").read_text(encoding="utf-8")
COMMANDS = sorted(northlimb.commands)


def blocks(language: str) -> list[str]:
    return re.findall(rf"^```{language}\n(.*?)^```", README, flags=re.MULTILINE | re.DOTALL)


def test_quick_start_blocks_hold_one_command_each() -> None:
    first, second = blocks("sh")[:2]
    assert len(first.splitlines()) == len(second.splitlines()) == 1
    assert "sample_archive" in first
    assert second.strip().endswith("pytest")


def test_commands_of_the_readme_do_what_they_say(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    scene = Scene(north_angle_deg=20.0)
    Image.fromarray(quantise(draw_disc(scene), 8)).save("20260603T091500Z.png")
    lines = blocks("sh")[2].splitlines()
    assert len(lines) > 5
    for line in lines:
        words = shlex.split(line)
        assert words[0] == "northlimb"
        assert main(words[1:]) == 0, line
    assert (tmp_path / "public-html" / "days" / "2026-06-03" / "index.html").is_file()


def test_settings_and_note_of_the_readme_are_accepted() -> None:
    layout = [block for block in blocks("toml") if "[[sites]]" in block]
    note = [block for block in blocks("toml") if "[[sites]]" not in block]
    assert parse_toml(layout[0], Settings, name="README").title == "Sun over the quay"
    assert parse_toml(note[0], Sidecar, name="README").frames_stacked == 200
    named = set(re.findall(r"^(\w+) =", note[0], flags=re.MULTILINE))
    assert set(Sidecar.model_fields) - named == {"time", "end"}


def test_caution_of_the_readme_is_the_one_of_the_program() -> None:
    quoted = " ".join(line.removeprefix(">").strip() for line in README.splitlines() if line.startswith(">"))
    assert CAUTION in quoted.replace("**Caution.** ", "")


@pytest.mark.parametrize("name", COMMANDS)
def test_command_is_documented_with_help_and_one_real_example(name: str) -> None:
    command = northlimb.commands[name]
    assert f"northlimb {name}" in README
    assert command.help
    assert command.epilog
    words = shlex.split(command.epilog.removeprefix("Example: "))
    assert words[:2] == ["northlimb", name]
    options = [part for part in command.params if isinstance(part, click.Option)]
    assert all(option.help for option in options)
    assert any("--json" in option.opts for option in options)
    known = {opt for option in options for opt in option.opts}
    assert {word for word in words if word.startswith("--")} <= known


def test_example_of_sun_gives_the_table_value(capsys: pytest.CaptureFixture[str]) -> None:
    """P +18.122, B0 +1.613, L0 282.450 at 2026-11-25 12:00: two independent ephemeris libraries agree on it."""
    assert main(["sun", "--site", "Quay,52.1,-1.3", "--time", "2026-11-25T12:00Z"]) == 0
    out = capsys.readouterr().out
    assert "+18.12 deg" in out
    assert "+1.61 deg" in out
    assert "282.45 deg" in out
    assert "blinds" in out
