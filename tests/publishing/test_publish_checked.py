"""`publish --check`, `--dry-run`, `keep` and named targets; and how files are told to browsers."""

from __future__ import annotations

import os
import zipfile
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import httpx
import pytest

from archive.records.archive_files import derived_files
from archive.site_tree import update
from archive.site_tree.digests import digests_of
from archive.store import Store
from archive.store.database import Database
from publishing import servers
from publishing.sites import FIRST, SECOND, files_in, make_archive, put_site, write_listing

Told = Callable[..., tuple[int, Any]]
Enter = Callable[[dict[str, str]], None]
Hosts = Callable[[str], servers.Host]


@pytest.mark.usefixtures("short_waits")
def test_a_site_behind_a_web_server_is_read_back_and_compared(archive: Path, told: Told, tmp_path: Path) -> None:
    """nginx serves it, under a sub-path too; a broken picture, a missing page and an older list are named."""
    put_site(archive, FIRST)
    www = tmp_path / "www"
    assert told(archive, www / "sun")[0] == 0
    (tmp_path / "nginx").mkdir()
    with servers.nginx_server(tmp_path / "nginx", www) as host:
        address = f"http://127.0.0.1:{host.port}/sun"
        assert httpx.get(f"{address}/days/2026-06-03/index.html").text == "third"
        for one in (address, f"{address}/", f"{address}/index.html"):
            status, answer = told(archive, "--check", one)
            assert (status, answer["checked"], answer["status"]) == (0, 8, "done"), answer
        (www / "sun/discs/old.jpg").write_text("Picture 2")  # same length
        (www / "sun/days/2026-06-04/index.html").unlink()
        status, answer = told(archive, "--check", address)
        assert status == 1
        assert (answer["missing"], answer["changed"]) == (["days/2026-06-04/index.html"], ["discs/old.jpg"])
    status, answer = told(archive, "--check", address)
    assert status == 1
    assert "the connection failed" in answer["causes"][0]


def test_a_folder_and_a_named_target_are_checked_too(archive: Path, told: Told, tmp_path: Path) -> None:
    make_archive(archive, f'[[targets]]\nname = "web"\nfolder = "{tmp_path / "www"}"\n')
    put_site(archive, FIRST)
    assert told(archive)[0] == 0
    assert told(archive, "--check", "web")[0] == 0
    # Size and time as they were: nothing but the bytes tells.
    page = tmp_path / "www/feed.xml"
    before = page.stat()
    page.write_text("<FEED/>")
    os.utime(page, ns=(before.st_atime_ns, before.st_mtime_ns))
    assert told(archive, "--check", "web")[1]["changed"] == ["feed.xml"]
    assert told(archive, "--check", tmp_path / "nowhere")[0] == 1


def test_check_sends_nothing_and_takes_no_target_beside(archive: Path, told: Told, tmp_path: Path) -> None:
    put_site(archive, FIRST)
    assert told(archive, tmp_path / "www", "--check", tmp_path / "www")[0] == 2
    assert not (tmp_path / "www").exists()


def test_a_rehearsal_lists_what_a_publication_does_and_changes_nothing(
    archive: Path, told: Told, tmp_path: Path
) -> None:
    put_site(archive, FIRST)
    www = tmp_path / "www"
    status, coming = told(archive, www, "--dry-run")
    assert (status, www.exists()) == (0, False)
    assert told(archive, www)[1]["report"] == coming["report"]
    put_site(archive, SECOND)
    before = {path: path.stat() for path in www.rglob("*")}
    status, coming = told(archive, www, "--dry-run")
    assert status == 0
    assert {path: path.stat() for path in www.rglob("*")} == before
    sent, gone = set(coming["send"]), set(coming["remove"])
    assert gone == {"days/2026-06-04/index.html", "discs/old.jpg"}
    assert coming["send"][-1] == "index.html"
    held = files_in(www)
    assert told(archive, www)[1]["report"] == coming["report"]
    assert {name for name, data in files_in(www).items() if held.get(name) != data} - {"files.json"} == sent
    assert held.keys() - files_in(www).keys() == gone


