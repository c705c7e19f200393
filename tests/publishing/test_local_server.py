"""What the preview's server answers, asked byte by byte: to whom, with which headers, and to what is no request."""

from __future__ import annotations

import re
import socket
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from archive.disk import Folder
from archive.publishing.local_server import LocalServer, local_server

PRIVATE = b"nobody's business"
Ask = Callable[..., tuple[int, dict[str, str], bytes]]


@pytest.fixture
def server(tmp_path: Path) -> Iterator[LocalServer]:
    site = tmp_path / "my-sun/site"
    (site / "days").mkdir(parents=True)
    (site / "index.html").write_text("<body>home</body>")
    (site / "days/index.html").write_text("<body>days</body>")
    (site / "films").mkdir()
    (site / "films/june.mp4").write_bytes(bytes(range(256)) * 4096)
    (site / "a b ü#1%.txt").write_bytes(b"odd name")
    (tmp_path / "my-sun/archive.toml").write_bytes(PRIVATE)
    (tmp_path / "private.txt").write_bytes(PRIVATE)
    (site / "link.txt").symlink_to(tmp_path / "private.txt")
    (site / "link.html").symlink_to(tmp_path / "private.txt")
    (site / "out").symlink_to(tmp_path)
    with local_server(Folder(site), 0) as made:
        thread = threading.Thread(target=made.serve_forever, kwargs={"poll_interval": 0.02}, daemon=True)
        thread.start()
        yield made
        made.shutdown()
        thread.join(10)


@pytest.fixture
def send(server: LocalServer) -> Callable[[bytes], tuple[int, dict[str, str], bytes]]:
    """Send bytes, and take the answer apart; there must be one."""

    def raw(request: bytes) -> tuple[int, dict[str, str], bytes]:
        with socket.create_connection(("127.0.0.1", server.server_port), 10) as client:
            client.sendall(request)
            client.shutdown(socket.SHUT_WR)
            answer = b"".join(iter(lambda: client.recv(65536), b""))
        head, end, body = answer.partition(b"\r\n\r\n")
        assert end, f"no HTTP answer: {answer[:200]!r}"
        status, *lines = head.decode("latin-1").split("\r\n")
        found = re.fullmatch(r"HTTP/1\.[01] (\d{3}) .*", status)
        assert found is not None, status
        return int(found[1]), dict(line.split(": ", 1) for line in lines), body

    return raw


@pytest.fixture
def ask(server: LocalServer, send: Callable[[bytes], tuple[int, dict[str, str], bytes]]) -> Ask:
    """Ask for a path below the secret."""

    def asked(
        path: str = "", *, host: str = "", method: str = "GET", more: str = ""
    ) -> tuple[int, dict[str, str], bytes]:
        host = host or f"127.0.0.1:{server.server_port}"
        return send(f"{method} /{server.secret}/{path} HTTP/1.1\r\nHost: {host}\r\n{more}\r\n".encode("latin-1"))

    return asked


def test_pages_and_files_are_shown_below_the_secret(ask: Ask) -> None:
    status, _, body = ask()
    assert status == 200
    assert body.startswith(b"<body>home<script src=")
    assert ask("days/")[2].startswith(b"<body>days<script src=")
    status, headers, _ = ask("days")
    assert (status, headers["Location"].rpartition("/days/")[1]) == (301, "/days/")
    assert ask("a%20b%20%C3%BC%231%25.txt")[2] == b"odd name"
    assert ask("days/", method="HEAD")[2] == b""
    assert ask("none/")[0] == 404
    assert b"watch-" in ask("days/none.html")[2]  # such a page waits for its site


@pytest.mark.parametrize("name", ["127.0.0.1:{}", "localhost:{}", "LocalHost:{}", "[::1]:{}"])
def test_it_answers_to_its_own_names(name: str, server: LocalServer, ask: Ask) -> None:
    assert ask(host=name.format(server.server_port))[0] == 200


@pytest.mark.parametrize("name", ["evil.example:{}", "127.0.0.1", "localhost:1", "127.0.0.1:{}.evil.example", " "])
def test_and_to_no_other_also_with_the_secret(name: str, server: LocalServer, ask: Ask) -> None:
    status, _, body = ask(host=name.format(server.server_port))
    assert status == 421
    assert b"home" not in body
    twice = f"Host: evil.example:{server.server_port}\r\n"
    assert ask(more=twice)[0] == 421


def test_without_the_secret_there_is_nothing(
    server: LocalServer, send: Callable[..., tuple[int, dict[str, str], bytes]]
) -> None:
    host = f"Host: localhost:{server.server_port}\r\n\r\n"
    watch = server.watch_path
    for path in (
        "/", "/index.html", "/days/", "/none", f"/{server.secret}", f"/{server.secret[:-1]}/", f"/{server.secret}x/",
        f"/{'A' * 22}/index.html", watch.removeprefix(f"/{server.secret}"), "/favicon.ico", f"/x/../{server.secret}/",
    ):  # fmt: skip
        status, _, body = send(f"GET {path} HTTP/1.1\r\n{host}".encode())
        assert status == 404, path
        assert server.secret.encode() not in body
        assert b"home" not in body
    with local_server(Folder(Path()), 0) as other:
        assert other.secret != server.secret


