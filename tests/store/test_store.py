"""Values and blobs are found while all that they were made from is as it was, and never after."""

from __future__ import annotations

import os
import signal
import sqlite3
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from archive.disc.tone import flatten_disc
from archive.disk import Folder
from archive.orientation.spots import solve_spots
from archive.store import Blob, DamagedBlobError, Store, digest
from archive.store.database import FILE


@dataclass(frozen=True)
class Sight:
    name: str
    right: tuple[float, ...]


SIGHT = Sight("2026-06-03T0915Z", (0.5, -0.25))


@pytest.fixture
def folder(tmp_path: Path) -> Folder:
    return Folder(tmp_path).below(".northlimb")


def blob_path(folder: Folder, blob: Blob) -> Path:
    return folder.path / "blobs" / blob.sha256[:2] / blob.sha256[2:]


def test_a_value_is_found_again_by_maker_name_and_inputs(folder: Folder) -> None:
    with Store(folder) as store:
        store.put(flatten_disc, "one", [1, (2.5, None)], SIGHT)
    with Store(folder) as store:
        assert store.get(flatten_disc, "one", [1, (2.5, None)], Sight) == SIGHT
        assert store.get(flatten_disc, "one", [1, (2.5, 0.0)], Sight) is None
        assert store.get(flatten_disc, "two", [1, (2.5, None)], Sight) is None
        assert store.get(solve_spots, "one", [1, (2.5, None)], Sight) is None


def test_a_new_value_takes_the_place_of_the_old_one(folder: Folder) -> None:
    with Store(folder) as store:
        store.put(flatten_disc, "one", 1, SIGHT)
        store.put(flatten_disc, "one", 2, Sight("later", ()))
        assert store.get(flatten_disc, "one", 1, Sight) is None
        assert store.get(flatten_disc, "one", 2, Sight) == Sight("later", ())


def test_none_is_a_value_like_any_other(folder: Folder) -> None:
    asked: list[int] = []

    def call() -> None:
        asked.append(1)

    for _ in range(2):
        with Store(folder) as store:
            assert store.derive(flatten_disc, "none", 0, Sight | None, call) is None
    assert asked == [1]


def test_many_values_are_made_only_where_they_are_missing(folder: Folder) -> None:
    made: list[str] = []

    def call(name: str) -> str | None:
        made.append(name)
        return name if name == "one" else None

    for inputs in ({"one": 1, "none": 1}, {"none": 1, "one": 2}):
        with Store(folder) as store:
            found = store.derive_all(flatten_disc, inputs, str | None, call)
            assert list(found.items()) == [(name, "one" if name == "one" else None) for name in inputs]
    assert made == ["one", "none", "one"]


def test_a_value_that_does_not_fit_its_kind_is_missing(folder: Folder) -> None:
    with Store(folder) as store:
        store.put(flatten_disc, "one", 0, [1, 2, 3])
        assert store.get(flatten_disc, "one", 0, Sight) is None


def test_what_nobody_asks_for_is_forgotten_with_its_blobs(folder: Folder) -> None:
    with Store(folder) as store:
        kept, gone = store.add_blob(b"kept"), store.add_blob(b"gone")
        store.put(flatten_disc, "kept", 0, kept, blobs=[kept])
        store.put(flatten_disc, "gone", 0, gone, blobs=[gone, kept])
        store.put(solve_spots, "gone", 0, 1)
        store.commit()
        store.forget(flatten_disc, keep=["kept"])
        store.commit()
        assert store.get(flatten_disc, "gone", 0, Blob) is None
        assert store.get(solve_spots, "gone", 0, int) == 1
        assert not blob_path(folder, gone).exists()
        assert store.read_blob(kept) == b"kept"
        store.forget_makers(keep=[flatten_disc])
        assert store.get(solve_spots, "gone", 0, int) is None


def test_equal_blobs_are_one_file_and_stay_as_long_as_one_value_holds_them(folder: Folder) -> None:
    with Store(folder) as store:
        first, second = store.add_blob(b"same"), store.add_blob(b"same")
        assert first == second
        store.put(flatten_disc, "a", 0, first, blobs=[first])
        store.put(flatten_disc, "b", 0, second, blobs=[second])
        store.put(flatten_disc, "a", 1, None)
        store.commit()
        assert store.read_blob(second) == b"same"
        store.put(flatten_disc, "b", 1, None)
        store.commit()
        assert not blob_path(folder, first).exists()


