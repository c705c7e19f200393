"""The archive folder: where things lie, what is passed over, what is refused."""

import json
import os
import shutil
import subprocess
from datetime import UTC, datetime

import pytest

from archive.errors import FolderError
from archive.records.archive_files import derived_files, files_of
from archive.records.checksums import read_checksums
from archive.records.folder import kept_folder, open_folder, put_picture, reading, writing
from archive.records.pending import PENDING, write_pending
from archive.records.places import Place, free_place, notes_file, originals_on_disk, place_of_file, place_of_id, places
from archive.signed_content import signed_content
from archive.store import Store

DAY = "2026/2026-06-03"


def put(root, *pictures):
    with writing(files_of(root)):
        for one in pictures:
            put_picture(files_of(root), one)


def files(root):
    return sorted(path.relative_to(root).as_posix() for path in root.rglob("*") if path.is_file())


def test_an_archive_lies_as_the_design_says(root, picture):
    put(root, picture("2026-06-03T0915Z", b"one"), picture("2025-12-31T2359Z", b"two", suffix=".fits"))
    assert files(root) == [
        ".northlimb-work/lock",
        "2025/2025-12-31/2359Z.fits",
        "2025/2025-12-31/2359Z.toml",
        f"{DAY}/0915Z.png",
        f"{DAY}/0915Z.toml",
        "archive.toml",
        "checksums.sha256",
    ]
    assert (root / DAY / "0915Z.png").read_bytes() == b"one"
    assert [place.id for place in places(files_of(root))] == ["2025-12-31T2359Z", "2026-06-03T0915Z"]
    assert list(originals_on_disk(files_of(root))) == ["2025/2025-12-31/2359Z.fits", f"{DAY}/0915Z.png"]
    assert notes_file("2026-06-03") == f"{DAY}/notes.md"


@pytest.mark.skipif(shutil.which("sha256sum") is None, reason="sha256sum is not installed")
def test_what_was_filed_satisfies_the_real_sha256sum(root, picture):
    put(root, *(picture(f"2026-06-0{day}T0915Z", b"x" * day) for day in range(1, 6)))
    answer = subprocess.run(
        ["sha256sum", "--strict", "-c", "checksums.sha256"], cwd=root, capture_output=True, text=True, check=False
    )
    assert answer.returncode == 0
    assert answer.stdout.count(": OK\n") == 5


def test_pictures_of_one_minute_are_numbered(root, picture):
    time = datetime(2026, 6, 3, 9, 15, 59, tzinfo=UTC)
    for number in range(1, 13):
        place = free_place(files_of(root), time)
        assert place.id == "2026-06-03T0915Z" + (f"-{number}" if number > 1 else "")
        put(root, picture(place.id, bytes([number])))
    assert [place.stem for place in places(files_of(root))] == [
        "0915Z",
        *(f"0915Z-{number}" for number in range(2, 13)),
    ]


def test_a_minute_is_taken_by_any_file_of_its_name(root):
    (root / DAY).mkdir(parents=True)
    time = datetime(2026, 6, 3, 9, 15, tzinfo=UTC)
    for name, stem in (("0915Z.png.bak", "0915Z"), ("0915Z.jpg", "0915Z-2"), ("0915Z-2.toml", "0915Z-3")):
        (root / DAY / name).write_bytes(b"")
        assert free_place(files_of(root), time).stem == stem


def test_a_place_that_is_taken_is_not_written_over(root, picture):
    put(root, picture("2026-06-03T0915Z", b"one"))
    before = {file: (root / file).read_bytes() for file in files(root)}
    for other in (picture("2026-06-03T0915Z", b"two"), picture("2026-06-03T0915Z", b"two", suffix=".fits")):
        with pytest.raises(FolderError, match=r"0915Z\.(png|fits): is there already; nothing was written$"):
            put(root, other)
    assert {file: (root / file).read_bytes() for file in files(root)} == before


def test_names_of_observations_and_their_files():
    place = place_of_id("2026-06-03T0915Z-2")
    assert place == Place("2026-06-03", "0915Z-2")
    assert place.id == "2026-06-03T0915Z-2"
    assert place.file(".png") == f"{DAY}/0915Z-2.png"
    assert place_of_file(place.file(".png")) == place


@pytest.mark.parametrize(
    "identifier",
    [
        "",
        "2026-06-03",
        "2026-02-30T0915Z",
        "2026-06-03T2415Z",
        "2026-06-03T0915",
        "2026-06-03T0915Z-0",
        "2026-06-03T0915Z\n",
        "20260603T0915Z",
        "2026-06-03T/../x",
        "٢٠٢٦-06-03T0915Z",
    ],
)
def test_what_is_no_observation_is_refused(identifier):
    with pytest.raises(FolderError, match=r"is not the name of an observation; write 2026-06-03T0915Z$"):
        place_of_id(identifier)


