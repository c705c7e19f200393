"""One site, every kind of target behind a real server: what arrives, what travels, what is refused."""

from __future__ import annotations

import subprocess
import zipfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from publishing import servers
from publishing.sites import FIRST, SECOND, files_in, make_archive, put_site

KINDS = ("sftp", "rsync", "ftps", "webdavs", "s3", "git", "git+ssh", "zip")
# A folder has its own code; git over ssh is git.
EVERY_PLACE = ("folder", "sftp", "rsync", "ftps", "webdavs", "s3", "git", "zip")
# One for each way in which a place is changed: as a whole, file by file, by a commit, by a new zip.
EVERY_WAY = ("folder", "ftps", "git", "zip")


@dataclass
class Target:
    """A target behind a server, and a look at what it holds that this program has no part in."""

    url: str
    files: Callable[[], dict[str, bytes]]
    put: Callable[[str, bytes], None]
    environment: dict[str, str]


def of_folder(url: str, folder: Path, environment: dict[str, str]) -> Target:
    def put(name: str, data: bytes) -> None:
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(data)

    return Target(url, lambda: files_in(folder), put, environment)


def of_bucket(host: servers.Host, prefix: str) -> Target:
    def files() -> dict[str, bytes]:
        listed = host.extra.list_objects_v2(Bucket="sun", Prefix=f"{prefix}/").get("Contents", [])
        keys = [entry["Key"] for entry in listed]
        return {
            key.removeprefix(f"{prefix}/"): host.extra.get_object(Bucket="sun", Key=key)["Body"].read() for key in keys
        }

    def put(name: str, data: bytes) -> None:
        host.extra.put_object(Bucket="sun", Key=f"{prefix}/{name}", Body=data)

    return Target(f"s3://sun/{prefix}", files, put, host.environment)


def of_repository(url: str, bare: Path, environment: dict[str, str], scratch: Path) -> Target:
    """Look by cloning, change by a commit of somebody else's."""
    who = ["-c", "user.name=Somebody", "-c", "user.email=somebody@example.org"]

    def clone() -> Path:
        place = scratch / f"clone{len(list(scratch.glob('clone*')))}"
        subprocess.run(["git", "clone", "-q", "-b", "pages", bare, place], check=True, capture_output=True)
        return place

    def files() -> dict[str, bytes]:
        listed = subprocess.run(["git", "-C", bare, "branch", "--list", "pages"], check=True, capture_output=True)
        held = files_in(clone()) if listed.stdout.strip() else {}
        return {name: data for name, data in held.items() if not name.startswith(".git/")}

    def put(name: str, data: bytes) -> None:
        if files():
            place = clone()
        else:
            place = scratch / "clone-first"
            subprocess.run(["git", "init", "-q", "-b", "pages", place], check=True)
            subprocess.run(["git", "-C", place, "remote", "add", "origin", bare], check=True)
        (place / name).parent.mkdir(parents=True, exist_ok=True)
        (place / name).write_bytes(data)
        subprocess.run(["git", "-C", place, "add", "-A"], check=True)
        subprocess.run(["git", "-C", place, *who, "commit", "-qm", "by hand"], check=True)
        subprocess.run(["git", "-C", place, "push", "-q", "origin", "pages"], check=True, capture_output=True)

    return Target(url, files, put, environment)


def of_zip(path: Path) -> Target:
    def files() -> dict[str, bytes]:
        if not path.exists():
            return {}
        with zipfile.ZipFile(path) as held:
            assert held.testzip() is None
            return {name: held.read(name) for name in held.namelist()}

    def put(name: str, data: bytes) -> None:
        held = {**files(), name: data}
        with zipfile.ZipFile(path, "w") as made:
            for one, content in held.items():
                made.writestr(one, content)

    return Target(str(path), files, put, {})


@pytest.fixture(params=KINDS)
def target(
    request: pytest.FixtureRequest,
    hosts: Callable[[str], servers.Host],
    tmp_path: Path,
    enter: Callable[[dict[str, str]], None],
) -> Target:
    """A target of each kind in turn, empty, with the environment that its user would have."""
    made = make_target(request.param, hosts, tmp_path)
    enter(made.environment)
    return made


@pytest.fixture(params=EVERY_PLACE)
def place(
    request: pytest.FixtureRequest,
    hosts: Callable[[str], servers.Host],
    tmp_path: Path,
    enter: Callable[[dict[str, str]], None],
) -> Target:
    """The same, folders too."""
    made = make_target(request.param, hosts, tmp_path)
    enter(made.environment)
    return made


