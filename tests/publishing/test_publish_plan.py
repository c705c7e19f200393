"""What travels, in which order, and what the list of files at a target is believed."""

from __future__ import annotations

import json

import pytest
from website.invented import write_files

from archive.errors import PublishError
from archive.site_tree.digests import digest_of_bytes
from archive.site_tree.local_site import SiteFile
from archive.site_tree.manifest import Manifest, manifest_bytes, read_manifest
from archive.site_tree.plan import (
    Removals,
    batches,
    check_kept,
    in_the_way,
    make_plan,
    refuse_foreign,
    removals,
)

SITE = {
    name: digest_of_bytes(name.encode())
    for name in ("index.html", "days/a/index.html", "feed.xml", "discs/a.jpg", "data/x.json")
}


def test_a_list_of_files_is_the_one_that_build_writes(tmp_path) -> None:
    """Byte for byte, or an unchanged site would never be found unchanged."""
    write_files([SiteFile(name, name.encode()) for name in SITE], tmp_path / "site")
    written = (tmp_path / "site/files.json").read_bytes()
    assert manifest_bytes(SITE) == written
    assert read_manifest(written).files == SITE


NOTHING = Removals(())


def test_pages_follow_what_they_show_and_the_home_page_is_last() -> None:
    plan = make_plan(SITE, {}, NOTHING)
    assert plan.steps == (("data/x.json", "discs/a.jpg"), ("days/a/index.html",), ("feed.xml",), ("index.html",))
    assert plan.send == ("data/x.json", "discs/a.jpg", "days/a/index.html", "feed.xml", "index.html")


def test_pages_that_were_there_follow_the_new_ones_that_they_may_link_to() -> None:
    site = SITE | {"a.html": SITE["feed.xml"], "z.html": SITE["feed.xml"]}
    there = {"a.html": None, "feed.xml": None, "index.html": None}
    assert make_plan(site, there, NOTHING).steps[1:] == (
        ("days/a/index.html", "z.html"),
        ("a.html", "feed.xml"),
        ("index.html",),
    )


def test_batches_hold_so_many_files_and_bytes() -> None:
    names = list(SITE)
    assert list(batches(names, SITE, files=10, size=1000)) == [names]
    assert [len(one) for one in batches(names, SITE, files=2, size=1000)] == [2, 2, 1]
    assert [len(one) for one in batches(names, SITE, files=10, size=20)] == [1, 1, 2, 1]


def test_a_file_stays_only_where_it_is_known_to_hold_the_same() -> None:
    assert make_plan(SITE, SITE, NOTHING).send == ()
    assert make_plan(SITE, SITE | {"feed.xml": SITE["index.html"]}, NOTHING).send == ("feed.xml",)
    assert make_plan(SITE, SITE | {"feed.xml": None}, NOTHING).send == ("feed.xml",)
    assert len(make_plan(SITE, {}, NOTHING).send) == 5


def test_what_a_stopped_run_left_is_ours_and_nothing_else_is() -> None:
    held = read_manifest(manifest_bytes({}, ["old.html"]))
    names = ["old.html", "discs/.a.jpg.northlimb-part", "mine.txt", "logs/x"]
    gone = removals(SITE, held, names, keep=("logs/",))
    assert gone == Removals(("discs/.a.jpg.northlimb-part", "mine.txt", "old.html"), ("mine.txt",))
    with pytest.raises(PublishError, match=r"not of this site: mine\.txt"):
        refuse_foreign("there", gone, names, ours=True, adopt=False)
    refuse_foreign("there", gone, names, ours=True, adopt=True)


@pytest.mark.parametrize("name", [".git/HEAD", "deep/archive.toml", "checksums.sha256"])
def test_originals_and_histories_are_never_taken_over(name: str) -> None:
    gone = removals(SITE, Manifest(), [name], keep=())
    with pytest.raises(PublishError, match="for the site only"):
        refuse_foreign("there", gone, [name], ours=False, adopt=True)


def test_what_stands_in_the_way_goes_first() -> None:
    names = ["discs", "feed.xml/old.txt", "other.txt"]
    gone = removals(SITE, Manifest(True, rows=dict.fromkeys(names)), names, keep=())
    assert in_the_way(make_plan(SITE, {}, gone)) == ("discs", "feed.xml/old.txt")


@pytest.mark.parametrize("kept", ["discs", "feed.xml/x"])
def test_what_is_kept_may_not_stand_where_the_site_goes(kept: str) -> None:
    with pytest.raises(PublishError, match=f"the site needs the place of {kept}"):
        check_kept("there", SITE, [kept])
    check_kept("there", SITE, ["logs/x", "discs/b.jpg"])


@pytest.mark.parametrize(
    "data",
    [None, b"", b"[]", b"{", b'{"generator": "other"}', b"[" * 100_000, b"\xff\xfe"],
    ids=["none", "empty", "list", "cut", "other", "deep", "bytes"],
)
def test_a_list_of_somebody_else_is_not_ours(data: bytes | None) -> None:
    assert not read_manifest(data).ours


def test_paths_that_leave_the_site_are_not_believed() -> None:
    """A list at a target may be written by anybody: what it names could be removed."""
    bad = ["../x", "/etc/passwd", "a/../../x", "", "a\\b", "a\0b", 3, None]
    rows = [{"path": path, "sha256": "0", "bytes": 1} for path in [*bad, "good"]]
    held = read_manifest(json.dumps({"generator": "Northlimb", "files": rows, "pending": bad}).encode())
    assert (list(held.files), held.pending) == (["good"], frozenset())
