"""`checksums.sha256`, against the real sha256sum and hand-made faults."""

import hashlib
import shutil
import subprocess

import pytest

from archive.disk import Folder
from archive.errors import FolderError
from archive.records.archive_files import files_of
from archive.records.checksums import file_sha256, named_sha256, read_checksums, read_list, write_checksums

ONE, TWO = "1" * 64, "2" * 64
FILE, OTHER = "2026/2026-06-03/0915Z.png", "2026/2026-06-03/0915Z-2.fits"


@pytest.mark.skipif(shutil.which("sha256sum") is None, reason="sha256sum is not installed")
def test_the_real_sha256sum_checks_and_writes_the_file(root):
    day = root / "2026/2026-06-03"
    day.mkdir(parents=True)
    (root / FILE).write_bytes(b"first")
    (root / OTHER).write_bytes(b"second")
    write_checksums(files_of(root), {file: file_sha256(Folder(root), file) for file in (FILE, OTHER)})
    check = ["sha256sum", "--strict", "-c", "checksums.sha256"]
    answer = subprocess.run(check, cwd=root, capture_output=True, text=True, check=False)
    assert (answer.returncode, answer.stdout) == (0, f"{OTHER}: OK\n{FILE}: OK\n")
    (root / FILE).write_bytes(b"First")
    assert subprocess.run(check, cwd=root, capture_output=True, check=False).returncode == 1
    for names in ([FILE, OTHER], [f"./{FILE}", f"./{OTHER}"], ["--binary", FILE, OTHER]):
        made = subprocess.run(["sha256sum", *names], cwd=root, capture_output=True, check=True)
        (root / "checksums.sha256").write_bytes(made.stdout)
        assert read_checksums(files_of(root)) == {file: file_sha256(Folder(root), file) for file in (FILE, OTHER)}


@pytest.mark.parametrize("data", [b"abc", b""])
def test_the_sum_of_a_file_is_sha_256(tmp_path, data):
    """FIPS 180-4; the value of "abc" is the standard's first example."""
    (tmp_path / "x").write_bytes(data)
    expected = {
        b"abc": "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad",
        b"": hashlib.sha256(b"").hexdigest(),
    }
    assert file_sha256(Folder(tmp_path), "x") == expected[data]
    assert named_sha256(tmp_path / "x") == expected[data]


def test_a_file_longer_than_a_chunk_is_read_whole(tmp_path):
    data = bytes(range(256)) * 3000
    (tmp_path / "x").write_bytes(data)
    assert file_sha256(Folder(tmp_path), "x") == hashlib.sha256(data).hexdigest()


def test_lines_of_other_systems_are_read(root):
    text = f"\ufeff{ONE.upper()} *{FILE}\r\n\r\n{'a' * 64}  {OTHER}\r\n"
    (root / "checksums.sha256").write_bytes(text.encode("utf-8"))
    assert read_checksums(files_of(root)) == {FILE: ONE, OTHER: "a" * 64}


def test_no_file_is_no_checksums(root):
    assert read_checksums(files_of(root)) == {}


def test_every_line_that_is_no_checksum_is_named_with_its_number(root):
    lines = [f"{ONE}  {FILE}", "some garbage", f"{TWO}  {FILE}", f"{ONE[:-1]}  {OTHER}", f"{ONE}  {FILE}"]
    (root / "checksums.sha256").write_text("\n".join(lines), encoding="utf-8")
    path, listed = root / "checksums.sha256", read_list(files_of(root))
    assert listed.sums == {FILE: ONE}
    assert listed.mistakes == (
        f"{path}: line 2: 'some garbage' is not a checksum line",
        f"{path}: line 3: a second, different checksum of {FILE}",
        f"{path}: line 4: {lines[3][:60]!r} is not a checksum line",
    )


def test_lines_that_are_no_checksums_stay_as_they_are_when_others_are_written(root):
    garbage = b"rotten \xff\x80 line"
    (root / "checksums.sha256").write_bytes(f"{ONE}  {FILE}\n".encode() + garbage + b"\n")
    write_checksums(files_of(root), {**read_checksums(files_of(root)), OTHER: TWO})
    assert (root / "checksums.sha256").read_bytes() == f"{TWO}  {OTHER}\n{ONE}  {FILE}\n".encode() + garbage + b"\n"
    write_checksums(files_of(root), read_checksums(files_of(root)), mistaken_lines=())
    assert read_list(files_of(root)).mistakes == ()


@pytest.mark.parametrize(
    "file",
    [
        "archive.toml",
        "../2026/2026-06-03/0915Z.png",
        "/etc/passwd",
        "2026/2026-06-03/../../archive.toml",
        "2026/2026-06-03/..",
        "2025/2026-06-03/0915Z.png",
        "2026/2026-06-03/inner/0915Z.png",
        ".northlimb/2026-06-03/0915Z.png",
    ],
)
def test_a_line_that_names_no_picture_of_the_archive_is_none(root, file):
    (root / "checksums.sha256").write_text(f"{ONE}  {FILE}\n{TWO}  {file}\n", encoding="utf-8")
    path, listed = root / "checksums.sha256", read_list(files_of(root))
    assert listed.sums == {FILE: ONE}
    assert listed.mistakes == (f"{path}: line 2: {file!r} is not a picture of this archive",)


def test_bytes_that_are_no_text_are_named(root):
    (root / "checksums.sha256").write_bytes(f"{ONE}  {FILE}\n".encode("utf-16"))
    with pytest.raises(FolderError, match=r"checksums\.sha256: byte 0 is not UTF-8; save the file as UTF-8 text$"):
        read_checksums(files_of(root))
    (root / "checksums.sha256").unlink()
    (root / "checksums.sha256").mkdir()
    with pytest.raises(
        FolderError, match=r"checksums\.sha256: cannot be read: not a regular file; put the file itself there$"
    ):
        read_checksums(files_of(root))


def test_checksums_are_written_in_order_of_file(root):
    write_checksums(files_of(root), {FILE: ONE, OTHER: TWO})
    assert (root / "checksums.sha256").read_bytes() == f"{TWO}  {OTHER}\n{ONE}  {FILE}\n".encode()


def test_of_thousands_of_lines_that_are_no_checksum_twenty_are_told(root):
    (root / "checksums.sha256").write_text("nonsense\n" * 3000, encoding="utf-8")
    mistakes = read_list(files_of(root)).mistakes
    assert len(mistakes) == 21
    assert mistakes[-1].endswith("2980 more lines like these")


def test_checksums_of_gigabytes_are_not_read(root):
    with (root / "checksums.sha256").open("wb") as stream:
        stream.truncate(10 * 2**30)  # sparse: it takes no room on the disk
    with pytest.raises(
        FolderError,
        match=r"checksums\.sha256: 10737\.4 MB, over the 200 MB that it may have; correct or remove the file$",
    ):
        read_checksums(files_of(root))
