"""Publishing to real folders: what the target holds, what readers see, what a killed run leaves."""

import os
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

import pytest
from other_disk import folder_on_another_disk

from archive.commands.main import main
from archive.disk import Folder
from archive.errors import PublishError
from archive.site_tree.exchange import exchange_or_rename, rename_in_turn
from publishing.sites import FIRST, contents, make_archive, publish_folder, put_site, write_listing

CHECKOUT = Path(__file__).resolve().parents[2]


def make_site(folder, files):
    """A site as `build` leaves it: `files` and the list of files at its root."""
    for name, text in {"index.html": "<h1>Sun</h1>", **files}.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_text(text, encoding="utf-8")
    write_listing(folder)
    return folder


def published(site):
    """What a target must hold: the site, and a list of all of its files."""
    write_listing(site)
    return contents(site)


@pytest.fixture
def site(tmp_path):
    return make_site(
        tmp_path / "my-sun" / "site",
        {"2026-06-03/index.html": "a day", "discs/0915Z.jpg": "picture", "data/observations.json": "[]"},
    )


@pytest.fixture
def target(tmp_path):
    return tmp_path / "host" / "www"


def alone(target):
    """Nothing of ours is left beside the target."""
    return [path.name for path in target.parent.iterdir()] == [target.name]


def test_a_missing_target_becomes_the_site(site, target):
    report = publish_folder(site, target)
    assert contents(target) == published(site)
    size = sum(path.stat().st_size for path in site.rglob("*") if path.is_file() and path.name != "files.json")
    assert (report.copied, report.unchanged, report.removed, report.bytes_copied) == (4, 0, 0, size)
    assert alone(target)


def test_a_second_publication_copies_nothing(site, target):
    publish_folder(site, target)
    before = {path: path.stat().st_mtime_ns for path in target.rglob("*")}
    report = publish_folder(site, target)
    assert (report.copied, report.unchanged, report.removed, report.bytes_copied) == (0, 4, 0, 0)
    assert {path: path.stat().st_mtime_ns for path in target.rglob("*")} == before


def test_changed_new_and_removed_files_reach_the_target(site, target):
    publish_folder(site, target)
    (site / "2026-06-03/index.html").write_text("a dxy", encoding="utf-8")  # same length
    (site / "discs/0915Z.jpg").unlink()
    (site / "discs").rmdir()
    (site / "films").mkdir()
    (site / "films/june.mp4").write_bytes(b"film")
    report = publish_folder(site, target)
    assert contents(target) == published(site)
    assert (report.copied, report.unchanged, report.removed, report.bytes_copied) == (2, 2, 1, 9)
    assert alone(target)


def test_a_change_that_keeps_size_and_date_is_seen(site, target):
    publish_folder(site, target)
    page = site / "2026-06-03/index.html"
    for path in (page, target / "2026-06-03/index.html"):
        os.utime(path, (1_700_000_000, 1_700_000_000))
    page.write_text("b day", encoding="utf-8")
    os.utime(page, (1_700_000_000, 1_700_000_000))
    publish_folder(site, target)
    assert (target / "2026-06-03/index.html").read_text(encoding="utf-8") == "b day"


def test_files_and_folders_may_change_places(site, target):
    publish_folder(site, target)
    shutil.rmtree(site / "data")
    (site / "data").write_text("now a file", encoding="utf-8")
    (site / "discs/0915Z.jpg").unlink()
    (site / "discs/0915Z.jpg").mkdir()
    (site / "discs/0915Z.jpg/large.jpg").write_text("now a folder", encoding="utf-8")
    publish_folder(site, target)
    assert contents(target) == published(site)


def test_empty_folders_in_a_published_target_go(site, target):
    publish_folder(site, target)
    (target / "old/empty").mkdir(parents=True)
    assert publish_folder(site, target).removed == 0
    assert contents(target) == published(site)


