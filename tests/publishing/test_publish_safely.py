"""Publishing beside other runs, to hosts that send secrets elsewhere, over lines that break, onto full disks."""

from __future__ import annotations

import base64
import json
import os
import random
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import pytest

from archive.delivery.publication import PublishRequest, check, publish, rehearse
from archive.errors import PublishError
from archive.publishing.address import parse_address
from archive.publishing.git_place import GitPlace
from archive.records.archive_files import files_of
from archive.records.folder import writing
from archive.records.lock import target_lock
from archive.site_tree.update import prepare, read_site, send
from publishing import servers
from publishing.sites import FIRST, SECOND, files_in, put_site

CHECKOUT = Path(__file__).resolve().parents[2]
Told = Callable[..., tuple[int, Any]]
Enter = Callable[[dict[str, str]], None]
Hosts = Callable[[str], servers.Host]

# Beside other runs


def in_background(work: Callable[[], object]) -> tuple[threading.Thread, list[object]]:
    """Work in a thread, and what came of it."""
    done: list[object] = []
    thread = threading.Thread(target=lambda: done.append(work()), daemon=True)
    thread.start()
    return thread, done


@pytest.mark.parametrize("command", ["publish", "dry run", "check"])
def test_a_run_that_writes_is_waited_for(command: str, archive: Path, tmp_path: Path) -> None:
    put_site(archive, FIRST)
    www, said = tmp_path / "www", set[str]()

    def tell(what: str, done: int, total: int) -> None:
        said.add(what)

    if command == "check":
        publish(files_of(archive), PublishRequest(str(www)))
    work = {
        "publish": lambda: publish(files_of(archive), PublishRequest(str(www)), on_progress=tell),
        "dry run": lambda: rehearse(files_of(archive), PublishRequest(str(www)), on_progress=tell),
        "check": lambda: check(files_of(archive), str(www), site_dir=None, on_progress=tell),
    }[command]
    with writing(files_of(archive)):
        thread, done = in_background(work)
        time.sleep(0.5)
        assert done == []
        assert any(line.startswith("waiting for another northlimb to end (") for line in said)
    thread.join(20)
    assert len(done) == 1


def test_two_runs_do_not_publish_to_one_place_at_the_same_time(archive: Path, tmp_path: Path) -> None:
    put_site(archive, FIRST)
    www = tmp_path / "www"
    (tmp_path / "linked").symlink_to(tmp_path)
    with target_lock(files_of(archive), str(www)):
        with (
            pytest.raises(PublishError, match="another northlimb is publishing there"),
            target_lock(files_of(archive), str(www)),
        ):
            pass
        with target_lock(files_of(archive), str(tmp_path / "other")):
            pass
        # However the place is written.
        thread, done = in_background(lambda: publish(files_of(archive), PublishRequest(str(tmp_path / "linked/www"))))
        time.sleep(0.5)
        # To another place it goes meanwhile.
        publish(files_of(archive), PublishRequest(str(tmp_path / "other")))
        assert files_in(tmp_path / "other") == files_in(archive / "site")
        assert (done, www.exists()) == ([], False)
    thread.join(20)
    assert files_in(www) == files_in(archive / "site")


def test_where_no_lock_can_be_made_it_goes_without_and_through_no_link(archive: Path, tmp_path: Path) -> None:
    put_site(archive, FIRST)
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    (archive / ".northlimb-work").rename(archive / "work")
    (archive / ".northlimb-work").symlink_to(elsewhere)
    with pytest.raises(PublishError, match="was not built on this computer"):  # nothing behind a link is believed
        publish(files_of(archive), PublishRequest(str(tmp_path / "www")))
    (archive / ".northlimb-work").unlink()
    (archive / "work").rename(archive / ".northlimb-work")
    publish(files_of(archive), PublishRequest(str(tmp_path / "www")))
    (lock,) = (archive / ".northlimb-work").glob("publish-*")
    lock.unlink()
    precious = elsewhere / "thesis.txt"
    precious.write_text("ten years of work")
    lock.symlink_to(precious)
    publish(files_of(archive), PublishRequest(str(tmp_path / "www")))
    assert {path.name: path.read_text() for path in elsewhere.iterdir()} == {"thesis.txt": "ten years of work"}


