"""Commands that meet: two at once, on disks that know no locks, or whose folders lie on different disks."""

from __future__ import annotations

import json
import os
import platform
import re
import subprocess
import sys
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from other_disk import folder_on_another_disk
from scenes.discs import Scene

from archive.commands.main import main
from archive.filing import adding
from archive.filing.statements import AddOptions
from archive.records.archive_files import files_of
from archive.records.folder import writing
from archive.records.places import places

from .conftest import draw

Answer = Callable[..., tuple[int, Any]]
CHECKOUT = Path(__file__).resolve().parents[2]
ENVIRONMENT = {**os.environ, "PYTHONPATH": str(CHECKOUT)}


def started(*words: object) -> subprocess.Popen[str]:
    command = [sys.executable, "-m", "archive", *map(str, words)]
    return subprocess.Popen(command, env=ENVIRONMENT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)


def test_two_adds_and_a_build_at_once_are_all_right(archive_folder: Path, tmp_path: Path, answer: Answer) -> None:
    first = draw(tmp_path / "20260601T091500Z.png", Scene(seed=1))
    assert main(["add", str(archive_folder), str(first)]) == 0
    others = [draw(tmp_path / f"2026060{number}T091500Z.png", Scene(seed=number)) for number in (2, 3)]
    runs = [started("build", archive_folder), *(started("add", archive_folder, path) for path in others)]
    told = [run.communicate()[1] for run in runs]
    for run, errors in zip(runs, told, strict=True):
        assert run.returncode == 0, errors
        assert [
            line for line in errors.splitlines() if not re.fullmatch(r"[a-z ]+(?: \(.+\))?: \d+ of \d+", line)
        ] == []  # progress
    assert answer("verify", archive_folder)[1]["checked"] == 3
    assert main(["build", str(archive_folder)]) == 0
    observations = json.loads((archive_folder / "site/data/observations.json").read_text())
    assert [one["id"] for one in observations] == [f"2026-06-0{number}T0915Z" for number in (1, 2, 3)]


# A filter of system calls (seccomp, <linux/seccomp.h>) by which the kernel itself answers `flock`, or `rename` between
# folders, as some network shares and two disks do.
REFUSING = """
import ctypes, errno, struct, sys
from archive.commands.main import main

numbers, answer = [int(number) for number in sys.argv[1].split(",")], getattr(errno, sys.argv[2])
load, equal, give = 0x20, 0x15, 0x06
program = [(load, 0, 0, 0)]
for at, number in enumerate(numbers):
    program.append((equal, len(numbers) - at, 0, number))
program += [(give, 0, 0, 0x7FFF0000), (give, 0, 0, 0x00050000 | answer)]
code = ctypes.create_string_buffer(b"".join(struct.pack("HBBI", *line) for line in program))
class Program(ctypes.Structure):
    _fields_ = [("length", ctypes.c_ushort), ("code", ctypes.c_void_p)]
libc = ctypes.CDLL(None, use_errno=True)
assert libc.prctl(38, 1, 0, 0, 0) == 0
filtered = Program(len(program), ctypes.addressof(code))
if libc.prctl(22, 2, ctypes.byref(filtered), 0, 0) != 0:
    sys.exit(77)
if sys.argv[3] == "hold":
    import time
    from pathlib import Path
    from archive.records.archive_files import files_of
    from archive.records.folder import writing
    with writing(files_of(Path(sys.argv[4]))):
        print("holding", flush=True)
        time.sleep(60)
sys.exit(main(sys.argv[3:]))
"""
FLOCK = {"x86_64": "73", "aarch64": "32"}


def refusing(calls: str, error: str, *words: object) -> subprocess.Popen[str]:
    command = [sys.executable, "-c", REFUSING, calls, error, *map(str, words)]
    return subprocess.Popen(command, env=ENVIRONMENT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)


