"""The list of commands is a table, and a command's module is loaded only when the command is asked for."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

import archive.commands
from archive.commands.group import SHORT_HELPS, load_command, northlimb
from archive.commands.main import main

HEAVY = {"numpy", "scipy", "astropy", "erfa", "PIL", "pydantic", "jinja2", "tomlkit", "tifffile", "msgspec", "httpx",
         "starlette", "uvicorn"}  # fmt: skip
# Modules of the room that are no command.
SHARED = {
    "__init__",
    "eclipse_list",
    "failure",
    "group",
    "main",
    "options",
    "permission",
    "printing",
    "streams",
    "values",
}


def loaded_by(*words: str) -> set[str]:
    """All modules that a process of its own has loaded once the command with these words has ended."""
    code = (
        "import sys; from archive.start import run; import atexit; atexit.register(lambda: print(*sys.modules)); run()"
    )
    done = subprocess.run([sys.executable, "-c", code, *words], check=True, capture_output=True, text=True)
    return set(done.stdout.splitlines()[-1].split())


def test_every_command_is_in_the_table_and_has_a_module_named_like_it() -> None:
    modules = {path.stem for path in Path(archive.commands.__file__).parent.glob("*.py")}
    assert modules - SHARED == set(SHORT_HELPS) == set(northlimb.commands)


@pytest.mark.parametrize("name", SHORT_HELPS)
def test_short_help_of_the_table_is_the_commands_own(name: str) -> None:
    command = load_command(name)
    assert (command.name, command.short_help) == (name, SHORT_HELPS[name])


@pytest.mark.parametrize("name", SHORT_HELPS)
def test_a_command_takes_its_name_and_words_through_the_table(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main([name, "-h"]) == 0
    said = capsys.readouterr().out
    assert said.startswith(f"Usage: northlimb {name} [OPTIONS]")
    assert f"Example: northlimb {name} " in " ".join(said.split())


def test_the_list_of_commands_loads_no_command() -> None:
    own = {name for name in loaded_by("--help") if name.split(".")[0] == "archive"}
    assert own == {"archive", "archive.start", "archive.commands", "archive.commands.main", "archive.commands.group"}


@pytest.mark.parametrize("name", SHORT_HELPS)
def test_help_of_a_command_loads_nothing_heavy(name: str) -> None:
    loaded = loaded_by(name, "--help")
    assert f"archive.commands.{name}" in loaded
    assert not loaded & HEAVY