def test_stray_files_and_folders_break_no_listing(root, picture):
    put(root, picture("2026-06-03T0915Z"))
    strays = [
        ".DS_Store",
        "2026/.DS_Store",
        "2026/Thumbs.db",
        "2026/2026-02-30/0915Z.toml",
        "2026/2025-06-03/0915Z.toml",
        "2026/spare/0915Z.toml",
        f"{DAY}/.DS_Store",
        f"{DAY}/Thumbs.db",
        f"{DAY}/notes.md",
        f"{DAY}/0915Z.png.bak",
        f"{DAY}/0915Z.toml~",
        f"{DAY}/._0915Z.png",
        f"{DAY}/._0915Z.toml",
        f"{DAY}/notes.toml",
        f"{DAY}/9915Z.toml",
        f"{DAY}/1015Z.toml/inside",
        f"{DAY}/1015Z.png/inside",
        "1999",
        "2027/2027-01-01",
    ]
    for stray in strays:
        (root / stray).parent.mkdir(parents=True, exist_ok=True)
        (root / stray).write_bytes(b"stray")
    assert [place.id for place in places(files_of(root))] == ["2026-06-03T0915Z"]
    assert list(originals_on_disk(files_of(root))) == [f"{DAY}/0915Z.png"]
    put(root, picture("2026-06-03T0916Z"))
    assert [place.id for place in places(files_of(root))] == ["2026-06-03T0915Z", "2026-06-03T0916Z"]
    assert {stray for stray in strays if not (root / stray).exists()} == set()


def test_records_and_pictures_removed_by_hand_break_no_listing(root, picture):
    put(root, picture("2026-06-03T0915Z"), picture("2026-06-03T0916Z"), picture("2026-06-04T0915Z"))
    (root / DAY / "0915Z.toml").unlink()
    (root / DAY / "0916Z.png").unlink()
    shutil.rmtree(root / "2026/2026-06-04")
    assert [place.id for place in places(files_of(root))] == ["2026-06-03T0916Z"]
    assert list(originals_on_disk(files_of(root))) == [f"{DAY}/0915Z.png"]


def test_checksums_in_disorder_stop_no_writer_and_stay_for_the_observer_to_see(root, picture):
    put(root, picture("2026-06-03T0915Z"))
    path = root / "checksums.sha256"
    whole = path.read_bytes()
    path.write_bytes(b"garbage\n" + whole)
    assert len(places(files_of(root))) == 1
    put(root, picture("2026-06-04T0915Z"))
    assert sorted(read_checksums(files_of(root))) == [f"{DAY}/0915Z.png", "2026/2026-06-04/0915Z.png"]
    assert path.read_bytes().splitlines()[-1] == b"garbage"


def test_checksums_of_another_system_are_kept(root, picture):
    put(root, picture("2026-06-03T0915Z"))
    path = root / "checksums.sha256"
    path.write_bytes(path.read_bytes().replace(b"\n", b"\r\n"))
    put(root, picture("2026-06-04T0915Z"))
    assert sorted(read_checksums(files_of(root))) == [f"{DAY}/0915Z.png", "2026/2026-06-04/0915Z.png"]
    assert b"\r" not in path.read_bytes()


def test_a_file_in_the_place_of_a_folder_is_one_clear_line(root, picture):
    (root / "2026").write_bytes(b"mine")
    for _ in range(2):
        with pytest.raises(FolderError) as caught:
            put(root, picture("2026-06-03T0915Z"))
        assert caught.value.causes == (
            f"{root / DAY / '0915Z.png'}: cannot be written: Not a directory; check permissions and free space",
        )
    assert (root / "2026").read_bytes() == b"mine"
    put(root, picture("2025-06-03T0915Z"))
    assert [place.id for place in places(files_of(root))] == ["2025-06-03T0915Z"]


def test_what_is_no_archive_is_named(root, tmp_path):
    assert open_folder(root).path == root
    with pytest.raises(FolderError, match=r"absent: not an archive: no such folder; make one with `northlimb new`$"):
        open_folder(tmp_path / "absent")
    with pytest.raises(FolderError, match=r": not an archive: it holds no archive\.toml$"):
        open_folder(tmp_path)
    with pytest.raises(FolderError, match=r": not an archive: it holds no archive\.toml$"):
        open_folder(root / "archive.toml")


@pytest.mark.parametrize(
    "entry",
    [
        "",
        "[]",
        "{}",
        '{"id": 3, "suffix": ".png", "sha256": ""}',
        '{"id": "2026-06-03T0915Z", "suffix": "/../../../victim", "sha256": ""}',
        '{"id": "2026-06-03T/../../../victim", "suffix": ".png", "sha256": ""}',
        '{"id": "2026-06-03T0915Z", "suffix": [], "sha256": ""}',
    ],
)
def test_a_note_of_unfinished_work_that_is_not_ours_touches_nothing(root, tmp_path, picture, entry):
    put(root, picture("2026-06-03T0915Z"))
    (tmp_path / "victim").write_bytes(b"")
    pending = root / PENDING
    for content in (entry.encode(), signed_content(entry.encode(), PENDING)):
        pending.write_bytes(content)
        before = files(tmp_path)
        put(root)
        aside = {file for file in files(tmp_path) if file.startswith("my-sun/removed/")}  # nothing of it is lost
        assert sorted({*files(tmp_path), f"my-sun/{PENDING}"} - aside) == sorted(set(before) - aside)
        assert aside or content != entry.encode()


