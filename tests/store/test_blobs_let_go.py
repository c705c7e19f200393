"""Blobs that no value holds any more go, whatever is asked meanwhile; those that another value has taken up stay."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from derived import blobs

from archive.disk import Folder
from archive.store import Store
from archive.store.digest import digest


@pytest.fixture
def archive(tmp_path: Path) -> Path:
    (tmp_path / ".northlimb").mkdir()
    return tmp_path


def opened(archive: Path) -> Store:
    return Store(Folder(archive / ".northlimb"))


def keep(store: Store, name: str, data: bytes) -> None:
    blob = store.add_blob(data)
    store.put(digest, name, None, blob, blobs=[blob])


def forget_others(store: Store) -> None:
    store.forget(digest, keep=["a", "b"])


def forget_makers(store: Store) -> None:
    store.forget_makers(keep=[digest])


@pytest.mark.parametrize("ask", [forget_others, forget_makers, Store.check_blobs, Store.commit])
def test_a_blob_of_a_value_that_was_replaced_goes(archive: Path, ask: Callable[[Store], object]) -> None:
    with opened(archive) as store:
        keep(store, "a", b"old")
    with opened(archive) as store:
        keep(store, "a", b"new")
        ask(store)
    assert [path.read_bytes() for path in blobs(archive)] == [b"new"]


@pytest.mark.parametrize("ask", [None, forget_others])
def test_a_blob_that_another_value_takes_up_in_the_same_run_stays(
    archive: Path, ask: Callable[[Store], object] | None
) -> None:
    with opened(archive) as store:
        keep(store, "a", b"old")
    with opened(archive) as store:
        keep(store, "a", b"new")
        if ask is not None:
            ask(store)
        keep(store, "b", b"old")
    assert sorted(path.read_bytes() for path in blobs(archive)) == [b"new", b"old"]


@pytest.mark.parametrize("ending", ["", "-journal"])
def test_a_table_of_several_names_is_not_written_into_elsewhere(archive: Path, ending: str) -> None:
    """As a copy of an archive made with hard links has; or somebody's file that was given the name of a journal."""
    with opened(archive) as store:
        keep(store, "a", b"old")
    table, elsewhere = archive / f".northlimb/store.sqlite{ending}", archive / "elsewhere"
    if ending:
        table.unlink(missing_ok=True)
        elsewhere.write_bytes(b"a letter")
        table.hardlink_to(elsewhere)
    else:
        elsewhere.hardlink_to(table)
    before = elsewhere.read_bytes()
    with opened(archive) as store:
        assert store.get(digest, "a", None, dict[str, object]) is not None
        keep(store, "a", b"new")
    assert elsewhere.read_bytes() == before