def test_the_first_target_of_the_settings_may_be_a_url_with_its_own_password(
    hosts: Hosts, archive: Path, told: Told, enter: Enter, monkeypatch: pytest.MonkeyPatch
) -> None:
    host = hosts("ftps")
    enter({**host.environment, "NORTHLIMB_PASSWORD": "of another host"})
    monkeypatch.setenv("NORTHLIMB_PASSWORD_MY_WEB", servers.PASSWORD)
    url = f"ftps://observer@127.0.0.1:{host.port}/named"
    make_archive(archive, f'[[targets]]\nname = "my web"\nurl = "{url}"\nkeep = ["cgi-bin", ".quota"]\n')
    site = put_site(archive, FIRST)
    assert told(archive)[0] == 0
    # What the host put there stays, named in `keep`; anything else is refused.
    (host.root / "named/cgi-bin").mkdir()
    (host.root / "named/cgi-bin/count.pl").write_text("of the host")
    (host.root / "named/.quota").write_text("1")
    put_site(archive, SECOND)
    status, answer = told(archive, "My Web")
    assert (status, answer["report"]["removed"]) == (0, 2), answer
    assert files_in(host.root / "named") == files_in(site) | {"cgi-bin/count.pl": b"of the host", ".quota": b"1"}


def test_of_many_folders_those_are_looked_into_where_something_changes(
    hosts: Hosts, archive: Path, told: Told, enter: Enter, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The number is a choice of ours: some round trips a folder would make minutes of thousands."""
    monkeypatch.setattr(update, "_FOLDERS_LOOKED_INTO", 2)
    host = hosts("ftps")
    enter(host.environment)
    url, folder = f"ftps://observer@127.0.0.1:{host.port}/many", host.root / "many"
    put_site(archive, FIRST)
    assert told(archive, url)[0] == 0
    (folder / "days/2026-06-03/index.html").write_text("cut")  # a page that changes: looked into
    (folder / "feed.xml").unlink()  # the root always is
    (folder / "days/2026-06-04/mine.txt").write_text("by hand")  # its folder's page goes: looked into
    site = put_site(archive, SECOND)
    status, answer = told(archive, url)
    assert status == 1
    assert "days/2026-06-04/mine.txt" in answer["causes"][0]
    assert told(archive, url, "--adopt")[1]["report"]["copied"] == 5
    assert files_in(folder) == files_in(site)
    (folder / "discs/a b ü#1.jpg").write_text("cut")
    assert told(archive, url)[1]["report"]["copied"] == 0
    assert told(archive, "--check", url)[1]["changed"] == ["discs/a b ü#1.jpg"]


def test_netrc_knows_users_and_passwords(hosts: Hosts, archive: Path, told: Told, enter: Enter, tmp_path: Path) -> None:
    host = hosts("ftps")
    (tmp_path / "netrc").write_text(f'machine 127.0.0.1 login observer password "{servers.PASSWORD}"\n')
    (tmp_path / "netrc").chmod(0o600)
    enter({"SSL_CERT_FILE": host.environment["SSL_CERT_FILE"], "NETRC": str(tmp_path / "netrc")})
    put_site(archive, FIRST)
    assert told(archive, f"ftps://127.0.0.1:{host.port}/netrc")[0] == 0


def test_what_is_kept_in_a_folder_stays_there(archive: Path, told: Told, tmp_path: Path) -> None:
    www = tmp_path / "www"
    make_archive(archive, f'[[targets]]\nname = "web"\nfolder = "{www}"\nkeep = ["stats"]\n')
    put_site(archive, FIRST)
    assert told(archive)[0] == 0
    (www / "stats/2026").mkdir(parents=True)
    (www / "stats/2026/june.txt").write_text("visitors")
    for files in (FIRST, SECOND):
        site = put_site(archive, files)
        assert told(archive)[0] == 0
        assert files_in(www) == files_in(site) | {"stats/2026/june.txt": b"visitors"}


def test_objects_tell_browsers_what_they_are(hosts: Hosts, archive: Path, told: Told, enter: Enter) -> None:
    """Media types as registered: IANA, RFC 4287 (feed), RFC 4047 (FITS); `no-cache` as RFC 9111, 5.2.2.4."""
    host = hosts("s3")
    enter(host.environment)
    put_site(archive, {**FIRST, "discs/0915Z.fits": "SIMPLE", "films/june.mp4": "film", "static/style.css": "a {}"})
    assert told(archive, "s3://sun/types")[0] == 0
    heads = {
        name: host.extra.head_object(Bucket="sun", Key=f"types/{name}")
        for name in ("index.html", "feed.xml", "data/observations.json", "discs/0915Z.fits", "films/june.mp4")
    }
    assert {name: head["ContentType"] for name, head in heads.items()} == {
        "index.html": "text/html; charset=utf-8",
        "feed.xml": "application/atom+xml; charset=utf-8",
        "data/observations.json": "application/json",
        "discs/0915Z.fits": "application/fits",
        "films/june.mp4": "video/mp4",
    }
    assert heads["index.html"]["CacheControl"] == "no-cache"
    assert heads["films/june.mp4"]["CacheControl"] == "public, max-age=3600"


def test_other_prefixes_of_a_bucket_are_left_alone(hosts: Hosts, archive: Path, told: Told, enter: Enter) -> None:
    host = hosts("s3")
    enter(host.environment)
    host.extra.put_object(Bucket="sun", Key="sunday/index.html", Body=b"somebody else's")
    put_site(archive, FIRST)
    assert told(archive, "s3://sun/sun", "--adopt")[0] == 0
    assert host.extra.get_object(Bucket="sun", Key="sunday/index.html")["Body"].read() == b"somebody else's"


@pytest.mark.parametrize(("bucket", "said"), [("nowhere", "NoSuchBucket"), ("sun", "no keys found")])
def test_a_bucket_that_cannot_be_used_is_told(
    bucket: str, said: str, hosts: Hosts, archive: Path, told: Told, enter: Enter, monkeypatch: pytest.MonkeyPatch,
    tmp_path: Path,
) -> None:  # fmt: skip
    host = hosts("s3")
    enter({**host.environment, "HOME": str(tmp_path)})
    if bucket == "sun":
        monkeypatch.delenv("AWS_SECRET_ACCESS_KEY")
        monkeypatch.delenv("AWS_ACCESS_KEY_ID")
    put_site(archive, FIRST)
    status, answer = told(archive, f"s3://{bucket}/x")
    assert status == 1
    assert said in answer["causes"][0]


def test_the_same_site_gives_the_same_zip_and_an_unchanged_one_is_not_written_again(
    archive: Path, told: Told, tmp_path: Path
) -> None:
    put_site(archive, FIRST)
    first, second = tmp_path / "1.zip", tmp_path / "2.zip"
    assert told(archive, first)[0] == 0
    for path in (archive / "site").rglob("*"):
        os.utime(path, (1_000_000_000, 1_000_000_000))
    assert told(archive, second)[0] == 0
    assert first.read_bytes() == second.read_bytes()
    before = first.stat()
    assert told(archive, first)[1]["report"]["copied"] == 0
    assert (first.stat().st_ino, first.stat().st_mtime_ns) == (before.st_ino, before.st_mtime_ns)
    with zipfile.ZipFile(first) as held:
        assert held.namelist()[0] == "index.html"
        assert {entry.external_attr >> 16 for entry in held.infolist()} == {0o644}


def test_a_zip_in_the_site_that_it_would_hold_is_refused(archive: Path, told: Told) -> None:
    site = put_site(archive, FIRST)
    status, answer = told(archive, site / "all.zip")
    assert status == 1
    assert "lies in the site" in answer["causes"][0]


def test_a_file_that_is_no_zip_is_left_alone(archive: Path, told: Told, tmp_path: Path) -> None:
    put_site(archive, FIRST)
    (tmp_path / "thesis.zip").write_text("not a zip at all")
    status, answer = told(archive, tmp_path / "thesis.zip", "--adopt")
    assert status == 1
    assert "is no zip" in answer["causes"][0]
    assert (tmp_path / "thesis.zip").read_text() == "not a zip at all"


Stamps = dict[str, Any]


def stamps_of(archive: Path) -> Stamps:
    """The rows of stamps that the archive keeps, by the mark of the folder that they are of."""
    with closing(Database(derived_files(archive))) as database:
        names = database.names("site_tree.digests.digests_of")
    with Store(derived_files(archive)) as store:
        return {name: store.get(digests_of, name, None, list) for name in names}


def put_stamps(archive: Path, stamps: Stamps) -> None:
    with Store(derived_files(archive)) as store:
        for name, rows in stamps.items():
            store.put(digests_of, name, None, rows)


def age(folder: Path) -> None:
    """Let time pass: files younger than a tick of the clock are not yet trusted. (The tick is ours: 0.1 s.)"""
    import time

    latest = max(path.stat().st_ctime for path in folder.rglob("*"))
    time.sleep(max(0.0, latest + 0.15 - time.time()))


def test_files_with_known_stamps_are_not_read_again(archive: Path, told: Told, tmp_path: Path) -> None:
    """Told by a stamp that lies: with a wrong sha256 noted for it, an unchanged file is taken to have changed."""
    site, www = put_site(archive, FIRST), tmp_path / "www"
    assert told(archive, www)[0] == 0
    age(tmp_path)
    assert told(archive, www)[1]["report"]["copied"] == 0
    held = stamps_of(archive)
    assert sorted(len(rows) for rows in held.values()) == [7, 7]  # the site's and the target's
    feed = (site / "feed.xml").stat().st_ino
    lying = {
        name: [[file, stamp, "0" * 64 if stamp[3] == feed else sha256] for file, stamp, sha256 in rows]
        for name, rows in held.items()
    }
    put_stamps(archive, lying)
    assert told(archive, www)[1]["report"]["copied"] == 1


@pytest.mark.parametrize("where", ["site", "target"])
def test_a_file_written_over_with_its_size_and_date_kept_is_noticed(
    where: str, archive: Path, told: Told, tmp_path: Path
) -> None:
    site, www = put_site(archive, FIRST), tmp_path / "www"
    assert told(archive, www)[0] == 0
    age(tmp_path)
    assert told(archive, www)[1]["report"]["copied"] == 0
    page = (site if where == "site" else www) / "days/2026-06-03/index.html"
    before = page.stat()
    page.write_text("THIRD")
    os.utime(page, ns=(before.st_atime_ns, before.st_mtime_ns))
    assert told(archive, www)[1]["report"]["copied"] == 1
    write_listing(site)
    assert files_in(www) == files_in(site)


@pytest.mark.parametrize(
    "nonsense",
    ["{", {}, [[b"feed.xml"]], [[b"feed.xml", [1, "x", 1, 1], ""]], [[b"feed.xml", [float("inf"), 1, 1, 1], ""]]],
)
def test_stamps_that_make_no_sense_cost_time_and_nothing_else(
    nonsense: object, archive: Path, told: Told, tmp_path: Path
) -> None:
    put_site(archive, FIRST)
    assert told(archive, tmp_path / "www")[0] == 0
    put_stamps(archive, dict.fromkeys(stamps_of(archive), nonsense))
    assert told(archive, tmp_path / "www")[1]["report"]["unchanged"] == 7
    age(tmp_path)
    assert told(archive, tmp_path / "www")[1]["report"]["unchanged"] == 7
    assert all(len(rows) == 7 for rows in stamps_of(archive).values())  # noted anew


def test_lost_stamps_cost_time_and_nothing_else(archive: Path, told: Told, tmp_path: Path) -> None:
    put_site(archive, FIRST)
    assert told(archive, tmp_path / "www")[0] == 0
    (archive / ".northlimb/store.sqlite").write_bytes(b"no table")
    assert told(archive, tmp_path / "www")[1]["report"]["unchanged"] == 7


def test_a_name_that_is_no_text_has_a_stamp_too(archive: Path, told: Told, tmp_path: Path) -> None:
    site = put_site(archive, FIRST)
    (site / os.fsdecode(b"caf\xe9.txt")).write_bytes(b"menu")
    assert told(archive, tmp_path / "www")[0] == 0
    age(tmp_path)
    assert told(archive, tmp_path / "www")[1]["report"]["copied"] == 0
    assert all(b"caf\xe9.txt" in [row[0] for row in rows] for rows in stamps_of(archive).values())
