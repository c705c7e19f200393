"""The site's folder: what changed is written, what vanished goes, what is not ours stays."""

from __future__ import annotations

import hashlib
import json
import os
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import replace
from functools import partial
from pathlib import Path

import pytest
from publishing.sites import publish_folder

from archive.built import SiteReport
from archive.disk import Folder
from archive.errors import FolderError, PublishError
from archive.site_tree.local_site import FileGroup, SiteFile, write_site
from archive.store import DamagedBlobError, Store
from archive.website.content import Content
from website.invented import OTHER_COLOUR, InventedContent, build_site, record_of, small_jpeg, write_files
from website.invented import content as invented_content


def _tree(folder: Path) -> dict[str, bytes]:
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def small_of(content: InventedContent) -> Path:
    with Store(content.derived) as store:
        file = store.stored(content.entries[0].pictures.small).file
    return file.folder.path / file.file


def _times(folder: Path) -> dict[str, int]:
    return {path.name: path.stat().st_mtime_ns for path in sorted(folder.rglob("*")) if path.is_file()}


def test_a_second_build_writes_nothing(content: Content, site: Path) -> None:
    before, folder = _times(site), site.stat().st_mtime_ns
    report = build_site(content, site, record=record_of(site))
    assert (report.written, report.removed) == (0, 0)
    assert site.stat().st_mtime_ns == folder
    assert report.unchanged == len(_tree(site)) - 1
    assert _times(site) == before


def test_the_same_content_gives_the_same_bytes_in_another_place(site: Path, tmp_path: Path) -> None:
    elsewhere = tmp_path / "elsewhere" / "again"
    build_site(invented_content(tmp_path / "other-derived"), elsewhere)
    assert _tree(elsewhere) == _tree(site)


def test_the_manifest_lists_every_other_file_with_its_hash(site: Path) -> None:
    manifest = json.loads((site / "files.json").read_text())
    tree = _tree(site)
    del tree["files.json"]
    assert (manifest["generator"], manifest["version"]) == ("Northlimb", 1)
    assert manifest["files"] == [
        {"path": path, "sha256": hashlib.sha256(data).hexdigest(), "bytes": len(data)}
        for path, data in sorted(tree.items())
    ]


def test_a_vanished_day_goes_with_its_folder(content: Content, site: Path) -> None:
    report = build_site(replace(content, entries=content.entries[1:]), site, record=record_of(site))
    assert not (site / "days/2026-06-02").exists()
    assert (site / "days/2026-06-03").is_dir()
    assert report.removed == 7  # page, disc, small and tiny disc, two in AVIF, as it came


def test_files_of_others_stay_even_in_a_vanished_day(content: Content, site: Path) -> None:
    (site / "CNAME").write_text("sun.quillmere.example")
    (site / "days/2026-06-02/mine.txt").write_text("mine")
    build_site(replace(content, entries=content.entries[1:]), site, record=record_of(site))
    assert (site / "CNAME").read_text() == "sun.quillmere.example"
    assert [path.name for path in (site / "days/2026-06-02").iterdir()] == ["mine.txt"]


def test_a_folder_of_someone_else_is_refused_and_left_alone(content: Content, tmp_path: Path) -> None:
    (tmp_path / "theirs").mkdir()
    (tmp_path / "theirs/index.html").write_text("theirs")
    with pytest.raises(FolderError, match=r"theirs: holds files but no files\.json of ours"):
        build_site(content, tmp_path / "theirs")
    assert _tree(tmp_path / "theirs") == {"index.html": b"theirs"}


@pytest.mark.parametrize(
    "manifest",
    [
        "not json",
        "[]",
        '{"generator": "Another", "version": 1, "files": []}',
        '{"generator": "Northlimb", "version": 1, "files": [{"path": "../mine", "sha256": "", "bytes": 0}]}',
    ],
    ids=["broken", "list", "another generator", "leaves the folder"],
)
def test_a_manifest_that_is_not_ours_is_refused(manifest: str, tmp_path: Path) -> None:
    (tmp_path / "mine").write_text("mine")
    (tmp_path / "site").mkdir()
    (tmp_path / "site/files.json").write_text(manifest)
    with pytest.raises(FolderError, match=r"files\.json: not a list of the site's files"):
        write_files([], tmp_path / "site")
    assert (tmp_path / "mine").exists()


def test_a_foreign_file_in_the_way_is_refused_not_overwritten(tmp_path: Path) -> None:
    write_files([SiteFile("a.txt", b"a")], tmp_path)
    (tmp_path / "b.txt").write_text("theirs")
    with pytest.raises(FolderError, match=r"b\.txt: in the way"):
        write_files([SiteFile("a.txt", b"new"), SiteFile("b.txt", b"b")], tmp_path)
    assert (tmp_path / "b.txt").read_text() == "theirs"
    assert (tmp_path / "a.txt").read_text() == "a"