@pytest.mark.parametrize("harm", ["cut", "changed", "gone", "a folder", "a link"])
def test_a_harmed_blob_is_noticed_and_what_held_it_made_anew(folder: Folder, harm: str, tmp_path: Path) -> None:
    with Store(folder) as store:
        whole, other = store.add_blob(b"picture"), store.add_blob(b"another picture")
        store.put(flatten_disc, "whole", 0, whole, blobs=[whole])
        store.put(flatten_disc, "other", 0, other, blobs=[other])
    path = blob_path(folder, whole)
    if harm == "cut":
        path.write_bytes(b"pict")
    elif harm == "changed":
        path.write_bytes(b"PICTURE")
    else:
        path.unlink()
    if harm == "a folder":
        path.mkdir()
    if harm == "a link":
        (tmp_path / "outside").write_bytes(b"picture")
        path.symlink_to(tmp_path / "outside")
    with Store(folder) as store:
        with pytest.raises(DamagedBlobError):
            store.read_blob(whole)
        store.check_blobs()
        assert store.get(flatten_disc, "whole", 0, Blob) is None
        assert store.get(flatten_disc, "other", 0, Blob) == other


def test_a_file_is_taken_by_moving_it(folder: Folder, tmp_path: Path) -> None:
    from archive.disk import StoredFile

    (tmp_path / "film.mp4").write_bytes(b"frames")
    with Store(folder) as store:
        blob = store.take_blob(StoredFile(Folder(tmp_path), "film.mp4"))
        store.put(flatten_disc, "film", 0, blob, blobs=[blob])
        assert store.read_blob(blob) == b"frames"
    assert not (tmp_path / "film.mp4").exists()


# What is in the file's place


def rewrite(folder: Folder, statement: str, *values: object) -> None:
    connection = sqlite3.connect(folder.path / FILE)
    with connection:
        connection.execute(statement, values)
    connection.close()


def test_a_row_changed_by_anything_else_is_missing(folder: Folder) -> None:
    with Store(folder) as store:
        store.put(flatten_disc, "one", 0, 41)
        store.put(flatten_disc, "two", 0, 41)
    rewrite(folder, "UPDATE value SET value = x'9129' WHERE name = 'one'")
    with Store(folder) as store:
        assert store.get(flatten_disc, "one", 0, int) is None
        assert store.get(flatten_disc, "two", 0, int) == 41


def test_a_row_of_another_name_does_not_pass_for_this_one(folder: Folder) -> None:
    with Store(folder) as store:
        store.put(flatten_disc, "one", 0, 41)
    rewrite(folder, "UPDATE value SET name = 'two'")
    with Store(folder) as store:
        assert store.get(flatten_disc, "two", 0, int) is None