@pytest.mark.parametrize("stray", ["CNAME", ".well-known/security.txt", "days/mine.html"])
def test_a_file_made_by_hand_in_a_published_target_is_named_not_removed(site, target, stray):
    publish_folder(site, target)
    (target / stray).parent.mkdir(exist_ok=True)
    (target / stray).write_text("by hand", encoding="utf-8")
    (site / "index.html").write_text("<h1>new</h1>", encoding="utf-8")
    before = contents(target)
    with pytest.raises(PublishError, match=r"not of this site: .*--adopt removes them") as refused:
        publish_folder(site, target)
    assert stray in str(refused.value)
    assert contents(target) == before
    report = publish_folder(site, target, adopt=True)
    assert (report.removed, report.not_of_the_site) == (1, (stray,))
    assert contents(target) == published(site)


def test_a_file_put_into_the_site_by_hand_is_published_with_it(site, target):
    (site / "CNAME").write_text("sun.example", encoding="utf-8")
    publish_folder(site, target)
    assert publish_folder(site, target).unchanged == 5
    assert (target / "CNAME").is_file()


def test_writing_to_the_site_later_cannot_reach_the_target(site, target):
    publish_folder(site, target)
    (site / "index.html").write_text("<h1>new</h1>", encoding="utf-8")
    publish_folder(site, target)
    published = contents(target)
    for path in site.rglob("*"):
        if path.is_file():
            with path.open("ab") as opened:
                opened.write(b"written over in place")
    assert contents(target) == published


def test_a_link_to_the_target_stays_a_link(site, target, tmp_path):
    target.mkdir(parents=True)
    link = tmp_path / "www-link"
    link.symlink_to(target, target_is_directory=True)
    publish_folder(site, link)
    assert link.is_symlink()
    assert contents(target) == published(site)


def test_a_link_within_the_target_is_replaced_not_followed(site, target, tmp_path):
    publish_folder(site, target)
    outside = tmp_path / "outside.jpg"
    outside.write_text("picture", encoding="utf-8")
    (target / "discs/0915Z.jpg").unlink()
    (target / "discs/0915Z.jpg").symlink_to(outside)
    publish_folder(site, target)
    assert not (target / "discs/0915Z.jpg").is_symlink()
    assert outside.read_text(encoding="utf-8") == "picture"


@pytest.mark.skipif(os.name == "nt", reason="POSIX access rights")
def test_the_target_keeps_its_access_rights(site, target):
    target.mkdir(parents=True)
    target.chmod(0o2751)
    publish_folder(site, target)
    assert target.stat().st_mode & 0o7777 == 0o2751


@pytest.fixture
def strict_umask():
    before = os.umask(0o077)
    yield
    os.umask(before)


def modes(folder):
    """Access rights of all that is below, folders and files apart."""
    paths = list(folder.rglob("*"))
    return tuple(
        {oct(path.stat().st_mode & 0o777) for path in paths if path.is_dir() == folders} for folders in (True, False)
    )


@pytest.mark.skipif(os.name == "nt", reason="POSIX access rights")
@pytest.mark.usefixtures("strict_umask")
def test_a_new_target_can_be_read_whatever_the_umask(site, target):
    publish_folder(site, target)
    assert [oct(one.stat().st_mode & 0o777) for one in (target, target.parent)] == ["0o755", "0o755"]
    assert modes(target) == ({"0o755"}, {"0o644"})


@pytest.mark.skipif(os.name == "nt", reason="POSIX access rights")
@pytest.mark.usefixtures("strict_umask")
def test_files_get_the_read_bits_of_their_target_also_those_that_are_there(site, target):
    target.mkdir(parents=True)
    target.chmod(0o750)
    publish_folder(site, target)
    assert modes(target) == ({"0o750"}, {"0o640"})
    (target / "index.html").chmod(0o600)
    (target / "discs").chmod(0o700)
    assert publish_folder(site, target).copied == 0
    assert modes(target) == ({"0o750"}, {"0o640"})


# Refusals


def test_a_folder_that_is_no_built_site_is_refused(site, target):
    (site / "files.json").write_text('{"generator": "something else"}', encoding="utf-8")
    with pytest.raises(PublishError, match="run build first"):
        publish_folder(site, target)
    (site / "files.json").unlink()
    with pytest.raises(PublishError, match="run build first"):
        publish_folder(site, target, adopt=True)
    assert not target.exists()