def test_one_path_cannot_be_written_twice(tmp_path: Path) -> None:
    with pytest.raises(FolderError, match=r"a\.txt: this file of the site would be written twice"):
        write_files([SiteFile("a.txt", b"a"), SiteFile("a.txt", b"b")], tmp_path / "site")
    assert not (tmp_path / "site").exists()


@pytest.mark.parametrize("path", ["../out.txt", "/out.txt", "a/../../out.txt", "a\\out.txt", "", "c:out.txt"])
def test_a_path_that_leaves_the_folder_is_refused(path: str, tmp_path: Path) -> None:
    with pytest.raises(FolderError, match="not a path inside the site"):
        write_files([SiteFile(path, b"a")], tmp_path / "site")


@pytest.mark.parametrize("damage", ["gone", "cut", "a bit"])
def test_a_damaged_picture_is_named_and_nothing_is_written(
    content: InventedContent, tmp_path: Path, damage: str
) -> None:
    small = small_of(content)
    data = small.read_bytes()
    small.unlink()
    if damage != "gone":
        small.write_bytes(data[:-1] if damage == "cut" else bytes([data[0] ^ 4]) + data[1:])
    with pytest.raises(DamagedBlobError) as refused:
        build_site(content, tmp_path / "new")
    assert refused.value.blob == content.entries[0].pictures.small
    assert not (tmp_path / "new").exists()


def test_a_damaged_picture_leaves_the_site_as_it_was(content: InventedContent, site: Path) -> None:
    small_of(content).unlink()
    (site / "days/2026-06-02/0915Z-small.jpg").unlink()
    before = _tree(site)
    with pytest.raises(DamagedBlobError):
        build_site(replace(content, notes={}), site, record=record_of(site))
    assert _tree(site) == before


def test_a_picture_shares_the_bytes_on_the_disk_with_the_store(content: InventedContent, site: Path) -> None:
    assert (site / "days/2026-06-02/0915Z-small.jpg").samefile(small_of(content))


def test_an_interrupted_build_is_put_right_by_the_next(content: Content, site: Path) -> None:
    whole = _tree(site)
    (site / "index.html").write_bytes(b"hal")
    (site / "feed.xml").unlink()
    assert build_site(content, site, record=record_of(site)).written == 2
    assert _tree(site) == whole


def test_another_picture_is_written_though_its_size_and_date_are_the_same(tmp_path: Path) -> None:
    with Store(Folder(tmp_path).below("derived")) as store:
        one, two = (store.stored(store.add_blob(data)) for data in (b"one", b"two"))
        for stored in (one, two):
            os.utime(stored.file.folder.path / stored.file.file, ns=(0, 0))
        write_files([SiteFile("picture.jpg", one)], tmp_path / "site")
        assert write_files([SiteFile("picture.jpg", two)], tmp_path / "site") == SiteReport(1, 0, 0)
    assert (tmp_path / "site/picture.jpg").read_bytes() == b"two"


def test_a_picture_made_again_with_the_same_bytes_is_not_written(content: InventedContent, site: Path) -> None:
    before = _times(site)
    small_of(content).unlink()
    content.add_blob(small_jpeg(OTHER_COLOUR))
    assert build_site(content, site, record=record_of(site)).written == 0
    assert _times(site) == before


def test_no_half_written_files_are_left(site: Path) -> None:
    assert [path for path in site.rglob(".*")] == []


@pytest.fixture
def files_of_10_kb_at_most() -> Iterator[None]:
    """A limit on the size of files stands for the full disk."""
    resource = pytest.importorskip("resource", reason="POSIX limits")
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (10_000, before[1]))
    yield
    resource.setrlimit(resource.RLIMIT_FSIZE, before)


def test_a_full_disk_is_one_line_and_leaves_no_half_of_a_new_site(tmp_path: Path, files_of_10_kb_at_most: None) -> None:
    files = [SiteFile("index.html", b"small"), SiteFile("picture.jpg", b"0" * 50_000)]
    with pytest.raises(FolderError, match=r"picture\.jpg: cannot be written: File too large; check") as refused:
        write_files(files, tmp_path / "site")
    assert "\n" not in str(refused.value)
    assert list(tmp_path.iterdir()) == []


def test_a_full_disk_leaves_the_pages_of_an_older_site(tmp_path: Path, files_of_10_kb_at_most: None) -> None:
    old = [SiteFile("index.html", b"old"), SiteFile("gone.html", b"gone")]
    record = record_of(tmp_path / "site")
    write_files(old, tmp_path / "site", record=record)
    new = [SiteFile("index.html", b"new"), SiteFile("a.html", b"a"), SiteFile("picture.jpg", b"0" * 50_000)]
    with pytest.raises(FolderError, match=r"picture\.jpg: cannot be written: File too large; check"):
        write_files(new, tmp_path / "site", record=record)
    assert {path: data for path, data in _tree(tmp_path / "site").items() if path != "files.json"} == {
        "index.html": b"old",
        "gone.html": b"gone",
    }
    new[2] = SiteFile("picture.jpg", b"0" * 5000)
    assert write_files(new, tmp_path / "site", record=record) == SiteReport(3, 0, 1)