@pytest.fixture(params=EVERY_WAY)
def changed_place(
    request: pytest.FixtureRequest,
    hosts: Callable[[str], servers.Host],
    tmp_path: Path,
    enter: Callable[[dict[str, str]], None],
) -> Target:
    """A target for each way in which one is changed."""
    made = make_target(request.param, hosts, tmp_path)
    enter(made.environment)
    return made


def make_target(kind: str, hosts: Callable[[str], servers.Host], tmp_path: Path) -> Target:
    name = tmp_path.name
    if kind in ("git", "git+ssh"):
        servers.program("git", "git")
        bare = tmp_path / "pages.git"
        subprocess.run(["git", "init", "-q", "--bare", "-b", "main", bare], check=True)
        if kind == "git":
            return of_repository(f"git+file://{bare}", bare, {}, tmp_path)
        host = hosts("ssh")
        url = f"git+ssh://{host.extra}@127.0.0.1:{host.port}{bare}#pages"
        return of_repository(url, bare, host.environment, tmp_path)
    if kind == "folder":
        return of_folder(str(tmp_path / "host" / "www"), tmp_path / "host" / "www", {})
    if kind == "zip":
        return of_zip(tmp_path / "out" / "site.zip")
    host = hosts("ssh" if kind in ("sftp", "rsync") else kind)
    if kind == "s3":
        return of_bucket(host, name)
    if kind in ("ftps", "webdavs"):
        return of_folder(
            f"{kind}://observer@127.0.0.1:{host.port}/{name}/sun", host.root / name / "sun", host.environment
        )
    if kind == "rsync":
        servers.program("rsync", "rsync")
    scheme = {"sftp": "sftp", "rsync": "rsync+ssh"}[kind]
    folder = host.root / f"{kind}-{name}" / "deep" / "sun site"
    return of_folder(
        f"{scheme}://{host.extra}@127.0.0.1:{host.port}{folder}".replace(" ", "%20"), folder, host.environment
    )


def test_a_site_goes_there_changes_there_and_is_checked_there(
    target: Target, archive: Path, told: Callable[..., tuple[int, Any]]
) -> None:
    """The whole life of a target; what it holds is looked at by other means than this program's."""
    site = put_site(archive, FIRST)
    status, answer = told(archive, target.url, "--dry-run")
    assert (status, answer["report"]["copied"]) == (0, 7)
    assert answer["send"][-1] == "index.html"
    assert target.files() == {}

    status, answer = told(archive, target.url)
    assert (status, answer["report"]["copied"]) == (0, 7), answer
    assert target.files() == files_in(site)
    status, answer = told(archive, "--check", target.url)
    assert (status, answer["checked"], answer["missing"], answer["changed"]) == (0, 8, [], []), answer

    status, answer = told(archive, target.url)
    assert (status, answer["report"]["copied"], answer["report"]["unchanged"]) == (0, 0, 7)

    site = put_site(archive, SECOND)
    status, answer = told(archive, "--check", target.url)
    assert (status, answer["missing"]) == (1, ["days/2026-06-05/index.html"])
    assert answer["changed"] == ["data/observations.json", "days/2026-06-03/index.html", "files.json", "index.html"]
    status, answer = told(archive, target.url)
    assert status == 0, answer
    report = answer["report"]
    assert (status, report["copied"], report["unchanged"], report["removed"]) == (0, 4, 2, 2)
    assert report["bytes_copied"] == sum(len(SECOND[name]) for name in SECOND if SECOND[name] != FIRST.get(name))
    assert target.files() == files_in(site)
    assert told(archive, "--check", target.url)[0] == 0


def test_files_of_others_are_refused_until_taken_over(
    target: Target, archive: Path, told: Callable[..., tuple[int, Any]]
) -> None:
    site = put_site(archive, FIRST)
    target.put("index.html", b"my other page") if not target.url.endswith(".zip") else zipped(target)
    before = target.files()
    status, answer = told(archive, target.url)
    assert status == 1
    assert "holds other files" in answer["causes"][0]
    assert "--adopt" in answer["causes"][0]
    assert target.files() == before
    assert told(archive, target.url, "--adopt")[0] == 0
    assert target.files() == files_in(site)


def zipped(target: Target) -> None:
    Path(target.url).parent.mkdir(parents=True)
    target.put("thesis.txt", b"ten years of work")


def test_what_was_done_to_the_target_behind_our_back_is_noticed(
    target: Target, archive: Path, told: Callable[..., tuple[int, Any]]
) -> None:
    site = put_site(archive, FIRST)
    assert told(archive, target.url)[0] == 0
    target.put("discs/old.jpg", b"cut")
    status, answer = told(archive, target.url)
    assert (status, target.files()) == (0, files_in(site)), answer
    target.put("days/notes/mine.txt", b"by hand")
    status, answer = told(archive, target.url)
    assert status == 1
    assert "days/notes/mine.txt" in answer["causes"][0]
    assert told(archive, target.url, "--adopt")[1]["report"]["not_of_the_site"] == ["days/notes/mine.txt"]
    assert target.files() == files_in(site)


