"""What travels, in which order, and what the list of files at a target is believed."""

from __future__ import annotations

import json

import pytest
from website.invented import write_files

from archive.errors import PublishError
from archive.publishing.digests import digest_of_bytes
from archive.publishing.manifest import Manifest, manifest_bytes, read_manifest
from archive.publishing.plan import batches, in_the_way, make_plan, refuse_foreign
from archive.website.site_files import SiteFile

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


def test_pages_follow_what_they_show_and_the_home_page_is_last() -> None:
    plan = make_plan(SITE, Manifest(), {}, keep=())
    assert plan.send == ("data/x.json", "discs/a.jpg", "days/a/index.html", "feed.xml", "index.html")
    assert list(batches(plan.send, SITE, files=10, size=1000)) == [
        ["data/x.json", "discs/a.jpg"],
        ["days/a/index.html", "feed.xml"],
        ["index.html"],
    ]
    assert [len(one) for one in batches(plan.send, SITE, files=1, size=1000)] == [1] * 5
    assert [len(one) for one in batches(plan.send, SITE, files=10, size=12)] == [1] * 5


def test_a_file_stays_only_where_list_and_size_agree() -> None:
    held = Manifest(True, files=SITE, rows=SITE)
    sizes = {name: digest.size for name, digest in SITE.items()}
    assert make_plan(SITE, held, sizes, keep=()).send == ()
    assert make_plan(SITE, held, {**sizes, "feed.xml": 1}, keep=()).send == ("feed.xml",)
    del sizes["discs/a.jpg"]
    assert make_plan(SITE, held, sizes, keep=()).send == ("discs/a.jpg",)
    assert len(make_plan(SITE, Manifest(True), sizes, keep=()).send) == 5


def test_what_a_stopped_run_left_is_ours_and_nothing_else_is() -> None:
    held = read_manifest(manifest_bytes({}, ["old.html"]))
    sizes = {"old.html": 1, "discs/.a.jpg.northlimb-part": 3, "mine.txt": 2, "logs/x": 1}
    plan = make_plan(SITE, held, sizes, keep=("logs/",))
    assert plan.remove == ("discs/.a.jpg.northlimb-part", "mine.txt", "old.html")
    assert plan.foreign == ("mine.txt",)
    with pytest.raises(PublishError, match=r"not of this site: mine\.txt"):
        refuse_foreign("there", plan, sizes, ours=True, adopt=False)
    refuse_foreign("there", plan, sizes, ours=True, adopt=True)


@pytest.mark.parametrize("name", [".git/HEAD", "deep/archive.toml", "checksums.sha256"])
def test_originals_and_histories_are_never_taken_over(name: str) -> None:
    plan = make_plan(SITE, Manifest(), {name: 1}, keep=())
    with pytest.raises(PublishError, match="for the site only"):
        refuse_foreign("there", plan, {name: 1}, ours=False, adopt=True)


def test_what_stands_in_the_way_goes_first() -> None:
    sizes = {"discs": 1, "feed.xml/old.txt": 1, "other.txt": 1}
    plan = make_plan(SITE, Manifest(True, rows=dict.fromkeys(sizes)), sizes, keep=())
    assert in_the_way(plan) == ("discs", "feed.xml/old.txt")


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
