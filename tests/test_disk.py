"""The one door to the disk: what lies below a folder is reached, and nothing else, whatever links and names say."""

from __future__ import annotations

import errno
import os
import shutil
import stat
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest

from archive.disk import TEMPORARY_SUFFIX, Folder, open_named, stamp_of, walk_named
from archive.errors import FolderError

SECRET = b"outside"


@pytest.fixture(autouse=True, params=["by descriptors", "by paths"])
def _way(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """Also as on systems that have no calls by descriptor, where each step of a path is looked at."""
    if request.param == "by paths":
        monkeypatch.setattr("archive.disk.reaching.BY_DESCRIPTOR", False)


@pytest.fixture
def inside(tmp_path: Path) -> Path:
    """A folder with a file and a folder, and links out of it; beside it what they lead to."""
    (tmp_path / "outside/deep").mkdir(parents=True)
    for name in ("secret.txt", "deep/secret.txt"):
        (tmp_path / "outside" / name).write_bytes(SECRET)
    folder = tmp_path / "inside"
    (folder / "days").mkdir(parents=True)
    (folder / "days/notes.md").write_bytes(b"own")
    (folder / "linked").symlink_to(tmp_path / "outside", target_is_directory=True)
    (folder / "days/linked").symlink_to(tmp_path / "outside", target_is_directory=True)
    (folder / "file-link").symlink_to(tmp_path / "outside/secret.txt")
    (folder / "dangling").symlink_to(tmp_path / "outside/new.txt")
    return folder


@pytest.fixture
def files(inside: Path) -> Folder:
    return Folder(inside)


def outside_of(inside: Path) -> dict[str, bytes]:
    outside = inside.parent / "outside"
    return {path.relative_to(outside).as_posix(): path.read_bytes() for path in outside.rglob("*") if path.is_file()}


def facts_of(path: Path) -> tuple[int, int, int, int]:
    """All but when it was read last."""
    status = path.stat()
    return status.st_mode, status.st_nlink, status.st_mtime_ns, status.st_ctime_ns


UNTOUCHED = {"secret.txt": SECRET, "deep/secret.txt": SECRET}
WAYS: dict[str, Callable[[Folder, str], object]] = {
    "read": lambda files, name: files.read(f"{name}/secret.txt"),
    "list": lambda files, name: files.names(name),
    "walk": lambda files, name: list(files.walk(name)),
    "write": lambda files, name: files.write(f"{name}/secret.txt", b"new"),
    "write anew": lambda files, name: files.write(f"{name}/new.txt", b"new"),
    "make a folder": lambda files, name: files.make_folder(f"{name}/folder"),
    "remove": lambda files, name: files.remove(f"{name}/secret.txt"),
    "remove all": lambda files, name: files.remove_tree(f"{name}/deep"),
    "rename from": lambda files, name: files.rename(f"{name}/secret.txt", "stolen.txt"),
    "rename to": lambda files, name: files.rename("days/notes.md", f"{name}/secret.txt"),
    "link from": lambda files, name: files.link(f"{name}/secret.txt", "stolen.txt"),
    "clone from": lambda files, name: files.clone(f"{name}/secret.txt", "stolen.txt"),
    "clone to": lambda files, name: files.clone("days/notes.md", f"{name}/secret.txt"),
    "change rights": lambda files, name: files.chmod(f"{name}/secret.txt", 0o777),
    "set times": lambda files, name: files.set_times(f"{name}/secret.txt", accessed_ns=0, changed_ns=0),
    "lock": lambda files, name: files.open_for_lock(f"{name}/secret.txt"),
}


@pytest.mark.parametrize("name", ["linked", "days/linked", "..", "days/../../outside", "../outside"])
@pytest.mark.parametrize("way", WAYS)
def test_no_way_leads_out_of_the_folder(inside: Path, files: Folder, way: str, name: str) -> None:
    before = facts_of(inside.parent / "outside/secret.txt")
    try:
        found = WAYS[way](files, name)
    except (OSError, FolderError):
        found = None
    assert found in (None, False)
    assert outside_of(inside) == UNTOUCHED
    assert facts_of(inside.parent / "outside/secret.txt") == before


@pytest.mark.parametrize("way", ["read", "lock", "chmod"])
def test_a_link_to_a_file_is_not_followed(inside: Path, files: Folder, way: str) -> None:
    calls = {"read": files.read, "lock": files.open_for_lock, "chmod": lambda name: files.chmod(name, 0o777)}
    with pytest.raises(OSError, match="is a link, and no link is followed here") as caught:
        calls[way]("file-link")
    assert caught.value.filename == str(inside / "file-link")
    assert not files.is_file("file-link")
    assert files.exists("file-link")


@pytest.mark.parametrize("name", ["file-link", "dangling"])
def test_what_is_written_takes_the_place_of_a_link(inside: Path, files: Folder, name: str) -> None:
    files.write(name, b"own")
    assert outside_of(inside) == UNTOUCHED
    assert not (inside / name).is_symlink()
    assert files.read(name) == b"own"


@pytest.mark.parametrize("target", ["outside/secret.txt", "outside/new.txt"], ids=["to a file", "dangling"])
def test_a_link_in_the_place_of_a_temporary_name_is_not_written_through(
    inside: Path, files: Folder, target: str
) -> None:
    (inside / f"days/notes.md{TEMPORARY_SUFFIX}").symlink_to(inside.parent / target)
    files.write("days/notes.md", b"new")
    assert outside_of(inside) == UNTOUCHED
    assert files.read("days/notes.md") == b"new"


def test_a_new_file_is_not_made_where_anything_is(files: Folder) -> None:
    for name in ("dangling", "days/notes.md", "days"):
        with pytest.raises(FileExistsError), files.create(name):
            pass


def test_a_link_itself_can_be_removed_and_renamed(inside: Path, files: Folder) -> None:
    assert files.remove_tree("linked")
    files.rename("file-link", "days/elsewhere")
    assert (inside / "days/elsewhere").is_symlink()
    assert files.remove("days/elsewhere")
    assert outside_of(inside) == UNTOUCHED


def test_only_a_link_at_the_top_that_may_be_followed_is(inside: Path) -> None:
    files = Folder(inside, follow=lambda name: name == "linked")
    assert files.read("linked/secret.txt") == SECRET
    assert files.folders() == ["days", "linked"]
    assert files.below("linked").read("deep/secret.txt") == SECRET
    assert "linked/secret.txt" in dict(files.walk())
    with pytest.raises(OSError, match="is a link"):
        files.read("days/linked/secret.txt")
    assert files.remove_tree("linked")  # the link, not what it leads to
    assert outside_of(inside) == UNTOUCHED


def test_a_folder_below_is_reached_through_the_one_above(inside: Path, files: Folder) -> None:
    days = files.below("days")
    assert days.read("notes.md") == b"own"
    assert days.path == inside / "days"
    with pytest.raises(OSError, match="is a link"):
        files.below("linked").read("secret.txt")
    deep = files.below("new/folder")
    deep.write("a.txt", b"a")
    assert (inside / "new/folder/a.txt").read_bytes() == b"a"


def test_a_pipe_keeps_nobody_waiting(inside: Path, files: Folder) -> None:
    os.mkfifo(inside / "pipe")
    with pytest.raises(OSError, match="not a regular file"):
        files.read("pipe")
    with pytest.raises(OSError, match="not a regular file"):
        open_named(inside / "pipe")


def test_a_file_is_there_whole_or_as_it_was(inside: Path, files: Folder, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(descriptor: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(FolderError, match=r"days/notes\.md: cannot be written: No space left on device"):
        files.write("days/notes.md", b"new")
    assert files.read("days/notes.md") == b"own"
    assert files.names("days") == ["linked", "notes.md"]


@pytest.mark.skipif(os.name != "posix", reason="permissions of POSIX systems")
def test_permissions_of_a_file_replaced_stay(inside: Path, files: Folder) -> None:
    (inside / "days/notes.md").chmod(0o640)
    files.write("days/notes.md", b"new")
    assert stat.S_IMODE((inside / "days/notes.md").stat().st_mode) == 0o640


def test_more_than_is_wanted_is_not_read(files: Folder) -> None:
    assert files.read("days/notes.md", most_bytes=3) == b"own"
    with pytest.raises(OSError, match="over the 2e-06 MB that it may have"):
        files.read("days/notes.md", most_bytes=2)


def test_a_stamp_tells_a_file_that_was_written_over_with_its_old_size_and_time(inside: Path, files: Folder) -> None:
    status = files.status("days/notes.md")
    assert status is not None
    (inside / "days/notes.md").write_bytes(b"OWN")
    os.utime(inside / "days/notes.md", ns=(status.st_atime_ns, status.st_mtime_ns))
    now = files.status("days/notes.md")
    assert now is not None
    assert (now.st_size, now.st_mtime_ns) == (status.st_size, status.st_mtime_ns)
    assert stamp_of(now) != stamp_of(status)


def test_names_are_exchanged_in_one_step_or_not_at_all(inside: Path, files: Folder) -> None:
    files.write("other/b.txt", b"b")
    if not files.exchange("days", "other"):  # this system cannot: nothing has changed
        assert files.names("other") == ["b.txt"]
        return
    assert files.names("days") == ["b.txt"]
    with pytest.raises(FileNotFoundError):
        files.exchange("days", "not-there")


def test_empty_folders_go_up_to_the_first_that_holds_something(inside: Path, files: Folder) -> None:
    files.make_folder("a/b/c")
    files.write("a/kept.txt", b"")
    files.remove_empty("a/b/c")
    assert files.names("a") == ["kept.txt"]


def test_below_a_named_folder_links_are_passed_over(inside: Path) -> None:
    assert [path.relative_to(inside).as_posix() for path in walk_named(inside)] == ["days/notes.md"]


def test_a_file_of_holes_does_not_fill_the_memory(inside: Path, files: Folder) -> None:
    with (inside / "days/holes").open("wb") as stream:
        stream.truncate(1 << 40)
    with pytest.raises(OSError, match=r"over the 1073\.74 MB that it may have"):
        files.read("days/holes")


def test_folders_in_each_other_without_end_keep_nobody_waiting(inside: Path, files: Folder) -> None:
    (inside / "deep" / "/".join("a" * 103)).mkdir(parents=True)
    with pytest.raises(OSError, match="over 100 nested folders; remove them"):
        list(files.walk("deep"))


def test_a_clone_is_made_where_the_system_copies_by_reference(tmp_path: Path) -> None:
    """What this file system can is told by `cp --reflink=always` (GNU coreutils)."""
    (tmp_path / "one").write_bytes(b"light" * 5000)
    call = ["cp", "--reflink=always", str(tmp_path / "one"), str(tmp_path / "by-cp")]
    can = shutil.which("cp") is not None and not subprocess.run(call, check=False, stderr=subprocess.DEVNULL).returncode
    folder = Folder(tmp_path)
    assert folder.clone("one", "other") == can
    assert (tmp_path / "other").exists() == can
    if can:
        (tmp_path / "one").write_bytes(b"dark")
        assert (tmp_path / "other").read_bytes() == b"light" * 5000
    with pytest.raises(FileNotFoundError):
        folder.clone("gone", "third")
    (tmp_path / "there").write_bytes(b"")
    with pytest.raises(FileExistsError):
        folder.clone("one", "there")