def test_a_file_and_a_folder_may_change_places(
    target: Target, archive: Path, told: Callable[..., tuple[int, Any]]
) -> None:
    put_site(archive, {"index.html": "1", "a": "file", "b/c.jpg": "in a folder"})
    assert told(archive, target.url)[0] == 0
    site = put_site(archive, {"index.html": "1", "a/c.jpg": "now a folder", "b": "now a file"})
    status, answer = told(archive, target.url)
    assert (status, target.files()) == (0, files_in(site)), answer


def test_the_archive_may_be_named_in_any_way(
    place: Target, archive: Path, told: Callable[..., tuple[int, Any]], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Relative, as the folder one is in, through a link, with a slash at the end."""
    link = archive.parent / "linked"
    link.symlink_to(archive, target_is_directory=True)
    quick = place.url.startswith(("git+file", "/"))
    ways = ["my-sun", ".", "linked/"] + ([str(archive), "../my-sun/", "./linked"] if quick else [])
    for number, way in enumerate(ways):
        monkeypatch.chdir(archive if way in (".", "../my-sun/") else archive.parent)
        site = put_site(archive, {**FIRST, "index.html": f"version {number}"})
        status, answer = told(way, place.url)
        assert status == 0, answer
        assert told(way, place.url, "--dry-run")[1]["send"] == []
        assert place.files() == files_in(site)
    assert told(ways[-1], "--check", place.url)[0] == 0


def test_a_file_of_ones_own_in_the_site_comes_and_goes_with_it(
    changed_place: Target, archive: Path, told: Callable[..., tuple[int, Any]]
) -> None:
    """README: a CNAME in the site's folder, which `build` does not list."""
    site = put_site(archive, FIRST)
    (site / "CNAME").write_text("sun.example.org\n")
    (site / ".well-known").mkdir()
    (site / ".well-known/security.txt").write_text("Contact: https://example.org\n")
    assert told(archive, changed_place.url)[0] == 0
    status, answer = told(archive, "--check", changed_place.url)
    assert (status, answer["missing"], answer["changed"]) == (0, [], []), answer
    assert told(archive, changed_place.url)[1]["report"]["copied"] == 0
    (site / "CNAME").unlink()
    status, answer = told(archive, changed_place.url)
    assert (status, answer["report"]["removed"], answer["report"]["not_of_the_site"]) == (0, 1, []), answer
    held = changed_place.files()
    assert "CNAME" not in held
    assert held[".well-known/security.txt"] == b"Contact: https://example.org\n"
    assert told(archive, "--check", changed_place.url)[0] == 0


def test_days_of_an_archive_and_histories_are_not_taken_over_anywhere(
    changed_place: Target, archive: Path, told: Callable[..., tuple[int, Any]]
) -> None:
    put_site(archive, FIRST)
    changed_place.put("index.html", b"my page") if not changed_place.url.endswith(".zip") else zipped(changed_place)
    changed_place.put("old sun/2019/2019-07-01/1200Z.jpg", b"an original")
    before = changed_place.files()
    status, answer = told(archive, changed_place.url, "--adopt")
    assert status == 1
    assert "target holds old sun/2019/2019-07-01/1200Z.jpg" in answer["causes"][0]
    assert changed_place.files() == before


def test_what_is_kept_stays_in_every_kind_of_target(
    changed_place: Target, archive: Path, told: Callable[..., tuple[int, Any]]
) -> None:
    key = "url" if "://" in changed_place.url else "folder"
    make_archive(archive, f'[[targets]]\nname = "web"\n{key} = "{changed_place.url}"\nkeep = ["stats", "note.txt"]\n')
    put_site(archive, FIRST)
    assert told(archive, "web")[0] == 0
    mine = {"stats/june.csv": b"1,2,3", "note.txt": b"of the host"}
    for name, data in mine.items():
        changed_place.put(name, data)
    for files in (FIRST, SECOND):
        site = put_site(archive, files)
        status, coming = told(archive, "web", "--dry-run")
        assert (status, set(coming["remove"]).intersection(mine)) == (0, set()), coming
        status, answer = told(archive, "web")
        assert (status, answer["report"]) == (0, coming["report"])
        assert changed_place.files() == files_in(site) | mine
    assert told(archive, "--check", "web")[0] == 0
