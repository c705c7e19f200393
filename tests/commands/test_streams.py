"""The command with its standard streams as callers leave them: closed, full, cut off, a terminal."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

from archive.commands.main import main
from archive.commands.streams import print_error_line, print_line, progress

pty = pytest.importorskip("pty", reason="POSIX terminals")

CHECKOUT = Path(__file__).parents[2]
SUN = "sun --site Quay,52.1,-1.3 --time 2026-06-03T09:15Z"
NEW = "new {} --title T --observer O --time-zone UTC --instrument I"


def in_shell(words: str, redirected: str) -> subprocess.CompletedProcess[str]:
    """Run the command under a shell, which redirects its streams."""
    line = f'"{sys.executable}" -m archive {words} {redirected}'
    return subprocess.run(["bash", "-c", f"set -o pipefail; {line}"], cwd=CHECKOUT, capture_output=True, text=True)


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no /dev/full here")
@pytest.mark.parametrize("json_too", ["", "--json"])
def test_an_answer_that_cannot_be_written_is_one_line(json_too: str) -> None:
    done = in_shell(f"{SUN} {json_too}", ">/dev/full")
    assert done.returncode == 1
    assert done.stderr == "northlimb: standard output: cannot be written: No space left on device\n"


@pytest.mark.parametrize("json_too", ["", "--json"])
def test_a_reader_that_has_read_enough_ends_it_quietly(json_too: str) -> None:
    done = in_shell(f"{SUN} {json_too}", "| true")
    assert done.stderr == ""


def test_a_closed_input_is_no_terminal(tmp_path: Path) -> None:
    done = in_shell(NEW.format(tmp_path / "a"), "<&-")
    assert done.returncode == 2
    assert "missing: --site, --mount" in done.stderr


@pytest.mark.parametrize("redirected", ["2>&-", "2>/dev/full" if Path("/dev/full").exists() else "2>&-"])
def test_the_work_is_done_with_error_output_closed_or_full(redirected: str) -> None:
    done = in_shell(SUN, redirected)
    assert (done.returncode, done.stdout[:10]) == (0, "2026-06-03")
    assert in_shell("sun", redirected).returncode == 2
    assert in_shell("verify nowhere", redirected).returncode == 1
    refused = in_shell("verify nowhere --json", redirected)
    assert json.loads(refused.stdout)["status"] == "refused"


def test_progress_goes_on_with_error_output_closed() -> None:
    code = (
        "from archive.commands.streams import fill_closed_streams, progress\n"
        "import time\nfill_closed_streams()\nshow = progress()\ntime.sleep(1.1)\nshow('measuring', 1, 2)\nprint('done')"
    )
    line = f"'{sys.executable}' -c \"{code}\" 2>&-"
    done = subprocess.run(["bash", "-c", line], cwd=CHECKOUT, capture_output=True, text=True)
    assert (done.returncode, done.stdout) == (0, "done\n")


def test_a_stream_that_was_closed_leaves_its_number_to_no_other_file() -> None:
    code = (
        "from archive.commands.streams import fill_closed_streams\n"
        "fill_closed_streams()\nprint(open('README.md').fileno())"
    )
    line = f"'{sys.executable}' -c \"{code}\" <&- 2>&-"
    done = subprocess.run(["bash", "-c", line], cwd=CHECKOUT, capture_output=True, text=True)
    assert int(done.stdout) > 2


def test_progress_to_a_file_ends_with_the_whole(capsys: pytest.CaptureFixture[str]) -> None:
    show = progress()
    show("measuring", 0, 3)
    time.sleep(1.05)
    for done in (1, 2, 3):
        show("measuring", done, 3)
    show("writing", 0, 1)
    show("writing", 1, 1)
    assert capsys.readouterr().err.splitlines() == ["measuring: 1 of 3", "measuring: 3 of 3"]


def on_terminal(words: list[str], answers: str, columns: int = 200) -> tuple[int, str]:
    """Run the command on a terminal of its own; its exit status and all that stood there."""
    master, slave = pty.openpty()
    environment = {**os.environ, "COLUMNS": str(columns)}
    with subprocess.Popen(
        [sys.executable, *words], cwd=CHECKOUT, stdin=slave, stdout=slave, stderr=slave, env=environment
    ) as process:
        os.close(slave)
        os.write(master, answers.encode())
        shown = b""
        try:
            while block := os.read(master, 4096):
                shown += block
        except OSError:  # the terminal's other end is closed: Linux tells it so
            pass
    os.close(master)
    return process.wait(), shown.decode().replace("\r\n", "\n")


def test_progress_on_a_terminal_is_cleared_before_anything_else() -> None:
    code = (
        "import time\nfrom archive.commands.streams import print_line, progress\nshow = progress()\ntime.sleep(1.1)\n"
        "show('measuring', 1, 2)\nprint_line('look')"
    )
    _, shown = on_terminal(["-c", code], "")
    assert shown == "measuring: 1 of 2\r\r\x1b[Klook\n"


@pytest.mark.parametrize("columns", [60, 300])
def test_the_caution_fits_the_terminal(columns: int) -> None:
    status, shown = on_terminal(["-m", "archive", *SUN.split()], "", columns)
    assert status == 0
    caution = shown.split("\n\n")[1].splitlines()
    assert "blinds" in caution[0]
    assert min(columns, 100) - 20 < max(map(len, caution)) <= min(columns, 100)


def test_new_asks_for_mirroring_and_camera_angle_and_again_where_an_answer_cannot_be(tmp_path: Path) -> None:
    folder = tmp_path / "my-sun"
    answers = ["Sun", "A. Teal", "Quay,95,0", "Quay,52.1,-1.3", "Mars/Base", "Europe/London", "Doorstep", "dobson",
               "altaz", "perhaps", "no", "up", "12.5"]  # fmt: skip
    status, shown = on_terminal(["-m", "archive", "new", str(folder)], "\n".join(answers) + "\n")
    assert status == 0, shown
    settings = (folder / "archive.toml").read_text(encoding="utf-8")
    for line in ('mount = "altaz"', 'mirrored = "no"', "camera_angle_deg = 12.5", 'time_zone = "Europe/London"'):
        assert line in settings
    assert shown.count("Error: ") == 5


def test_new_takes_unknown_for_an_answer(tmp_path: Path) -> None:
    start = "Sun\nA. Teal\nQuay,52.1,-1.3\n\nDoorstep\n"
    for name, answers in (("known", "equatorial\n\nunknown\n"), ("unknown", "\n\n\n")):
        status, shown = on_terminal(["-m", "archive", "new", str(tmp_path / name)], start + answers)
        assert status == 0, shown
        assert "Camera angle" in shown
        settings = (tmp_path / name / "archive.toml").read_text(encoding="utf-8")
        assert 'mirrored = "unknown"' in settings
        assert "camera_angle_deg =" not in settings


@pytest.mark.parametrize(
    ("words", "cause"),
    [
        ("sun --site Quay,95,0", "latitude_deg = 95.0: must be at most 90"),
        ("sun --site Quay,north,0", "must be degrees, such as 52.1"),
        ("sun --site Quay,52,0 --time noon", "'noon' is not a time"),
        ("sun --site Quay,52,0 --time 0001-01-01T00:00Z", "known for 1900 to 2099"),
        ("sun --site Quay,52,0 --time 2100-01-01T00:00Z", "known for 1900 to 2099"),
        ("sun --site Quay,52,0 --time 9999-12-31T23:59-12:00", "known for 1900 to 2099"),
        ("film {} --rotation 99999", "rotation = 99999"),
        ("film {} --days 1000000", "days = 1000000"),
        ("add {} a.png --north-angle 400", "write degrees from -360 to 360"),
        ("add {} a.png --north-angle nan", "write degrees from -360 to 360"),
        ("new {}/n --title T --observer O --site Q,52,0 --instrument I --mount altaz --time-zone Mars", "time_zone"),
        ("new {}/n --title T --observer O --site Q,52,0 --instrument I --mount altaz --time-zone UTC "
         "--camera-angle 400", "camera_angle_deg = 400.0"),
    ],
)  # fmt: skip
def test_values_that_cannot_be_are_misuse_in_one_line(
    tmp_path: Path, words: str, cause: str, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "archive.toml").write_text(
        'title = "T"\nobserver = "O"\n[[sites]]\nname = "Q"\nlatitude_deg = 1.0\nlongitude_deg = 1.0\n'
        '[[instruments]]\nname = "I"\n',
        encoding="utf-8",
    )
    assert main([*words.format(tmp_path).split(), "--json"]) == 2
    printed = capsys.readouterr()
    assert len(printed.err.splitlines()) == 1
    assert cause in printed.err
    told = json.loads(printed.out)
    assert told["status"] == "misuse"
    assert cause in told["causes"][0]


def test_words_that_cannot_be_are_told_in_json_too(capsys: pytest.CaptureFixture[str]) -> None:
    for words in (["sun", "--jsonn", "--json"], ["no-such-command", "--json"], ["film", "a", "--days", "x", "--json"]):
        assert main(words) == 2
        printed = capsys.readouterr()
        told = json.loads(printed.out)
        assert told["status"] == "misuse"
        assert told["causes"][0] in printed.err


def test_what_the_system_refuses_is_one_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    too_long = str(tmp_path / ("x" * 300))
    words = [*NEW.format(too_long).split(), "--site", "Q,1,1", "--mount", "unknown"]
    for line in (["show", too_long, "2026-06-03"], words, ["sun", too_long]):
        assert main(line) == 1
        (cause,) = capsys.readouterr().err.splitlines()
        assert "File name too long" in cause


def test_words_of_an_archive_do_not_steer_the_terminal(capsys: pytest.CaptureFixture[str]) -> None:
    """A name may hold what clears the screen, turns the text round or is no character at all."""
    print_error_line("a\x1b[2Jb\x9bc\u202ed\udce9e\tf")
    print_line('{"name": "a\x1b\x9b\u202e\udce9"}')
    told = capsys.readouterr()
    assert told.err == "a\\u001b[2Jb\\u009bc\\u202ed\\udce9e\tf\n"
    assert told.out == '{"name": "a\\u001b\\u009b\\u202e\\udce9"}\n'
    assert json.loads(told.out)["name"] == "a\x1b\x9b\u202e\udce9"
