"""Nobody but the desk's own pages gets in, whatever is asked; asked over loopback as anybody could."""

from __future__ import annotations

import http.client
import json
import random
import socket
import threading
import time
from collections.abc import Iterator
from hashlib import sha256
from pathlib import Path

import pytest

from archive.desk.serving import serve_desk
from desk.desk_client import PICTURE, RECORD, Client, desk_of

REQUESTS = 1000


def all_files(root: Path) -> dict[str, str]:
    """What the observer owns, by name, with its digest."""
    # What was corrected before may still be built.
    ours = ("archive.toml", "checksums.sha256")
    years = (path for year in root.glob("20*") for path in year.rglob("*") if path.is_file())
    files = (*years, *(root / name for name in ours))
    return {path.relative_to(root).as_posix(): sha256(path.read_bytes()).hexdigest() for path in files}


def test_the_secret_of_the_address_is_good_for_once(sun: Path) -> None:
    with desk_of(sun) as started:
        secret = started.address.partition("#")[2]
        assert started.post("/api/enter", {"secret": secret + "x"}).status == 403
        started.enter()
        assert started.get("/api/archive").status == 200
        assert started.post("/api/enter", {"secret": secret}).status == 403
    with desk_of(sun) as again:
        assert again.address.partition("#")[2] != secret
        again.token = started.token
        assert again.get("/api/archive").status == 401


def test_it_listens_on_the_loopback_address_alone(client: Client) -> None:
    table = Path("/proc/net/tcp")
    if not table.is_file():
        pytest.skip("needs the table of sockets of Linux")
    rows = [line.split() for line in table.read_text().splitlines()[1:]]
    # The kernel's documentation (proc.rst): local address in hexadecimal, state 0A listens.
    assert {row[1] for row in rows if row[3] == "0A" and row[1].endswith(f":{client.port:04X}")} == {
        f"0100007F:{client.port:04X}"
    }


@pytest.mark.parametrize(
    "path", ["/api/archive", f"/api/pictures/{PICTURE}", f"/api/pictures/{PICTURE}/image", "/api/events"]
)
def test_nothing_is_read_without_the_token(client: Client, path: str) -> None:
    assert client.raw("GET", path).status == 401
    assert client.raw("GET", path, headers={"northlimb-desk": client.token[:-1]}).status == 401
    assert client.raw("GET", path, headers={"cookie": f"northlimb-desk={client.token}"}).status == 401


@pytest.mark.parametrize(
    ("changed", "status"),
    [
        ({"host": "sun.example.org"}, 421),
        ({"host": "localhost:80"}, 421),
        ({"origin": "http://127.0.0.1:1"}, 403),
        ({"origin": "null"}, 403),
        ({"sec-fetch-site": "same-site"}, 403),
        ({"sec-fetch-site": "cross-site"}, 403),
        ({"sec-fetch-site": "none"}, 403),
        ({"content-type": "text/plain"}, 415),
        ({"content-type": "application/x-www-form-urlencoded"}, 415),
        ({"content-type": "multipart/form-data; boundary=x"}, 415),
        ({"northlimb-desk": ""}, 401),
    ],
)
def test_a_change_that_another_page_could_ask_for_is_refused(
    client: Client, sun: Path, changed: dict[str, str], status: int
) -> None:
    before = all_files(sun)
    headers = {**client.own_headers(), "content-type": "application/json", **changed}
    answer = client.raw("POST", f"/api/pictures/{PICTURE}/remove", b"{}", headers)
    assert answer.status == status
    assert all_files(sun) == before


def test_a_change_without_origin_is_refused(client: Client) -> None:
    headers = {"northlimb-desk": client.token, "content-type": "application/json"}
    assert client.raw("POST", "/api/quit", b"{}", headers).status == 403


def test_pages_hold_no_secret_and_let_nothing_in(client: Client) -> None:
    for path in ("/", "/picture", "/arrivals"):
        page = client.raw("GET", path)
        assert page.status == 200
        assert client.token.encode() not in page.body
        policy = page.headers["content-security-policy"]
        assert "frame-ancestors 'none'" in policy
        assert "geolocation=()" in page.headers["permissions-policy"]
        assert "unsafe" not in policy
        assert b"<script>" not in page.body
        assert b"style=" not in page.body
        assert page.headers["referrer-policy"] == "no-referrer"
        assert "access-control-allow-origin" not in page.headers
    assert client.raw("GET", "/", headers={"sec-fetch-site": "cross-site"}).status == 403


@pytest.mark.parametrize(
    "path",
    [
        "/static/..%2f..%2fpyproject.toml",
        "/static/../base.html",
        "/api/pictures/..%2f..%2fx",
        "/api/days/../notes",
        "//etc/passwd",
        "/static/base.html",
    ],
)
def test_no_path_leads_out(client: Client, path: str) -> None:
    assert client.get(path).status in (404, 405)


