"""`export`: a bag that an independent validator accepts, and an archive that comes out of it whole."""

from __future__ import annotations

import hashlib
import os
import re
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from archive.commands.main import main

from .conftest import draw, new_archive

Answer = Callable[..., tuple[int, Any]]
CHECKOUT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    scratch = tmp_path_factory.mktemp("built")
    folder = scratch / "my-sun"
    new_archive(folder)
    assert main(["add", str(folder), str(draw(scratch / "20260603T091500Z.png")), "--note", "Clear."]) == 0
    assert main(["build", str(folder)]) == 0
    return folder


@pytest.fixture
def folder(built: Path, tmp_path: Path) -> Path:
    folder = Path(shutil.copytree(built, tmp_path / "my-sun"))
    (folder / "flats").mkdir()
    (folder / "flats" / "at noon, Übung.txt").write_text("the observer's own")
    assert main(["remove", str(folder), "2026-06-03T0915Z"]) == 0
    assert main(["remove", str(folder), "2026-06-03T0915Z", "--undo"]) == 0
    return folder


def tree(folder: Path) -> dict[str, bytes]:
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def valid(bag: Path) -> bool:
    """By `bagit` of the Library of Congress (PyPI), as a program of its own."""
    pytest.importorskip("bagit")
    answer = subprocess.run(
        [sys.executable, "-m", "bagit", "--validate", bag], capture_output=True, text=True, check=False
    )
    return answer.returncode == 0


def test_the_bag_is_valid_and_holds_all_but_derived_things(folder: Path, tmp_path: Path, answer: Answer) -> None:
    status, told = answer("export", folder, "--bag", tmp_path / "bag")
    assert (status, told["warnings"]) == (0, [])
    assert valid(tmp_path / "bag")
    kept = {
        name: data
        for name, data in tree(folder).items()
        if not name.startswith(("site/", ".northlimb/", ".northlimb-work/"))
    }
    assert {"archive.toml", "checksums.sha256", "2026/2026-06-03/notes.md"} < kept.keys()
    assert tree(tmp_path / "bag" / "data") == kept
    assert told["files"] == len(kept)
    assert told["bytes"] == sum(map(len, kept.values()))
    assert [path.name for path in tmp_path.iterdir() if path.name.startswith(".")] == []


def test_the_validator_finds_a_flipped_bit(folder: Path, tmp_path: Path) -> None:
    """Lest `valid` be true of anything."""
    assert main(["export", str(folder), "--bag", str(tmp_path / "bag")]) == 0
    original = tmp_path / "bag/data/2026/2026-06-03/0915Z.png"
    data = bytearray(original.read_bytes())
    data[100] ^= 1
    original.write_bytes(data)
    assert not valid(tmp_path / "bag")


def test_the_bag_says_what_rfc_8493_asks_for(folder: Path, tmp_path: Path) -> None:
    """RFC 8493, 2.1.1 (declaration), 2.1.3 (manifests), 2.2.2 (Payload-Oxum: octets, dot, files).

    Percent signs and line ends in names are escaped as 2.1.3 says they MUST be; `bagit` 1.9 does not read the former.
    """
    (folder / "flats" / "50 % at noon").write_text("")
    assert main(["export", str(folder), "--bag", str(tmp_path / "bag")]) == 0
    files = tree(tmp_path / "bag")
    assert files["bagit.txt"] == b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"
    payload = {name: data for name, data in files.items() if name.startswith("data/")}
    oxum = re.search(r"^Payload-Oxum: (\d+)\.(\d+)$", files["bag-info.txt"].decode(), flags=re.MULTILINE)
    assert oxum is not None
    assert (int(oxum[1]), int(oxum[2])) == (sum(map(len, payload.values())), len(payload))
    lines = files["manifest-sha256.txt"].decode().splitlines()
    assert lines == [
        f"{hashlib.sha256(data).hexdigest()}  {name.replace('%', '%25')}" for name, data in sorted(payload.items())
    ]


def test_the_same_archive_gives_the_same_bag(folder: Path, tmp_path: Path) -> None:
    for name in ("one", "two"):
        assert main(["export", str(folder), "--bag", str(tmp_path / name)]) == 0
    assert tree(tmp_path / "one") == tree(tmp_path / "two")


def test_an_archive_comes_out_of_the_bag_with_its_site(folder: Path, tmp_path: Path) -> None:
    assert main(["export", str(folder), "--bag", str(tmp_path / "bag")]) == 0
    again = Path(shutil.copytree(tmp_path / "bag" / "data", tmp_path / "again"))
    assert main(["verify", str(again)]) == 0
    assert main(["build", str(again)]) == 0
    assert tree(again / "site") == tree(folder / "site")


def test_what_has_rotted_goes_along_and_is_told(folder: Path, tmp_path: Path, answer: Answer) -> None:
    original = folder / "2026/2026-06-03/0915Z.png"
    original.write_bytes(original.read_bytes() + b"x")
    status, told = answer("export", folder, "--bag", tmp_path / "bag")
    assert (status, len(told["warnings"])) == (0, 1)
    assert "0915Z.png: changed since it was filed" in told["warnings"][0]
    assert valid(tmp_path / "bag")


def test_a_bag_replaces_nothing_and_lies_outside(folder: Path, tmp_path: Path, answer: Answer) -> None:
    (tmp_path / "there").mkdir()
    for bag, cause in (("there", "is there already"), ("my-sun/bag", "within the archive")):
        status, told = answer("export", folder, "--bag", tmp_path / bag)
        assert (status, len(told["causes"])) == (1, 1)
        assert cause in told["causes"][0]
    assert list((tmp_path / "there").iterdir()) == []
    assert main(["export", str(folder)]) == 2


def test_a_year_on_another_disk_goes_along_and_a_circle_does_not(folder: Path, tmp_path: Path) -> None:
    (folder / "2026").rename(tmp_path / "other-disk")
    (folder / "2026").symlink_to(tmp_path / "other-disk", target_is_directory=True)
    (folder / "flats" / "back").symlink_to(folder, target_is_directory=True)
    assert main(["trust", str(folder)]) == 0
    assert main(["export", str(folder), "--bag", str(tmp_path / "bag")]) == 0
    assert (tmp_path / "bag/data/2026/2026-06-03/0915Z.png").is_file()
    assert not (tmp_path / "bag/data/flats/back").exists()


FULL = """
import resource, sys
sys.dont_write_bytecode = True  # or the limit would cut off modules that others read
from archive.commands.main import main
resource.setrlimit(resource.RLIMIT_FSIZE, (20_000, 20_000))
sys.exit(main(["export", sys.argv[1], "--bag", sys.argv[2]]))
"""


@pytest.mark.skipif(os.name != "posix", reason="limits of POSIX systems")
def test_a_full_disk_leaves_no_half_of_a_bag(folder: Path, tmp_path: Path) -> None:
    """A limit on the size of files stands for the full disk."""
    (folder / "flats" / "flat.fits").write_bytes(bytes(50_000))
    before = sorted(tmp_path.iterdir())
    answer = subprocess.run(
        [sys.executable, "-c", FULL, str(folder), str(tmp_path / "bag")],
        env={**os.environ, "PYTHONPATH": str(CHECKOUT)},
        capture_output=True,
        text=True,
        check=False,
    )
    assert answer.returncode == 1
    wanted = f"northlimb: {tmp_path / 'bag'}: cannot be written: File too large; check permissions and free space"
    assert answer.stderr.splitlines() == [wanted]
    assert sorted(tmp_path.iterdir()) == before