def test_a_note_of_unfinished_work_from_another_computer_touches_nothing(root, picture):
    new = picture("2026-06-03T0915Z")
    put(root, new)
    other = {"moves": [[f"{DAY}/0915Z.png", "removed/2026-06-05T101112Z-removed/2026/2026-06-03/0915Z.png"]]}
    for entry in (
        {"id": new.place.id, "suffix": ".png", "sha256": "0" * 64},
        {**other, "listed": {}, "unlisted": {f"{DAY}/0915Z.png": new.sha256}},
    ):
        words = json.dumps(entry).encode()
        for content in (words, b"0" * 32 + b"\n" + words, signed_content(words, "another-file.json")):
            (root / PENDING).write_bytes(content)
            put(root)
            assert not (root / PENDING).exists()
            assert (root / DAY / "0915Z.png").read_bytes() == b"picture"
            assert read_checksums(files_of(root)) == {f"{DAY}/0915Z.png": new.sha256}


@pytest.mark.parametrize(("data", "kept"), [(b"picture", True), (b"pict\0\0\0", False)], ids=["whole", "torn"])
def test_a_picture_that_was_filed_but_for_its_checksum_is_kept_if_its_bytes_are_whole(root, picture, data, kept):
    """After a power cut a file may have its name and length but not its bytes."""
    new = picture("2026-06-03T0915Z")
    put(root, new)
    (root / "checksums.sha256").unlink()
    (root / DAY / "0915Z.png").write_bytes(data)
    entry = {"id": new.place.id, "suffix": new.suffix, "sha256": new.sha256}
    write_pending(files_of(root), entry)
    put(root)
    assert [place.id for place in places(files_of(root))] == ([new.place.id] if kept else [])
    assert read_checksums(files_of(root)) == ({f"{DAY}/0915Z.png": new.sha256} if kept else {})
    assert (root / "2026").exists() == kept


def test_derived_things_may_be_deleted_at_any_time(root, picture):
    put(root, picture("2026-06-03T0915Z"))
    with Store(derived_files(root)) as store:
        store.put(read_checksums, "a", None, "kept", blobs=[store.add_blob(b"a picture")])
    for number, folder in enumerate((".northlimb", ".northlimb-work"), start=1):
        shutil.rmtree(root / folder)
        assert len(places(files_of(root))) == number
        put(root, picture(f"2026-06-03T1{number}15Z"))
        assert len(places(files_of(root))) == number + 1
    with Store(derived_files(root)) as store:
        assert store.get(read_checksums, "a", None, str) is None


@pytest.mark.skipif(os.name != "posix", reason="permissions of POSIX systems")
def test_files_are_as_readable_as_the_system_makes_new_files(root, picture):
    put(root, picture("2026-06-03T0915Z"))
    (root / "plain").write_bytes(b"")
    modes = {
        (root / file).stat().st_mode for file in ("plain", f"{DAY}/0915Z.png", f"{DAY}/0915Z.toml", "checksums.sha256")
    }
    assert len(modes) == 1


def test_a_reader_goes_on_where_no_lock_can_be_made(root):
    (root / ".northlimb-work").write_text("not a folder", encoding="utf-8")
    with reading(files_of(root)):
        pass
    with pytest.raises(FolderError), writing(files_of(root)):
        pass


def test_readers_share(root):
    with reading(files_of(root)), reading(files_of(root)):
        pass


def test_a_reader_and_a_writer_keep_each_other_out(root):
    with (
        writing(files_of(root)),
        pytest.raises(FolderError, match="another northlimb is at work"),
        reading(files_of(root)),
    ):
        pass
    with (
        reading(files_of(root)),
        pytest.raises(FolderError, match="another northlimb is at work"),
        writing(files_of(root)),
    ):
        pass


@pytest.mark.parametrize(
    ("place", "kept"),
    [
        ("2026/2026-06-03/film.mp4", "2026"),
        ("1999", "1999"),
        (".northlimb/site", ".northlimb"),
        (".northlimb-work/film.mp4", ".northlimb-work"),
        ("removed/film.mp4", "removed"),
        ("link/film.mp4", "2026"),
        ("site", None),
        ("film.mp4", None),
        ("../2026/film.mp4", None),
    ],
)
def test_what_an_archive_keeps_is_known_from_any_path(root, place, kept):
    (root / "2026").mkdir()
    (root / "link").symlink_to(root / "2026", target_is_directory=True)
    assert kept_folder(root / place) == (None if kept is None else root.resolve() / kept)


def test_a_name_that_the_system_refuses_is_one_line(tmp_path):
    with pytest.raises(FolderError, match="cannot be read: File name too long"):
        open_folder(tmp_path / ("x" * 300))