def test_a_site_that_cannot_be_made_is_one_line(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("not a folder", encoding="utf-8")
    with pytest.raises(FolderError, match="cannot be written: Not a directory"):
        write_files([SiteFile("index.html", b"a")], tmp_path / "file" / "site")


@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork and signals of POSIX systems")
@pytest.mark.parametrize("case", ["new", "grows", "shrinks"])
def test_killed_at_any_step_no_page_links_to_what_is_not_there(case: str, tmp_path: Path) -> None:
    """Real processes that kill themselves; what must hold is told in `killed_update`."""
    root = Path(__file__).resolve().parents[2]
    answer = subprocess.run(
        [sys.executable, "-m", "website.killed_update", case, str(tmp_path)],
        env={**os.environ, "PYTHONPATH": f"{root}{os.pathsep}{root / 'tests'}", "PYTHONDONTWRITEBYTECODE": "1"},
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
    )
    assert answer.stderr == ""
    told = json.loads(answer.stdout)
    assert told["kills"] > 7
    assert told["faults"] == []
    assert told["unfinished"] > 3  # the kills did fall into the work


def test_a_site_of_a_run_that_was_stopped_is_not_published_until_the_next_run(tmp_path: Path) -> None:
    manifest = tmp_path / "site/files.json"
    write_files([SiteFile("index.html", b"old")], tmp_path / "site")
    manifest.write_text(json.dumps({**json.loads(manifest.read_text()), "unfinished": True}))
    with pytest.raises(PublishError, match="the last build was stopped before its end: run build again"):
        publish_folder(tmp_path / "site", tmp_path / "www")
    write_files([SiteFile("index.html", b"new")], tmp_path / "site")
    assert "unfinished" not in json.loads(manifest.read_text())
    assert publish_folder(tmp_path / "site", tmp_path / "www").copied == 1


def test_what_makes_a_files_bytes_is_asked_only_where_they_are_not_there(tmp_path: Path) -> None:
    made: list[str] = []

    def page() -> bytes:
        made.append("page")
        return b"page"

    known = FileGroup("pages", lambda: [SiteFile("page.html", page)], b"of this")
    assert write_site([known], tmp_path / "site", record=record_of(tmp_path / "site")) == SiteReport(1, 0, 0)
    assert write_site([known], tmp_path / "site", record=record_of(tmp_path / "site")) == SiteReport(0, 1, 0)
    assert made == ["page"]
    (tmp_path / "site/page.html").write_bytes(b"rots")
    assert write_site([known], tmp_path / "site", record=record_of(tmp_path / "site")) == SiteReport(1, 0, 0)
    assert (tmp_path / "site/page.html").read_bytes() == b"page"


def test_a_file_may_move_from_one_group_to_another(tmp_path: Path) -> None:
    def written(*groups: str) -> SiteReport:
        made = [
            FileGroup(name, partial(list, [SiteFile(path, path.encode()) for path in names.split()]), names.encode())
            for name, _, names in (group.partition(": ") for group in groups)
        ]
        return write_site(made, tmp_path / "site", record=record_of(tmp_path / "site"))

    kept = "kept: index.html"
    assert written(kept, "one: a.html moved.html", "other: b.html", "gone: c.html") == SiteReport(5, 0, 0)
    assert written(kept, "one: a.html", "other: b.html moved.html") == SiteReport(0, 4, 1)
    listed = {file["path"] for file in json.loads((tmp_path / "site/files.json").read_bytes())["files"]}
    assert listed == {"index.html", "a.html", "b.html", "moved.html"}
    assert _tree(tmp_path / "site").keys() == {*listed, "files.json"}
    assert written(kept, "one: a.html new.html", "moved: moved.html", "other: b.html") == SiteReport(1, 4, 0)
    with pytest.raises(FolderError, match="written twice"):
        written(kept, "one: a.html index.html")


def test_what_fails_in_the_middle_leaves_the_site_as_it_was(tmp_path: Path) -> None:
    def no_page() -> bytes:
        raise FolderError("no page")

    write_files([SiteFile("index.html", b"old")], tmp_path / "site")
    before = _tree(tmp_path / "site")
    with pytest.raises(FolderError, match="no page"):
        write_files([SiteFile("index.html", b"new"), SiteFile("a.html", no_page)], tmp_path / "site")
    assert _tree(tmp_path / "site") == before