# Secrets


@contextmanager
def answering(answer: Callable[[BaseHTTPRequestHandler], None]) -> Iterator[tuple[int, list[str | None]]]:
    """A web server that answers in one way, and what it was told of who asks."""
    told: list[str | None] = []

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            told.append(self.headers["Authorization"])
            answer(self)

        do_PROPFIND = do_PUT = do_MKCOL = do_MOVE = do_DELETE = do_GET

        def log_message(self, format: str, *args: object) -> None:
            pass

    with ThreadingHTTPServer(("127.0.0.1", 0), Handler) as server:
        threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02}, daemon=True).start()
        yield server.server_port, told
        server.shutdown()


def test_a_host_that_sends_one_on_does_not_send_the_password_on(archive: Path, told: Told, enter: Enter) -> None:
    enter({"NORTHLIMB_PASSWORD": servers.PASSWORD})
    put_site(archive, FIRST)

    def not_there(request: BaseHTTPRequestHandler) -> None:
        request.send_error(404)

    with answering(not_there) as (other_port, other_told):

        def elsewhere(request: BaseHTTPRequestHandler) -> None:
            request.send_response(307)
            request.send_header("Location", f"http://127.0.0.1:{other_port}{request.path}")
            request.send_header("Content-Length", "0")
            request.end_headers()

        with answering(elsewhere) as (port, asked):
            status, _ = told(archive, f"webdav://observer@127.0.0.1:{port}/sun")
    assert status == 1
    sent = base64.b64encode(f"observer:{servers.PASSWORD}".encode()).decode()
    assert asked[0] == f"Basic {sent}"
    assert set(other_told) <= {None}


def test_no_proxy_is_told_the_password_of_a_server_on_this_computer(
    archive: Path, told: Told, enter: Enter, monkeypatch: pytest.MonkeyPatch
) -> None:
    for variable in ("NO_PROXY", "no_proxy"):
        monkeypatch.delenv(variable, raising=False)
    put_site(archive, FIRST)
    with answering(lambda request: request.send_error(403)) as (proxy_port, proxy_told):
        enter({"NORTHLIMB_PASSWORD": servers.PASSWORD, "HTTP_PROXY": f"http://127.0.0.1:{proxy_port}"})
        enter({"http_proxy": f"http://127.0.0.1:{proxy_port}", "ALL_PROXY": f"http://127.0.0.1:{proxy_port}"})
        with answering(lambda request: request.send_error(418)) as (port, asked):
            assert told(archive, f"webdav://observer@127.0.0.1:{port}/sun")[0] == 1
    assert len(asked) == 1
    assert proxy_told == []


def test_a_host_that_names_another_one_for_the_files_gets_them_itself(
    archive: Path, told: Told, enter: Enter, tmp_path: Path
) -> None:
    """RFC 959's PASV tells an address; 192.0.2.1 is nobody's (RFC 5737), and would be waited for in vain."""
    (tmp_path / "ftp").mkdir()
    site = put_site(archive, FIRST)
    with servers.ftps_server(tmp_path / "ftp") as host:
        host.extra.masquerade_address = "192.0.2.1"
        enter(host.environment)
        status, answer = told(archive, f"ftps://observer@127.0.0.1:{host.port}/sun")
        assert (status, files_in(host.root / "sun")) == (0, files_in(site)), answer