def test_a_target_with_other_files_is_refused_until_taken_over(site, target):
    target.mkdir(parents=True)
    (target / "thesis.txt").write_text("ten years of work", encoding="utf-8")
    with pytest.raises(PublishError, match="holds other files"):
        publish_folder(site, target)
    assert contents(target) == {"thesis.txt": b"ten years of work"}
    assert publish_folder(site, target, adopt=True).removed == 1
    assert contents(target) == published(site)


@pytest.mark.parametrize("place", ["my-sun/site", "my-sun/site/www", "my-sun", "."])
def test_site_and_target_in_each_other_are_refused(site, tmp_path, place):
    before = contents(tmp_path)
    with pytest.raises(PublishError, match="overlap"):
        publish_folder(site, tmp_path / place, adopt=True)
    assert contents(tmp_path) == before


@pytest.mark.parametrize("name", ["archive.toml", ".git"])
def test_originals_and_histories_are_never_taken_over(site, target, name):
    publish_folder(site, target)
    (target / name).mkdir()
    with pytest.raises(PublishError, match="for the site only"):
        publish_folder(site, target, adopt=True)
    assert (target / name).exists()


@pytest.mark.parametrize("place", ["my-sun/2026", "my-sun/2026/2026-06-03", "my-sun/www/new", "my-sun/.northlimb"])
@pytest.mark.parametrize("adopt", [False, True])
def test_no_target_lies_in_an_archive(site, tmp_path, place, adopt):
    (tmp_path / "my-sun/archive.toml").write_text("format = 1\n", encoding="utf-8")
    (tmp_path / "my-sun/2026/2026-06-03").mkdir(parents=True)
    (tmp_path / "my-sun/2026/2026-06-03/0915Z.png").write_bytes(b"original")
    before = contents(tmp_path)
    with pytest.raises(PublishError, match="lies in the archive"):
        publish_folder(site, tmp_path / place, adopt=adopt)
    assert contents(tmp_path) == before


@pytest.mark.parametrize("name", ["pictures/my-sun/archive.toml", "old/checksums.sha256", "project/.git/HEAD"])
def test_an_archive_or_a_history_deep_in_the_target_is_never_taken_over(site, target, name):
    (target / name).parent.mkdir(parents=True)
    (target / name).write_text("kept", encoding="utf-8")
    before = contents(target)
    with pytest.raises(PublishError, match="for the site only"):
        publish_folder(site, target, adopt=True)
    assert contents(target) == before


@pytest.mark.parametrize("place", ["homes/observer", "homes"])
def test_the_home_folder_is_never_taken_over(site, tmp_path, monkeypatch, place):
    home = tmp_path / "homes/observer"
    home.mkdir(parents=True)
    (home / "letters.txt").write_text("dear", encoding="utf-8")
    monkeypatch.setenv("USERPROFILE" if os.name == "nt" else "HOME", str(home))
    with pytest.raises(PublishError, match=r"home folder"):
        publish_folder(site, tmp_path / place, adopt=True)
    assert contents(home) == {"letters.txt": b"dear"}


def test_a_file_as_target_and_a_link_in_the_site_are_refused(site, target, tmp_path):
    target.parent.mkdir()
    target.write_text("a file", encoding="utf-8")
    with pytest.raises(PublishError, match="is a file"):
        publish_folder(site, target)
    (site / "private").symlink_to(tmp_path)
    with pytest.raises(PublishError, match="neither a file nor a folder"):
        publish_folder(site, tmp_path / "elsewhere")


# Readers


@pytest.mark.skipif(sys.platform != "linux", reason="only Linux exchanges folders in one step")
def test_a_reader_always_finds_whole_pages(tmp_path, target):
    sites = [make_site(tmp_path / n, {"index.html": n * 20_000, "day.html": n * 30_000}) for n in ("a", "b")]
    whole = {"index.html": {n * 20_000 for n in "ab"}, "day.html": {n * 30_000 for n in "ab"}}
    publish_folder(sites[0], target)
    stop, faults, seen = threading.Event(), [], set()

    def read():
        while not stop.is_set():
            for name, allowed in whole.items():
                try:
                    text = (target / name).read_text(encoding="utf-8")
                except OSError as failure:
                    faults.append(repr(failure))
                else:
                    seen.add(text[0])
                    if text not in allowed:
                        faults.append(f"{name}: {len(text)} letters")

    reader = threading.Thread(target=read)
    reader.start()
    for turn in range(1, 31):
        publish_folder(sites[turn % 2], target)
    stop.set()
    reader.join()
    assert faults == []
    assert seen == {"a", "b"}