def test_a_refusal_names_the_field_and_no_path(client: Client, sun: Path) -> None:
    made_from = client.get(f"/api/pictures/{PICTURE}").json["made_from"]
    answer = client.post(f"/api/pictures/{PICTURE}/facts", {"made_from": made_from, "facts": {"seeing": 9}})
    assert answer.status == 422
    assert [cause["field"] for cause in answer.json["causes"]] == ["seeing"]
    gone = client.get("/api/pictures/2026-06-04T2359Z")
    assert gone.status == 422
    for told in (answer, gone):
        assert str(sun).encode() not in told.body
        assert b"Traceback" not in told.body


def test_an_edit_of_what_was_changed_meanwhile_is_refused(client: Client, sun: Path) -> None:
    made_from = client.get(f"/api/pictures/{PICTURE}").json["made_from"]
    record = sun / RECORD
    record.write_text(record.read_text() + "# by another hand\n")
    answer = client.post(
        f"/api/pictures/{PICTURE}/correct",
        {"made_from": made_from, "action": "count", "counts": {"groups": 1, "spots": 2}},
    )
    assert answer.status == 409
    assert record.read_text().endswith("# by another hand\n")


def _mutations(client: Client) -> Iterator[bytes]:
    """Requests of which something is wrong, the same at each run."""
    chance = random.Random(20260604)
    paths = ["/", "/api/archive", "/api/enter", f"/api/pictures/{PICTURE}/correct", f"/api/days/{PICTURE[:10]}/notes"]
    forms = [{"made_from": "", "action": "north"}, {"secret": "x"}, [], [[[[]]]], {"text": "a" * 500}, 7, None]
    for _ in range(REQUESTS):
        body = json.dumps(chance.choice(forms)).encode()
        head = [
            f"{chance.choice(['GET', 'POST', 'PUT', 'OPTIONS', 'get', 'A' * 50])} {chance.choice(paths)} HTTP/1.1",
            f"Host: {chance.choice([f'127.0.0.1:{client.port}', 'x', ''])}",
            f"Content-Length: {chance.choice([len(body), 0, -1, 10**12, 'x'])}",
            f"northlimb-desk: {chance.choice([client.token, 'x'])}",
            f"Origin: {chance.choice([client.origin, 'null'])}",
            f"Content-Type: {chance.choice(['application/json', 'text/plain'])}",
            "Connection: close",
        ]
        text = bytearray("\r\n".join(head).encode() + b"\r\n\r\n" + body)
        for _ in range(chance.randrange(4)):
            at = chance.randrange(len(text))
            text[at : at + chance.randrange(3)] = chance.randbytes(chance.randrange(3))
        yield bytes(text[: chance.randrange(20, len(text) + 1)])


def test_a_thousand_malformed_requests_change_nothing(client: Client, sun: Path) -> None:
    before = all_files(sun)
    for request in _mutations(client):
        with socket.create_connection(("127.0.0.1", client.port), timeout=20) as connection:
            connection.sendall(request)
            connection.shutdown(socket.SHUT_WR)
            answer = b""
            while chunk := connection.recv(65536):
                answer += chunk
        assert not answer or answer[9:12] in (
            b"200",
            b"400",
            b"401",
            b"403",
            b"404",
            b"405",
            b"409",
            b"413",
            b"415",
            b"421",
            b"422",
        ), request
    assert all_files(sun) == before
    assert client.get("/api/archive").status == 200


def test_quit_ends_it_cleanly(sun: Path) -> None:
    with desk_of(sun) as started:
        started.enter()
        assert started.post("/api/quit").status == 200
        assert started.process.wait(20) == 0
        with pytest.raises(OSError, match="refused"):
            socket.create_connection(("127.0.0.1", started.port), timeout=5)


def test_it_ends_when_its_last_page_is_closed(sun: Path) -> None:
    addresses: list[str] = []
    desk = threading.Thread(target=serve_desk, args=(sun,), kwargs={"on_address": addresses.append, "grace_s": 1.0})
    desk.start()
    end = time.monotonic() + 20.0
    while not addresses and time.monotonic() < end:
        time.sleep(0.05)
    host = addresses[0].removeprefix("http://").partition("/")[0]
    origin = {"origin": f"http://{host}", "content-type": "application/json"}
    connection = http.client.HTTPConnection(host, timeout=20)
    secret = addresses[0].partition("#")[2]
    connection.request("POST", "/api/enter", json.dumps({"secret": secret}), origin)
    token = json.loads(connection.getresponse().read())["token"]
    connection.request("GET", "/api/events", headers={"northlimb-desk": token})
    page = connection.getresponse()
    assert page.readline().startswith(b"data: ")
    time.sleep(2.0)
    assert desk.is_alive()  # as long as the page is open
    page.close()
    connection.close()
    desk.join(20.0)
    assert not desk.is_alive()
