"""Folders of what was taken out: each comes after all that are there, whatever the clock says."""

from archive.records.archive_files import files_of
from archive.records.removed import new_removed_folder, removed_folders


def test_after_the_clock_went_back_the_latest_is_still_the_latest(root):
    (root / "removed/2099-01-01T000000Z-removed").mkdir(parents=True)
    (root / "removed/2099-01-01T000000Z-amended").mkdir()
    (root / "removed/notes of mine").mkdir()
    first = new_removed_folder(files_of(root), "removed")
    (root / first).mkdir()
    second = new_removed_folder(files_of(root), "removed")
    (root / second).mkdir()
    assert removed_folders(files_of(root), "removed")[:2] == [second, first]


def test_a_folder_is_named_for_the_time_and_what_is_done(root):
    name = new_removed_folder(files_of(root), "amended")
    (root / name).mkdir(parents=True)
    assert name.startswith("removed/20")
    assert name.endswith("Z-amended")
    assert removed_folders(files_of(root), "amended") == [name]
    assert removed_folders(files_of(root), "removed") == []