def test_what_another_user_kept_is_not_believed(
    folder: Folder, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    code = (
        "import sys; from pathlib import Path; from archive.disk import Folder; from archive.store import Store; "
        "from archive.disc.tone import flatten_disc\n"
        "store = Store(Folder(Path(sys.argv[1]).parent).below('.northlimb')); "
        "store.put(flatten_disc, 'one', 0, 41); store.close()"
    )
    other = {**os.environ, "XDG_CONFIG_HOME": str(tmp_path / "other-user")}
    subprocess.run([sys.executable, "-c", code, str(folder.path)], check=True, env=other)
    with Store(folder) as store:
        assert store.get(flatten_disc, "one", 0, int) is None
    subprocess.run([sys.executable, "-c", code, str(folder.path)], check=True)
    with Store(folder) as store:
        assert store.get(flatten_disc, "one", 0, int) == 41


@pytest.mark.parametrize(
    "content",
    [b"", b"not a database at all" * 100, b"SQLite format 3\0" + bytes(5000), os.urandom(8192)],
    ids=["empty", "text", "header alone", "noise"],
)
def test_a_file_that_is_no_store_is_replaced(folder: Folder, content: bytes) -> None:
    folder.path.mkdir()
    (folder.path / FILE).write_bytes(content)
    with Store(folder) as store:
        store.put(flatten_disc, "one", 0, 41)
    with Store(folder) as store:
        assert store.get(flatten_disc, "one", 0, int) == 41


@pytest.mark.parametrize(
    "statement",
    [
        "PRAGMA user_version = 7",
        "PRAGMA user_version = 0",
        "CREATE TRIGGER harm AFTER INSERT ON value BEGIN DELETE FROM value; END",
        "CREATE VIEW more AS SELECT * FROM value",
        "ALTER TABLE value ADD COLUMN more TEXT",
        "DROP TABLE blob",
    ],
)
def test_a_store_of_another_version_or_with_more_in_it_is_replaced(folder: Folder, statement: str) -> None:
    with Store(folder) as store:
        store.put(flatten_disc, "one", 0, 41)
    rewrite(folder, statement)
    with Store(folder) as store:
        assert store.get(flatten_disc, "one", 0, int) is None
        store.put(flatten_disc, "two", 0, 42)
    with Store(folder) as store:
        assert store.get(flatten_disc, "two", 0, int) == 42


def test_every_cut_and_many_flipped_bits_lose_rows_at_most(folder: Folder, tmp_path: Path) -> None:
    with Store(folder) as store:
        for number in range(200):
            store.put(flatten_disc, str(number), number, [number] * 40)
    whole = (folder.path / FILE).read_bytes()
    rng = np.random.default_rng(20261130)
    for trial in range(60):
        data = bytearray(whole)
        if trial % 2:
            del data[int(rng.integers(len(data))) :]
        else:
            for place in rng.integers(len(data), size=20):
                data[int(place)] ^= 1 << int(rng.integers(8))
        (folder.path / FILE).write_bytes(data)
        with Store(folder) as store:
            for number in range(200):
                assert store.get(flatten_disc, str(number), number, list[int]) in (None, [number] * 40)
            store.put(flatten_disc, "new", 0, trial)
        with Store(folder) as store:
            assert store.get(flatten_disc, "new", 0, int) == trial


@pytest.mark.parametrize("ending", ["", "-journal", "-wal", "-shm"])
def test_a_link_in_the_place_of_its_files_is_removed_not_followed(folder: Folder, tmp_path: Path, ending: str) -> None:
    folder.path.mkdir()
    canary = tmp_path / "canary"
    canary.write_bytes(b"of somebody else")
    (folder.path / (FILE + ending)).symlink_to(canary)
    with Store(folder) as store:
        store.put(flatten_disc, "one", 0, 41)
    with Store(folder) as store:
        assert store.get(flatten_disc, "one", 0, int) == 41
    assert canary.read_bytes() == b"of somebody else"


def test_a_planted_journal_removes_no_other_file(folder: Folder, tmp_path: Path) -> None:
    """A journal may end in the name of a journal of journals, which the library removes when it rolls back."""
    with Store(folder) as store:
        store.put(flatten_disc, "one", 0, 41)
    canary = tmp_path / "canary"
    canary.write_bytes(b"of somebody else")
    name = str(canary).encode()
    header = bytes.fromhex("d9d505f920a163d7") + b"\xff\xff\xff\xff" + bytes(4) + (8).to_bytes(4, "big")
    header += (512).to_bytes(4, "big") + (4096).to_bytes(4, "big")
    # https://www.sqlite.org/fileformat.html#the_rollback_journal; the end as the library's source has it (pager.c).
    end = (1 << 30).to_bytes(4, "big") + name + len(name).to_bytes(4, "big") + sum(name).to_bytes(4, "big")
    journal = header.ljust(512, b"\0") + end + bytes.fromhex("d9d505f920a163d7")
    (folder.path / f"{FILE}-journal").write_bytes(journal)
    with Store(folder) as store:
        store.put(flatten_disc, "two", 0, 42)
    assert canary.read_bytes() == b"of somebody else"


# When something stops it

WRITER = """
import sys
from pathlib import Path
from archive.disc.tone import flatten_disc
from archive.disk import Folder
from archive.store import Store
store = Store(Folder(Path(sys.argv[1]).parent).below('.northlimb'))
print("ready", flush=True)
for number in range(100_000):
    blob = store.add_blob(b"blob of %d" % number)
    store.put(flatten_disc, str(number % 500), number, number, blobs=[blob])
    if number % 50 == 0:
        store.commit()
"""


def test_a_kill_at_any_instant_loses_the_last_values_at_most(folder: Folder) -> None:
    import time

    for wait_s in (0.02, 0.1, 0.2, 0.35, 0.5):
        run = subprocess.Popen([sys.executable, "-c", WRITER, str(folder.path)], stdout=subprocess.PIPE)
        assert run.stdout is not None
        run.stdout.readline()
        time.sleep(wait_s)
        run.send_signal(signal.SIGKILL)
        run.wait()
        run.stdout.close()
        with Store(folder) as store:
            store.clear_interrupted()
            blob = store.add_blob(b"after")
            store.put(solve_spots, "after", 0, 0, blobs=[blob])
            store.commit()
            store.check_blobs()
            found = {path.parent.name + path.name for path in folder.path.rglob("blobs/*/*")}
            rows = sqlite3.connect(folder.path / FILE).execute("SELECT sha256 FROM blob").fetchall()
            assert found == {sha256 for (sha256,) in rows}
            assert len(found) <= 501


def test_a_full_disk_keeps_what_was_there(folder: Folder) -> None:
    with Store(folder) as store:
        store.put(flatten_disc, "before", 0, 41)
    code = (
        "import resource, sys, signal; from pathlib import Path; from archive.disc.tone import flatten_disc\n"
        "from archive.disk import Folder; from archive.store import Store\n"
        "signal.signal(signal.SIGXFSZ, signal.SIG_IGN)\n"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (65536, 65536))\n"
        "store = Store(Folder(Path(sys.argv[1]).parent).below('.northlimb'))\n"
        "for number in range(3000): store.put(flatten_disc, str(number), 0, 'x' * 500)\n"
        "assert store.get(flatten_disc, 'before', 0, int) == 41\n"
        "store.close()\n"
    )
    subprocess.run([sys.executable, "-c", code, str(folder.path)], check=True)
    with Store(folder) as store:
        assert store.get(flatten_disc, "before", 0, int) == 41