@pytest.mark.skipif(
    sys.platform != "linux" or platform.machine() not in FLOCK, reason="filters of system calls on Linux"
)
@pytest.mark.parametrize("error", ["ENOLCK", "EOPNOTSUPP"])
def test_a_share_without_locks_keeps_writers_apart_all_the_same(
    archive_folder: Path, tmp_path: Path, answer: Answer, error: str
) -> None:
    pictures = [draw(tmp_path / f"2026060{number}T091500Z.png", Scene(seed=number)) for number in (1, 2)]
    runs = [refusing(FLOCK[platform.machine()], error, "add", archive_folder, path) for path in pictures]
    told = [run.communicate()[1] for run in runs]
    if runs[0].returncode == 77:
        pytest.skip("this system lets no filter of system calls be set")
    assert [run.returncode for run in runs] == [0, 0], told
    assert answer("verify", archive_folder)[1]["checked"] == 2
    assert not (archive_folder / ".northlimb-work/lock-by-name").exists()


@pytest.mark.skipif(
    sys.platform != "linux" or platform.machine() not in FLOCK, reason="filters of system calls on Linux"
)
def test_without_locks_a_writer_that_was_killed_is_told_from_one_that_lives(
    archive_folder: Path, tmp_path: Path
) -> None:
    """The first is killed while it holds the lock; the second takes over, for on one computer that can be known."""
    picture = draw(tmp_path / "20260601T091500Z.png")
    held = archive_folder / ".northlimb-work/lock-by-name"
    run = refusing(FLOCK[platform.machine()], "ENOLCK", "hold", archive_folder)
    assert run.stdout is not None
    line = run.stdout.readline()
    there = held.exists()
    run.kill()
    _, errors = run.communicate()
    if run.returncode == 77:
        pytest.skip("this system lets no filter of system calls be set")
    assert (line, there, held.exists()) == ("holding\n", True, True), errors
    again = refusing(FLOCK[platform.machine()], "ENOLCK", "add", archive_folder, picture)
    _, errors = again.communicate()
    assert (again.returncode, re.findall("northlimb:.*", errors)) == (0, [])
    assert not held.exists()


def test_a_year_on_another_disk_is_added_to_removed_from_and_amended(
    archive_folder: Path, tmp_path: Path, answer: Answer
) -> None:
    """Between disks nothing can be renamed: files are copied, synced, and only then removed."""
    with folder_on_another_disk(archive_folder) as elsewhere:
        (archive_folder / "2026").symlink_to(elsewhere, target_is_directory=True)
        assert main(["trust", str(archive_folder)]) == 0
        data = draw(tmp_path / "20260601T091500Z.png").read_bytes()
        assert main(["add", str(archive_folder), str(tmp_path / "20260601T091500Z.png")]) == 0
        assert (elsewhere / "2026-06-01/0915Z.png").read_bytes() == data
        _, told = answer("remove", archive_folder, "2026-06-01T0915Z")
        assert (archive_folder / told["kept_in"] / "2026/2026-06-01/0915Z.png").read_bytes() == data
        assert list(elsewhere.rglob("*.*")) == []
        assert answer("remove", archive_folder, "2026-06-01T0915Z", "--undo")[0] == 0
        assert answer("amend", archive_folder, "2026-06-01T0915Z", "--time", "2026-06-02T09:15Z")[0] == 0
        assert (elsewhere / "2026-06-02/0915Z.png").read_bytes() == data
        assert answer("verify", archive_folder)[1]["checked"] == 1
        assert [path for path in archive_folder.rglob("*") if "part" in path.name] == []


def test_a_long_import_lets_others_in_between(
    archive_folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Another run that waits gets the archive before all pictures are in, and sees meanwhile who holds it."""
    monkeypatch.setattr(adding, "_AT_ONCE", 1)
    files = files_of(archive_folder)
    pictures = [draw(tmp_path / f"2026060{number}T091500Z.png", Scene(seed=number)) for number in (1, 2, 3)]
    there, holders = list[int](), list[str]()

    def wait() -> None:
        with writing(files, wait_s=60.0, on_wait=holders.append):
            there.append(len(places(files)))

    other = threading.Thread(target=wait)

    def progress(what: str, done: int, total: int) -> None:
        if what == "adding" and not other.ident:
            other.start()

    results = list(adding.add_pictures(files, pictures, AddOptions(), on_progress=progress))
    other.join()
    assert [one.status for one in results] == ["added"] * 3
    assert 0 < there[0] < 3
    assert re.fullmatch(r".+ on .+, since \d{4}-\d\d-\d\d \d\d:\d\d UTC", next(filter(None, holders)))
