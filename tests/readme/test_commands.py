"""Every command that a reader would type is run as printed, in a folder where the names that it uses exist.

Names in capitals are given a value, and paths of other disks lie in a temporary folder; what needs another program or
host is tied to the test that has it.
"""

from __future__ import annotations

import contextlib
import re
import shlex
import shutil
import subprocess
import tomllib
from collections.abc import Iterator
from pathlib import Path

import click
import pytest
from PIL import Image
from scenes.discs import Spot

from archive.commands.group import SHORT_HELPS, load_command
from archive.commands.main import main
from readme.elsewhere import must_exist
from readme.small import NEW, draw
from readme.text import README, block_with, blocks, inline_code, paragraph_with

MY_SUN = block_with("northlimb new my-sun")
# What a block is, by its first words, and who looks at it.
WALKED = {
    "python3 -m venv .venv && .venv/bin/python -m pip install --quiet . ": "run by the continuous integration",
    "python3 -m venv .venv && .venv/bin/python -m pip install --quiet --u": "run by the continuous integration",
    "northlimb new my-sun": "here",
    "northlimb verify my-sun --against": "here",
    "northlimb trust my-sun --show": "here",
    "start = ": "tests/readme/test_note_keys.py::test_a_key_of_the_note_takes_effect",
    "[counts]": "tests/readme/test_record_keys.py::test_a_key_of_the_record_takes_effect",
    "{% extends": "tests/readme/test_commands.py::test_the_theme_of_the_readme_adds_a_line_to_every_page",
    "dask scheduler": "tests/whole/test_executor.py::test_the_site_is_the_same_to_the_byte_whoever_did_the_work",
    "my-sun/": "tests/readme/test_commands.py::test_the_layout_is_what_an_archive_holds",
    "format = 1": "tests/readme/test_settings_keys.py::test_a_key_of_the_settings_takes_effect_on_the_site",
}


def test_every_block_is_walked() -> None:
    found = [next((start for start in WALKED if block.text.startswith(start)), block.text) for block in blocks()]
    assert sorted(found) == sorted(WALKED)
    for where in WALKED.values():
        if where.startswith("tests/"):
            must_exist(where)


def test_quick_start_blocks_hold_one_command_each() -> None:
    first, second = blocks("sh")[:2]
    assert len(first.lines) == len(second.lines) == 1
    assert first.text.count("northlimb ") == 2
    assert first.text.count("sample_archive") == 2
    assert second.text.strip().endswith("pytest")


# What a reader has in place of names in capitals, and of other disks and hosts.
PUT = {
    "PICTURE": "20260604T091500Z.png",
    "TARGET": "public-html",
    "/mnt/second-copy/my-sun": "second-copy",
    "/srv/www/sun": "www",
    "https://example.org/sun/": "public-html",
}
# Commands in sentences that only a test of its own can have.
TIED = {
    "northlimb preview my-sun": (
        "tests/publishing/test_preview.py::test_an_open_page_follows_notes_settings_records_and_pictures"
    ),
    "northlimb desk my-sun": "tests/desk/test_desk_safety.py::test_the_secret_of_the_address_is_good_for_once",
    "northlimb factor my-sun --table daily.csv": (
        "tests/whole/test_series.py::test_a_factor_is_fitted_drawn_and_kept_only_if_wanted"
    ),
    "northlimb regions my-sun 20110607SRS.txt": (
        "tests/whole/test_counting.py::test_an_official_number_stands_beside_the_name_and_what_a_hand_wrote_stays"
    ),
    "add PICTURE --drift FIRST SECOND": (
        "tests/whole/test_add_drift.py::test_the_record_keeps_the_motion_and_not_the_frames"
    ),
}
# What a sentence says beside a command that must have been done before the next one.
SAID_BESIDE = {
    "northlimb remove my-sun 2026-06-03T0915Z": ["northlimb remove my-sun 2026-06-03T0915Z --undo"],
    "northlimb amend my-sun 2026-06-03T0915Z --time 2026-06-03T09:20:00Z": [
        "northlimb amend my-sun 2026-06-03T0920Z --undo"
    ],
}


def run(line: str, folder: Path) -> None:
    put = {name: str(folder / value) if name.startswith("/") else value for name, value in PUT.items()}
    words = [put.get(word, word) for word in shlex.split(line)]
    assert words[0] == "northlimb", line
    assert main(words[1:]) == 0, line


def typed() -> list[str]:
    """Whole commands in sentences, each once, in the order of the README."""
    return list(dict.fromkeys(code for code in inline_code() if code.startswith("northlimb ") and " my-sun" in code))


