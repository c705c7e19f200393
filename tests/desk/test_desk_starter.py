"""The icon that starts the desk, on each system, and the installed script behind it."""

from __future__ import annotations

import configparser
import json
import os
import plistlib
import re
import shlex
import subprocess
import sys
import sysconfig
import tomllib
from pathlib import Path
from urllib.parse import unquote, urlsplit

import pytest

from archive.commands.main import main
from archive.desk.starter import desk_command, write_starter

CODE = Path(__file__).parents[2]
# Signs that mean something to a shell, to a desktop entry, or to a command file.
ODD = 'my "sun" $HOME `x` 100% \\ back'


def words_of_exec(value: str) -> list[str]:
    """Read the key Exec as the Desktop Entry Specification 1.5 says: first strings' escapes, then quotes and codes."""
    text = value.replace("\\\\", "\\")
    found = re.findall(r'"((?:[^"\\]|\\.)*)"', text)
    assert " ".join(f'"{word}"' for word in found) == text
    return [re.sub(r"\\(.)", r"\1", word).replace("%%", "%") for word in found]


def test_the_entry_of_the_menu_starts_the_desk_of_that_archive(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    folder = tmp_path / ODD
    made = write_starter(folder, system="linux")
    assert made == tmp_path / "data/applications/northlimb-desk.desktop"
    entry = configparser.RawConfigParser()
    entry.optionxform = str  # type: ignore[assignment, method-assign]
    entry.read(made, encoding="utf-8")
    keys = dict(entry["Desktop Entry"])
    assert (keys["Type"], keys["Terminal"]) == ("Application", "false")
    assert Path(keys["Icon"]).read_bytes().startswith(b"<svg")
    assert words_of_exec(keys["Exec"]) == desk_command(folder)
    if sys.platform == "linux":
        assert main(["desk", "--starter", "--json"]) == 0
        assert json.loads(capsys.readouterr().out) == {"status": "done", "starter": str(made)}


def test_the_application_of_a_mac_starts_the_desk_of_that_archive(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("HOME", str(tmp_path))
    made = write_starter(tmp_path / ODD, system="darwin")
    facts = plistlib.loads((made / "Contents/Info.plist").read_bytes())
    script = made / "Contents/MacOS" / facts["CFBundleExecutable"]
    assert facts["CFBundlePackageType"] == "APPL"
    assert script.stat().st_mode & 0o111 == 0o111
    first, second = script.read_text(encoding="utf-8").splitlines()
    assert first == "#!/bin/sh"
    assert shlex.split(second) == ["exec", *desk_command(tmp_path / ODD)]


def test_the_command_file_of_windows_starts_the_desk_and_leaves(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("HOME", str(tmp_path))
    folder = tmp_path / "Sun, 100 %"
    made = write_starter(folder, system="win32")
    assert made == tmp_path / "Desktop/Northlimb.cmd"
    lines = made.read_bytes().decode().split("\r\n")
    assert lines[0] == "@echo off"
    assert lines[2].startswith('start "" "')
    assert lines[2].endswith(f'"{str(folder).replace("%", "%%")}"')


def test_a_name_that_would_end_the_line_makes_no_starter(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    assert main(["desk", str(tmp_path / "a\nExec=b"), "--starter"]) == 1
    assert "rename the folder" in capsys.readouterr().err
    assert not (tmp_path / "data").exists()


def test_the_installed_script_starts_the_desk(tmp_path: Path) -> None:
    """The script itself where it is installed, else what an installer writes for the project's entry point."""
    script = Path(sysconfig.get_path("scripts")) / "northlimb-desk"
    start = [str(script)]
    if not script.is_file():
        declared = tomllib.loads((CODE / "pyproject.toml").read_text(encoding="utf-8"))["project"]["gui-scripts"]
        module, _, function = declared["northlimb-desk"].partition(":")
        start = [sys.executable, "-c", f"import sys; from {module} import {function}; sys.exit({function}())"]
    process = subprocess.Popen(
        [*start, str(tmp_path / "new"), "--no-open"], stdout=subprocess.PIPE, text=True, cwd=CODE
    )  # fmt: skip
    assert process.stdout is not None
    told = process.stdout.readline()
    process.terminate()
    process.wait(20)
    process.stdout.close()
    assert re.search(r"http://127\.0\.0\.1:\d+/#\S+", told)


@pytest.mark.skipif(sys.platform == "win32", reason="its browser is not named by the environment")
@pytest.mark.parametrize(
    ("language", "head"),
    [("en_GB.UTF-8", "The desk did not start"), ("de_DE.UTF-8", "Der Schreibtisch ist nicht gestartet")],
)
def test_a_start_by_the_icon_that_fails_says_so_in_the_browser(tmp_path: Path, language: str, head: str) -> None:
    (tmp_path / "sun" / "archive.toml").mkdir(parents=True)
    browser = tmp_path / "browser"
    browser.write_text(f'#!/bin/sh\nprintf %s "$1" > "{tmp_path}/opened"\n', encoding="utf-8")
    browser.chmod(0o755)
    environment = {**os.environ, "BROWSER": str(browser), "LC_ALL": language, "TMPDIR": str(tmp_path)}
    words = [sys.executable, "-c", "from archive.start import run_desk; run_desk()", str(tmp_path / "sun")]
    ended = subprocess.run(
        words, env=environment, cwd=CODE, stdin=subprocess.DEVNULL, capture_output=True, timeout=60, check=False
    )
    assert ended.returncode == 1
    page = Path(unquote(urlsplit((tmp_path / "opened").read_text()).path)).read_text(encoding="utf-8")
    assert f"<h1>{head}</h1>" in page
    assert f"<li>{tmp_path}/sun/archive.toml: " in page
    assert f'lang="{language[:2]}"' in page