def test_a_store_that_cannot_be_written_is_read(folder: Folder) -> None:
    with Store(folder) as store:
        store.put(flatten_disc, "before", 0, 41)
    code = (
        "import os, sys; from pathlib import Path; from archive.disc.tone import flatten_disc\n"
        "from archive.disk import Folder; from archive.store import Store\n"
        "import archive.computer_key as key; key.keyed_hash(b'')\n"
        "from archive.store.code import code_digest; code_digest(flatten_disc)\n"
        "os.setgid(65534); os.setuid(65534)\n"
        "store = Store(Folder(Path(sys.argv[1]).parent).below('.northlimb'))\n"
        "assert store.get(flatten_disc, 'before', 0, int) == 41\n"
        "store.put(flatten_disc, 'after', 0, 42); store.close()\n"
    )
    if os.getuid() != 0:
        pytest.skip("only root can become nobody")
    for path in (folder.path, *folder.path.parents):
        if path.stat().st_mode & 0o005 != 0o005:
            path.chmod(0o755)
    (folder.path / FILE).chmod(0o644)
    subprocess.run([sys.executable, "-c", code, str(folder.path)], check=True)
    with Store(folder) as store:
        assert store.get(flatten_disc, "after", 0, int) is None


def test_two_at_once_both_keep_what_they_made(folder: Folder) -> None:
    """They open a store that is not there yet at the same instant."""
    code = (
        "import sys; from pathlib import Path; from archive.disc.tone import flatten_disc\n"
        "from archive.disk import Folder; from archive.store import Store\n"
        "print('ready', flush=True); sys.stdin.readline()\n"
        "store = Store(Folder(Path(sys.argv[1]).parent).below('.northlimb'))\n"
        "for number in range(1000): store.put(flatten_disc, f'{sys.argv[2]} {number}', 0, number)\n"
        "store.close()\n"
    )
    pipes = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE, "text": True}
    runs = [subprocess.Popen([sys.executable, "-c", code, str(folder.path), name], **pipes) for name in ("a", "b")]
    for run in runs:
        assert run.stdout is not None
        assert run.stdout.readline() == "ready\n"
    for run in runs:
        assert run.stdin is not None
        run.stdin.write("\n")
        run.stdin.flush()
    for run in runs:
        run.communicate()
        assert run.returncode == 0
    with Store(folder) as store:
        for name in ("a", "b"):
            assert all(store.get(flatten_disc, f"{name} {number}", 0, int) == number for number in range(1000))


def test_without_a_folder_nothing_is_kept() -> None:
    with Store(None) as store:
        store.put(flatten_disc, "one", 0, 41)
        assert store.get(flatten_disc, "one", 0, int) is None
        assert store.derive(flatten_disc, "one", 0, int, lambda: 42) == 42


# Digests


@pytest.mark.parametrize(
    ("one", "other"),
    [
        (1, 2), (1, "1"), ("a", b"a"), ([1, 2], [2, 1]), ((1, (2, 3)), ((1, 2), 3)), (None, 0), (0.0, -0.0),
        (SIGHT, Sight(SIGHT.name, (0.5, -0.25000000000000006))),
        (np.array([1.0]), np.array([1.0], dtype=np.float32)), (np.zeros((2, 3)), np.zeros((3, 2))),
    ],
)  # fmt: skip
def test_different_values_have_different_digests(one: object, other: object) -> None:
    assert digest(one) != digest(other)


def test_equal_values_have_one_digest() -> None:
    assert digest({"a": 1, "b": SIGHT}) == digest({"b": Sight(SIGHT.name, (0.5, -0.25)), "a": 1})
    assert digest(np.arange(3.0)) == digest(np.array([0.0, 1.0, 2.0]))