def test_an_authority_of_ones_own_vouches_for_an_object_store(
    archive: Path, told: Told, enter: Enter, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    site = put_site(archive, FIRST)
    with servers.s3_tls_server(tmp_path) as host:
        enter(host.environment)
        status, answer = told(archive, "s3://tls/sun")
        assert status == 0, answer
        listed = host.extra.list_objects_v2(Bucket="tls", Prefix="sun/")["Contents"]
        assert {entry["Key"].removeprefix("sun/") for entry in listed} == files_in(site).keys()
        monkeypatch.delenv("SSL_CERT_FILE")
        status, answer = told(archive, "s3://tls/sun")
        assert status == 1
        assert "certificate is not trusted" in answer["causes"][0]


# Lines that break


def bare_repository(folder: Path) -> Path:
    subprocess.run(["git", "init", "-q", "--bare", "-b", "main", folder], check=True)
    return folder


@pytest.mark.usefixtures("short_waits")
def test_git_is_taken_up_again_when_the_line_breaks_and_then_given_up(
    hosts: Hosts, archive: Path, told: Told, enter: Enter, tmp_path: Path
) -> None:
    host, bare = hosts("ssh"), bare_repository(tmp_path / "pages.git")
    enter(host.environment)
    noise = random.Random(5).randbytes(300_000).hex()
    site = put_site(archive, {**FIRST, "films/june.mp4": noise})
    with servers.relay(host.port) as relay:
        known = Path(host.environment["HOME"]) / ".ssh/known_hosts"
        line = known.read_text().splitlines()[0]
        known.write_text(f"{line}\n{line.replace(f':{host.port}', f':{relay.port}')}\n")
        url = f"git+ssh://{host.extra}@127.0.0.1:{relay.port}{bare}#pages"
        # In the greeting, then in the middle of what is pushed.
        relay.cut_after_bytes = [1000, 1 << 30, 100_000]
        status, answer = told(archive, url)
        assert status == 0, answer
        assert relay.cut_after_bytes == []
        subprocess.run(["git", "clone", "-q", "-b", "pages", bare, tmp_path / "clone"], check=True)
        held = {name: data for name, data in files_in(tmp_path / "clone").items() if not name.startswith(".git/")}
        assert held == files_in(site)
        before, relay.refusing = relay.connections, True
        status, answer = told(archive, url)
        assert status == 1
        assert "the connection failed 4 times" in answer["causes"][0]
        assert relay.connections - before == 4


def test_a_wrong_login_is_tried_once(hosts: Hosts, archive: Path, told: Told, enter: Enter, tmp_path: Path) -> None:
    host = hosts("ssh")
    key = tmp_path / "other_key"
    subprocess.run(["ssh-keygen", "-q", "-t", "ed25519", "-N", "", "-f", key], check=True)
    home = host.environment["HOME"]
    shell = f"ssh -F none -i {key} -o IdentitiesOnly=yes -o UserKnownHostsFile={home}/.ssh/known_hosts -o BatchMode=yes"
    enter({"HOME": str(tmp_path), "GIT_SSH_COMMAND": shell})
    put_site(archive, FIRST)
    status, answer = told(archive, f"git+ssh://{host.extra}@127.0.0.1:{host.port}{tmp_path}/x.git")
    assert status == 1
    assert "Permission denied" in answer["causes"][0]
    assert "failed 4 times" not in answer["causes"][0]


def test_a_branch_that_somebody_changed_meanwhile_is_told(archive: Path, tmp_path: Path) -> None:
    bare = bare_repository(tmp_path / "pages.git")
    url = f"git+file://{bare}"

    def place_with(files: dict[str, str]) -> tuple[GitPlace, Any]:
        site = read_site(put_site(archive, files), stamps=None, on_file=lambda *_: None)
        place = GitPlace(parse_address(url))
        return place, prepare(place, site, adopt=False, keep=())

    first, others = place_with(FIRST), place_with(SECOND)
    send(others[0], others[1], on_file=lambda *_: None)
    put_site(archive, FIRST)
    with pytest.raises(PublishError, match="somebody else changed the branch meanwhile: publish again"):
        send(first[0], first[1], on_file=lambda *_: None)
    for place, _ in (first, others):
        place.close()


def test_a_host_that_takes_no_commit_says_why(archive: Path, told: Told, tmp_path: Path) -> None:
    bare = bare_repository(tmp_path / "pages.git")
    (bare / "hooks").mkdir(exist_ok=True)
    hook = bare / "hooks/pre-receive"
    hook.write_text("#!/bin/sh\nexit 1\n")
    hook.chmod(0o755)
    put_site(archive, FIRST)
    status, answer = told(archive, f"git+file://{bare}")
    assert status == 1
    assert "pre-receive hook declined" in answer["causes"][0]
    assert "somebody else" not in answer["causes"][0]


# Full disks and odd names


@pytest.fixture
def limit_files() -> Iterator[Callable[[int], None]]:
    """A call after which no file can grow beyond so many bytes, as if the disk were full."""
    resource = pytest.importorskip("resource", reason="POSIX limits")
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    yield lambda size: resource.setrlimit(resource.RLIMIT_FSIZE, (size, before[1]))
    resource.setrlimit(resource.RLIMIT_FSIZE, before)


def test_a_zip_that_finds_no_room_is_named_and_the_old_one_stays(
    limit_files: Callable[[int], None], archive: Path, told: Told, tmp_path: Path
) -> None:
    packed = tmp_path / "out/sun.zip"
    put_site(archive, FIRST)
    assert told(archive, packed)[0] == 0
    before = packed.read_bytes()
    put_site(archive, {**FIRST, "films/june.mp4": "f" * 60_000})
    limit_files(50_000)
    status, answer = told(archive, packed)
    assert status == 1
    assert answer["causes"] == [
        f"{packed}: cannot be written: File too large; check permissions and free space of {packed.parent}"
    ]
    assert [path.name for path in packed.parent.iterdir()] == ["sun.zip"]
    assert packed.read_bytes() == before


@pytest.mark.skipif(sys.platform != "linux", reason="a disk that takes names which are no text")
def test_names_that_are_no_text_travel_and_the_answer_is_json(archive: Path, told: Told, tmp_path: Path) -> None:
    site = put_site(archive, FIRST)
    odd = os.fsdecode(b"caf\xe9.txt")
    (site / odd).write_bytes(b"menu")
    # As where the system's language says nothing of UTF-8: bytes that came in go out as they were.
    environment = {**os.environ, "PYTHONPATH": str(CHECKOUT), "PYTHONIOENCODING": "utf-8:surrogateescape"}
    words = [sys.executable, "-m", "archive", "publish", archive, tmp_path / "www", "--dry-run", "--json"]
    done = subprocess.run(words, capture_output=True, env=environment, check=True)
    assert json.loads(done.stdout.decode("utf-8"))["send"][0] == odd
    assert told(archive, tmp_path / "www", "--dry-run")[1]["send"][0] == odd
    for _ in range(2):
        assert told(archive, tmp_path / "www")[0] == 0
    assert (tmp_path / "www" / odd).read_bytes() == b"menu"
    assert told(archive, "--check", tmp_path / "www")[0] == 0
    bare = bare_repository(tmp_path / "pages.git")
    assert told(archive, f"git+file://{bare}")[0] == 0
    listed = subprocess.run(["git", "-C", bare, "ls-tree", "-z", "--name-only", "pages"], capture_output=True)
    assert b"caf\xe9.txt" in listed.stdout.split(b"\0")
    status, answer = told(archive, tmp_path / "x.zip")
    assert status == 1
    assert "is not UTF-8" in answer["causes"][0]


def test_a_history_in_the_sites_folder_is_not_published(archive: Path, told: Told, tmp_path: Path) -> None:
    site = put_site(archive, FIRST)
    (site / ".git").mkdir()
    (site / ".git/HEAD").write_text("ref: refs/heads/main")
    for place in (tmp_path / "www", tmp_path / "x.zip"):
        status, answer = told(archive, place)
        assert (status, place.exists()) == (1, False)
        assert "holds .git, which looks like" in answer["causes"][0]