LOOK = """
import os, sys, time
print("ready", flush=True)
end, missing, looks = time.monotonic() + 0.5, 0, 0
while time.monotonic() < end:
    looks += 1
    try:
        os.stat(sys.argv[1])
    except FileNotFoundError:
        missing += 1
print(looks, missing)
"""


@pytest.mark.skipif(sys.platform != "linux", reason="only Linux exchanges folders in one step")
def test_the_folder_is_never_missing_while_two_exchange(tmp_path):
    new, current = tmp_path / "new", tmp_path / "current"
    new.mkdir()
    current.mkdir()
    reader = subprocess.Popen([sys.executable, "-c", LOOK, current], stdout=subprocess.PIPE, text=True)
    assert reader.stdout.readline() == "ready\n"
    while reader.poll() is None:
        assert exchange_or_rename(Folder(tmp_path), "new", "current", "aside") == "new"
    looks, missing = map(int, reader.communicate()[0].split())
    assert looks > 1000
    assert missing == 0


# Runs that are stopped

PUBLISH = """
import sys
from pathlib import Path
sys.path.insert(0, "tests")
from publishing.sites import publish_folder
print("ready", flush=True)
sys.stdin.readline()
publish_folder(Path(sys.argv[1]), Path(sys.argv[2]))
"""


def started(site, target):
    """A process of its own that is about to publish."""
    process = subprocess.Popen(
        [sys.executable, "-c", PUBLISH, site, target],
        cwd=CHECKOUT,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
    )
    assert process.stdout.readline() == b"ready\n"
    process.stdin.write(b"go\n")
    process.stdin.flush()
    return process


@pytest.mark.skipif(sys.platform != "linux", reason="only Linux exchanges folders in one step")
def test_a_killed_run_leaves_the_old_site_or_the_new_one(tmp_path, target):
    pages = {n: {f"days/{d:03d}.html": n * 3000 if d % 2 else "same" for d in range(150)} for n in ("a", "b")}
    sites = [make_site(tmp_path / n, pages[n]) for n in ("a", "b")]
    versions = [contents(site) for site in sites]
    publish_folder(sites[0], target)
    unharmed = started(sites[1], target)
    begun = time.perf_counter()
    unharmed.wait()
    whole_run_s = time.perf_counter() - begun
    unharmed.communicate()
    chance = random.Random(20260603)
    old, stopped = 1, 0
    for _ in range(40):
        if stopped == 8:
            break
        process = started(sites[1 - old], target)
        time.sleep(chance.uniform(0, 0.7 * whole_run_s))
        process.send_signal(signal.SIGKILL)
        process.communicate()
        found = contents(target)
        assert found in versions
        stopped += process.returncode == -signal.SIGKILL
        old = versions.index(found)
    assert stopped == 8  # the kills did fall into runs
    publish_folder(sites[1 - old], target)
    assert contents(target) == versions[1 - old]
    assert alone(target)


def test_left_overs_of_a_stopped_run_are_cleared(site, target):
    publish_folder(site, target)
    make_site(target.with_name(".www.northlimb-new"), {"half.html": "ha"})
    publish_folder(site, target)
    assert alone(target)


def test_a_run_stopped_between_two_renames_is_put_right(site, target):
    publish_folder(site, target)
    target.rename(target.with_name(".www.northlimb-old"))
    report = publish_folder(site, target)
    assert (report.copied, report.unchanged) == (0, 4)
    assert contents(target) == published(site)
    assert alone(target)


def test_renaming_in_turn_replaces_a_folder_or_leaves_it(tmp_path):
    for name in ("new", "current"):
        (tmp_path / name).mkdir()
        (tmp_path / name / "name").write_text(name, encoding="utf-8")
    folder, current = Folder(tmp_path), tmp_path / "current/name"
    assert rename_in_turn(folder, "new", "current", "aside") == "aside"
    assert current.read_text(encoding="utf-8") == "new"
    with pytest.raises(FileNotFoundError):
        rename_in_turn(folder, "missing", "current", "aside2")
    assert current.read_text(encoding="utf-8") == "new"