@pytest.fixture(scope="module")
def reader(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """The folder of a reader who has followed the README from its first command to its last; we are in it."""
    folder = tmp_path_factory.mktemp("reader")
    with contextlib.chdir(folder):
        for number, day in enumerate(("03", "04")):
            draw(Path(f"202606{day}T091500Z.png"), seed=number, spots=(Spot(10.0, 5.0 + 13.2 * number, 4.0),))
        Image.new("L", (64, 48), 120).save("close-up.jpg")
        for line in MY_SUN.lines:
            run(line, folder)
        with Path("my-sun/archive.toml").open("a", encoding="utf-8") as settings:
            settings.write('\n[[targets]]\nname = "web"\nfolder = "../web"\n')
        for command in typed():
            if command not in TIED:
                for line in (command, *SAID_BESIDE.get(command, [])):
                    run(line, folder)
        shutil.copytree("my-sun", "second-copy")
        for line in (*block_with("--against").lines, *block_with("trust my-sun --show").lines):
            run(line, folder)
        yield folder


def test_every_command_works_as_printed(reader: Path) -> None:
    """Each has ended with 0, and left what its sentence says."""
    assert len(MY_SUN.lines) == 7
    assert len(typed()) > 10
    for place in ("public-html", "web", "www"):
        assert (reader / place / "days" / "2026-06-03" / "index.html").is_file()
    notes = (reader / "my-sun" / "2026" / "2026-06-03" / "notes.md").read_text(encoding="utf-8")
    assert notes.strip() == "Steady air, thin haze towards the end."
    assert (reader / "my-sun-bag" / "manifest-sha256.txt").is_file()
    checking = shlex.split("sha256sum -c checksums.sha256")
    checked = subprocess.run(checking, cwd=reader / "my-sun", capture_output=True, text=True)
    assert (checked.returncode, checked.stdout.count(": OK")) == (0, 2)


def test_the_theme_of_the_readme_adds_a_line_to_every_page(reader: Path) -> None:
    theme = reader / "my-sun" / "theme"
    theme.mkdir()
    (theme / "base.html").write_text(block_with("{% extends").text, encoding="utf-8")
    assert main(["trust", "my-sun"]) == 0
    assert main(["build", "my-sun"]) == 0
    pages = [path.read_text(encoding="utf-8") for path in (reader / "my-sun" / "site").rglob("*.html")]
    assert len(pages) > 10
    assert all("Pier 4, open on clear Sundays." in page for page in pages)


def test_the_layout_is_what_an_archive_holds(reader: Path) -> None:
    root = reader / "my-sun"
    (root / "theme").mkdir(exist_ok=True)
    (root / "about.md").write_text("A shed by the quay.", encoding="utf-8")
    (root / "official-numbers.toml").write_text("", encoding="utf-8")
    said = set()
    above = ""
    for line in block_with("my-sun/\n").lines[1:]:
        name = line.split()[0]
        above = name if line.startswith("  2026") else above
        said.add(f"{above}{name}" if line.startswith("    ") else name)
    top = {f"{path.name}/" if path.is_dir() else path.name for path in root.iterdir()}
    day = {f"2026/2026-06-03/{path.name}" for path in (root / "2026" / "2026-06-03").iterdir()}
    assert said == (top - {"2026/"}) | {"2026/2026-06-03/"} | day


@pytest.mark.parametrize("command", TIED)
def test_a_command_that_is_not_run_here_has_a_test(command: str) -> None:
    assert command in inline_code()
    must_exist(TIED[command], command.removeprefix("northlimb ").split()[0])


def test_a_command_ends_as_the_readme_says(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    said = paragraph_with("it ends with 0 when done")
    assert "0 when done, 1 when it refused (one clear line for each cause), 2 when it was called wrongly, 130" in said
    assert main(["new", "my-sun", *NEW]) == 0
    assert main(["show", "my-sun", "2026-06-03"]) == 1
    assert main(["show", "my-sun"]) == 2
    must_exist("tests/whole/test_executor.py::test_ctrl_c_ends_command_and_workers_without_a_word_more", "130")


def test_installs_that_the_readme_names_are_extras_of_the_package() -> None:
    named = {code[len('pip install "northlimb[') : -2] for code in inline_code() if code.startswith("pip install")}
    package = tomllib.loads((Path(__file__).parents[2] / "pyproject.toml").read_text(encoding="utf-8"))
    assert named == set(package["project"]["optional-dependencies"])


def test_every_option_that_the_readme_names_exists() -> None:
    known = {name for command in SHORT_HELPS for option in load_command(command).params for name in option.opts}
    known |= {"--help"}
    named = {word for code in inline_code() for word in re.findall(r"(?<!\S)--[a-z-]+", code)}
    named |= {word for block in blocks() for word in re.findall(r"northlimb .*", block.text) for word in word.split()}
    assert {word for word in named if word.startswith("--")} <= known


@pytest.mark.parametrize("name", SHORT_HELPS)
def test_every_command_is_in_the_readme_with_what_it_takes(name: str) -> None:
    """An option that the README passes over says for itself, in --help, what it does."""
    assert f"northlimb {name}" in README
    for option in load_command(name).params:
        if isinstance(option, click.Option):
            assert option.help