@pytest.mark.parametrize(
    "path",
    [
        "../archive.toml", "%2e%2e/archive.toml", "..%2farchive.toml", "out/private.txt", "link.txt", "link.html",
        "out/", "out", "/etc/passwd", "%2Fetc/passwd", "days/../../archive.toml", "..%5carchive.toml", "./index.html",
        "a" * 300 + ".txt", "a/" * 3000, "a" * 60_000, "films/", "films/june.mp4/x",
    ],
)  # fmt: skip
def test_nothing_outside_the_site_is_shown(path: str, ask: Ask) -> None:
    status, _, body = ask(path)
    assert status == 404
    assert PRIVATE not in body
    assert b"root:" not in body


@pytest.mark.parametrize(
    ("request_bytes", "status"),
    [
        (b"\r\n\r\n", 400),
        (b"nonsense\r\n\r\n", 400),
        (b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03\r\n\r\n", 400),
        (b"GET / HTTP/9.9\r\n\r\n", 505),
        (b"GET / HTTP/x\r\n\r\n", 400),
        (b"GET / a b HTTP/1.1\r\n\r\n", 400),
        (b"GET /S/%zz HTTP/1.1\r\nHost: H\r\n\r\n", 400),
        (b"GET /S/% HTTP/1.1\r\nHost: H\r\n\r\n", 400),
        (b"GET /S/%00 HTTP/1.1\r\nHost: H\r\n\r\n", 400),
        (b"GET /S/a%0d%0aX: y HTTP/1.1\r\nHost: H\r\n\r\n", 400),
        (b"GET /S/a%0d%0aX:y HTTP/1.1\r\nHost: H\r\n\r\n", 400),
        (b"GET /S/\x00 HTTP/1.1\r\nHost: H\r\n\r\n", 400),
        (b"GET /S/\xff HTTP/1.1\r\nHost: H\r\n\r\n", 400),
        (b"GET S HTTP/1.1\r\nHost: H\r\n\r\n", 400),
        (b"GET /" + b"a" * 70_000 + b" HTTP/1.1\r\nHost: H\r\n\r\n", 414),
        (b"GET /S/ HTTP/1.1\r\nHost: H\r\nX: " + b"a" * 70_000 + b"\r\n\r\n", 431),
        (b"GET /S/ HTTP/1.1\r\nHost: H\r\n" + b"X: y\r\n" * 200 + b"\r\n", 431),
        (b"GET /S/ HTTP/1.1\r\n\r\n", 421),
        (b"BREW /S/ HTTP/1.1\r\nHost: H\r\n\r\n", 501),
        (b"POST /S/ HTTP/1.1\r\nHost: H\r\nContent-Length: 300000\r\n\r\n" + b"x" * 300_000, 405),
        (b"PUT /S/ HTTP/1.1\r\nHost: H\r\nContent-Length: " + b"9" * 5000 + b"\r\n\r\n", 405),
        (b"CONNECT a:1 HTTP/1.1\r\nHost: H\r\n\r\n", 405),
        (b"GET /\r\n\r\n", 421),
    ],
)
def test_what_is_no_proper_request_gets_a_proper_answer(
    request_bytes: bytes, status: int, server: LocalServer, send: Callable[..., tuple[int, dict[str, str], bytes]],
    capsys: pytest.CaptureFixture[str],
) -> None:  # fmt: skip
    whole = request_bytes.replace(b"/S/", f"/{server.secret}/".encode())
    found, headers, _ = send(whole.replace(b"Host: H", f"Host: 127.0.0.1:{server.server_port}".encode()))
    assert found == status
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert capsys.readouterr() == ("", "")


def test_every_answer_says_how_it_may_be_used(ask: Ask) -> None:
    """Header fields by the Fetch standard (nosniff, resource policy), CSP level 3 and the Referrer Policy."""
    for path in ("", "days", "films/june.mp4", "none.txt", "none.html", "%zz", ".northlimb-preview/watch-1.js"):
        headers = ask(path)[1]
        assert headers["X-Content-Type-Options"] == "nosniff"
        assert headers["Cross-Origin-Resource-Policy"] == "same-origin"
        assert headers["Referrer-Policy"] == "no-referrer"
        assert headers["Content-Security-Policy"].startswith("default-src 'none'; ")
        assert "unsafe" not in headers["Content-Security-Policy"]
        assert headers["Cache-Control"] == "no-store"


@pytest.mark.parametrize(
    ("asked", "status", "length"),
    [
        ("bytes=0-99", 206, 100),
        ("bytes=1048575-", 206, 1),
        ("bytes=-5", 206, 5),
        ("bytes=1048576-", 416, 0),
        ("bytes=0-99999999999999999999999", 200, 1 << 20),
        ("bytes=" + "9" * 5000 + "-", 200, 1 << 20),
        ("bytes=\xb2-\xb3", 200, 1 << 20),
        ("bytes=5-2", 200, 1 << 20),
        ("bytes=0-1,4-5", 200, 1 << 20),
        ("lines=1-2", 200, 1 << 20),
    ],
)
def test_parts_are_given_and_what_is_no_part_is_the_whole(asked: str, status: int, length: int, ask: Ask) -> None:
    """RFC 9110, 14.2: a Range that is not understood is passed over."""
    found, _, body = ask("films/june.mp4", more=f"Range: {asked}\r\n")
    assert (found, len(body)) == (status, length)