# Where folders cannot be renamed


@pytest.fixture
def shut_parent():
    """A folder where this test, run by root or not, may not make or rename anything; `www` in it is open."""
    with tempfile.TemporaryDirectory() as made:
        parent = Path(made)
        (parent / "www").mkdir()
        (parent / "www").chmod(0o777)
        parent.chmod(0o555)
        root = hasattr(os, "geteuid") and os.geteuid() == 0
        if root:
            os.seteuid(65534)  # nobody
        try:
            yield parent
        finally:
            if root:
                os.seteuid(0)
            parent.chmod(0o755)


@pytest.fixture
def readable_site(shut_parent):
    """Make a site as the user that `shut_parent` turns into."""
    with tempfile.TemporaryDirectory() as made:
        yield lambda name, files: make_site(Path(made) / name, files)


@pytest.fixture
def readable_sites(readable_site):
    """Two versions of a site."""
    return [
        readable_site("one", {"day/index.html": "one", "a.jpg": "1", "b": "file"}),
        readable_site("two", {"day/index.html": "two", "index.html": "two", "b/c.jpg": "2"}),
    ]


@pytest.mark.skipif(not hasattr(os, "seteuid"), reason="POSIX access rights")
def test_a_target_that_cannot_be_renamed_is_changed_in_place(readable_sites, shut_parent):
    target = shut_parent / "www"
    inode = target.stat().st_ino
    for site, copied, removed in zip([*readable_sites, readable_sites[0]], (4, 3, 4), (0, 2, 1), strict=True):
        report = publish_folder(site, target)
        assert contents(target) == published(site)
        assert (report.copied, report.removed) == (copied, removed)
        assert target.stat().st_ino == inode
    assert alone(target)


@pytest.mark.skipif(not hasattr(os, "seteuid"), reason="POSIX access rights")
def test_a_target_that_may_not_be_written_is_told_in_one_line(readable_sites, shut_parent):
    with pytest.raises(PublishError, match="missing: publishing failed: Permission denied: see") as refused:
        publish_folder(readable_sites[0], shut_parent / "missing")
    assert "\n" not in str(refused.value)


@pytest.fixture
def limit_files():
    """A call after which no file can grow beyond so many bytes, as if the disk were full."""
    resource = pytest.importorskip("resource", reason="POSIX limits")
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    yield lambda size: resource.setrlimit(resource.RLIMIT_FSIZE, (size, before[1]))
    resource.setrlimit(resource.RLIMIT_FSIZE, before)


@pytest.mark.skipif(not hasattr(os, "seteuid"), reason="POSIX access rights")
@pytest.mark.parametrize("large", ["0.jpg", "b/d.jpg", "z.jpg", "z.html"])
def test_a_run_stopped_while_it_changed_files_in_place_leaves_nothing_foreign(
    limit_files, shut_parent, readable_site, large
):
    target, one = shut_parent / "www", readable_site("one", {"day/index.html": "one", "a.jpg": "1"})
    two = readable_site("two", {"c.jpg": "2", "c.html": "2", large: "0" * 60_000})
    publish_folder(one, target)
    before = contents(target)
    limit_files(50_000)
    with pytest.raises(PublishError, match="File too large"):
        publish_folder(two, target)
    assert contents(target) != before
    # The third site shares no file with either.
    three = readable_site("three", {"third.html": "3"})
    publish_folder(three, target)
    assert contents(target) == contents(three)


# Originals and histories, whatever they are called


