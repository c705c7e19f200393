"""Caution, help and examples of the commands; the README itself is walked in `tests/readme/`."""

from __future__ import annotations

import shlex
from pathlib import Path

import click
import pytest

from archive.commands.group import SHORT_HELPS, load_command
from archive.commands.main import main
from archive.safety import CAUTION

README = (Path(__file__).parents[1] / "README.md").read_text(encoding="utf-8")


def test_caution_of_the_readme_is_the_one_of_the_program() -> None:
    quoted = " ".join(line.removeprefix(">").strip() for line in README.splitlines() if line.startswith(">"))
    assert CAUTION in quoted.replace("**Caution.** ", "")


@pytest.mark.parametrize("name", SHORT_HELPS)
def test_command_is_documented_with_help_and_one_real_example(name: str) -> None:
    command = load_command(name)
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