@pytest.mark.parametrize(
    "names",
    [
        ["pages.git/HEAD", "pages.git/config", "pages.git/objects/pack/p.pack", "pages.git/refs/heads/main"],
        ["HEAD", "config", "description"],
        ["deep/x/HEAD", "deep/x/packed-refs"],
        ["a/.bzr/README"],
        ["a/CVS/Entries"],
        ["_darcs/format"],
        ["x/sun.fossil"],
        [".fslckout"],
        ["x/.jj/repo"],
        ["x/.pijul/pristine"],
        ["x/.GIT/HEAD"],
        ["2026/2026-06-03/0915Z.png"],
        ["old/2026/2026-06-03/0915Z-2.tif"],
        ["2026-06-03/0915Z.fits"],
        ["0915Z.toml"],
        ["somewhere/1200Z.toml"],
        ["1200Z.JPG"],
    ],
    ids=lambda names: names[0],
)
@pytest.mark.parametrize("published_before", [False, True])
def test_no_archive_and_no_history_is_taken_over_also_without_its_sign(site, target, names, published_before):
    if published_before:
        publish_folder(site, target)
    for name in names:
        (target / name).parent.mkdir(parents=True, exist_ok=True)
        (target / name).write_text("kept", encoding="utf-8")
    before = contents(target)
    with pytest.raises(PublishError, match="for the site only"):
        publish_folder(site, target, adopt=True)
    assert contents(target) == before


@pytest.mark.parametrize("name", ["discs/0915Z.jpg", "days/2026-06-03/0915Z-disc.jpg", "HEAD", "cvs/x", "2026/a.png"])
def test_what_a_site_holds_is_taken_for_no_original(site, target, name):
    target.mkdir(parents=True)
    (target / name).parent.mkdir(parents=True, exist_ok=True)
    (target / name).write_text("old page", encoding="utf-8")
    publish_folder(site, target, adopt=True)
    assert contents(target) == published(site)


# Links, and names of our own form


@pytest.fixture
def canary(tmp_path):
    """A folder that nothing may touch."""
    folder = tmp_path / "canary"
    folder.mkdir()
    (folder / "bird.txt").write_text("alive", encoding="utf-8")
    yield folder
    assert contents(folder) == {"bird.txt": b"alive"}
    assert oct((folder / "bird.txt").stat().st_mode) == oct(mode_of(folder))


def mode_of(folder):
    """The access rights that the canary was made with."""
    probe = folder.parent / "probe"
    probe.write_text("", encoding="utf-8")
    return probe.stat().st_mode


@pytest.mark.parametrize("place", ["new", "old"])
@pytest.mark.parametrize("kind", ["folder", "file", "dangling"])
def test_links_beside_the_target_are_removed_themselves(site, target, canary, place, kind):
    publish_folder(site, target)
    link = target.with_name(f".www.northlimb-{place}")
    link.symlink_to({"folder": canary, "file": canary / "bird.txt", "dangling": canary / "egg"}[kind])
    (site / "index.html").write_text("new", encoding="utf-8")
    publish_folder(site, target)
    assert contents(target) == published(site)
    assert alone(target)


def test_a_link_to_the_old_version_is_not_put_in_the_targets_place(site, target, canary):
    target.parent.mkdir()
    target.with_name(".www.northlimb-old").symlink_to(canary)
    publish_folder(site, target)
    assert not target.is_symlink()
    assert contents(target) == published(site)


def test_a_file_of_such_a_name_beside_the_target_is_not_ours(site, target):
    publish_folder(site, target)
    left = target.with_name(".www.northlimb-new")
    left.write_text("ten years of work", encoding="utf-8")
    with pytest.raises(PublishError, match="is in the way"):
        publish_folder(site, target)
    assert left.read_text(encoding="utf-8") == "ten years of work"


def test_only_temporary_names_of_our_own_files_are_ours(site, target):
    publish_folder(site, target)
    (target / "discs/.0915Z.jpg.northlimb-part").write_text("half", encoding="utf-8")
    publish_folder(site, target)
    assert contents(target) == published(site)
    for name in ("thesis.northlimb-part", ".thesis.northlimb-part", "discs/0915Z.jpg.northlimb-part"):
        (target / name).write_text("ten years of work", encoding="utf-8")
        with pytest.raises(PublishError, match="not of this site"):
            publish_folder(site, target)
        (target / name).unlink()


@pytest.mark.skipif(not hasattr(os, "seteuid"), reason="POSIX access rights")
def test_in_place_no_link_is_followed_either(readable_sites, shut_parent):
    target = shut_parent / "www"
    with tempfile.TemporaryDirectory() as elsewhere:
        bird = Path(elsewhere) / "bird.txt"
        bird.write_text("alive", encoding="utf-8")
        publish_folder(readable_sites[0], target)
        (target / ".a.jpg.northlimb-part").symlink_to(bird)
        (target / ".index.html.northlimb-part").symlink_to(Path(elsewhere) / "egg")
        (target / "index.html").unlink()
        (target / "index.html").symlink_to(bird)
        shutil.rmtree(target / "day")
        (target / "day").symlink_to(elsewhere)
        publish_folder(readable_sites[0], target, adopt=True)
        assert contents(target) == published(readable_sites[0])
        assert contents(Path(elsewhere)) == {"bird.txt": b"alive"}


@pytest.mark.parametrize("place", ["a.txt", "days", "files.json"])
def test_no_link_of_a_site_is_followed(site, target, canary, place):
    (site / place).unlink(missing_ok=True)
    (site / place).symlink_to(canary if place == "days" else canary / "bird.txt")
    with pytest.raises(PublishError, match=r"neither a file nor a folder|run build"):
        publish_folder(site, target)
    assert not target.exists()


@pytest.mark.skipif(os.name == "nt", reason="POSIX access rights")
def test_rights_of_a_file_with_another_name_elsewhere_are_left_alone(site, target, tmp_path):
    """A hard link in the target is the same file as one that is nobody else's business."""
    private = tmp_path / "private.txt"
    private.write_text("a day", encoding="utf-8")
    private.chmod(0o600)
    publish_folder(site, target)
    page = target / "2026-06-03/index.html"
    page.unlink()
    page.hardlink_to(private)
    assert publish_folder(site, target).copied == 0
    assert oct(private.stat().st_mode & 0o777) == "0o600"
    (site / "index.html").write_text("new", encoding="utf-8")
    publish_folder(site, target)
    assert oct(private.stat().st_mode & 0o777) == "0o600"
    assert private.stat().st_nlink == 1
    assert oct(page.stat().st_mode & 0o777) == "0o644"


def test_what_is_kept_is_kept_as_it_is(site, target, canary):
    """Links, empty folders and access rights of the host's own things too, and they may hold a history."""
    publish_folder(site, target)
    kept = target / "cgi-bin"
    (kept / "empty").mkdir(parents=True)
    (kept / "private").write_text("key", encoding="utf-8")
    (kept / "private").chmod(0o600)
    (kept / "link").symlink_to(canary)
    (kept / ".git").mkdir()
    (kept / ".git/HEAD").write_text("ref: refs/heads/main", encoding="utf-8")
    for text in ("new", "newer"):
        (site / "index.html").write_text(text, encoding="utf-8")
        publish_folder(site, target, keep=("cgi-bin",))
        assert (kept / "link").readlink() == canary
        assert (kept / "empty").is_dir()
        assert oct((kept / "private").stat().st_mode & 0o777) == "0o600"
        held = {name: data for name, data in contents(target).items() if not name.startswith("cgi-bin")}
        assert held == published(site)
    (site / "cgi-bin/private").mkdir(parents=True)
    (site / "cgi-bin/private/page.html").write_text("x", encoding="utf-8")
    with pytest.raises(PublishError, match="the site needs the place of cgi-bin/private"):
        publish_folder(site, target, keep=("cgi-bin",))


def test_a_target_on_another_disk_is_like_any_other(site):
    with folder_on_another_disk(site) as other:
        publish_folder(site, other / "www")
        (site / "index.html").write_text("new", encoding="utf-8")
        publish_folder(site, other / "www")
        assert contents(other / "www") == published(site)


@pytest.mark.parametrize(("limit_mb", "told"), [(0.5, "is larger than"), (1.1, "comes near to"), (2.0, "")])
def test_a_limit_of_the_host_is_told_before_it_is_passed(
    limit_mb: float, told: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    targets = f'[[targets]]\nname = "free"\nfolder = "{tmp_path / "www"}"\nlimit_mb = {limit_mb}\n'
    put_site(make_archive(tmp_path / "my-sun", targets), FIRST)
    (tmp_path / "my-sun" / "site" / "disc.fits").write_bytes(bytes(1_000_000))
    for more in (["--dry-run"], []):
        assert main(["publish", str(tmp_path / "my-sun"), *more]) == 0
        warned = capsys.readouterr().err
        words = f"{told} limit_mb = {limit_mb:g}; its FITS take 1.0 MB: fits = 30"
        assert (words in warned) == bool(told), warned
