"""Every key of `[[targets]]` in the README is changed and seen to take effect."""

from __future__ import annotations

import http.server
import subprocess
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from publishing.sites import FIRST, files_in, make_archive, put_site

from archive.commands.main import main
from readme.text import block_with, keys_of, with_value

WEB, STORE = (
    "[[targets]]" + part for part in block_with("format = 1").text.partition("[[films]]")[0].split("[[targets]]")[1:]
)


def archive_with(targets: str, root: Path) -> Path:
    """An archive with a tiny site, whose targets the user has allowed."""
    put_site(make_archive(root, targets), FIRST)
    return root


def test_every_key_of_a_target_is_walked_here() -> None:
    assert keys_of(WEB) == ["name", "folder"]
    assert keys_of(STORE) == ["name", "url", "endpoint", "limit_mb", "keep"]
    assert 'region = "..."' in STORE
    assert 'branch = "pages" for git' in STORE
    assert "limit_mb = 1000 " in STORE  # seen in test_publish_folder.py to take effect


def test_the_name_is_what_publish_is_told(tmp_path: Path) -> None:
    there = tmp_path / "www"
    web = with_value(WEB, "folder", f'"{there}"')
    root = archive_with(with_value(web, "name", '"school"'), tmp_path / "my-sun")
    assert main(["publish", str(root), "school"]) == 0
    assert files_in(there)["index.html"] == FIRST["index.html"].encode()


def test_the_first_target_is_taken_and_its_folder_is_where_the_site_goes(tmp_path: Path) -> None:
    for name in ("here", "there"):
        web = with_value(WEB, "folder", f'"{tmp_path / name}"')
        root = archive_with(web + STORE, tmp_path / f"archive-{name}")
        assert main(["publish", str(root)]) == 0
        assert (tmp_path / name / "index.html").is_file()


def test_what_is_kept_stays(tmp_path: Path) -> None:
    there = tmp_path / "www"
    for name in ("stats", "mail"):
        (there / name).mkdir(parents=True)
        (there / name / "of-others").write_text("x", encoding="utf-8")
    web = with_value(WEB, "folder", f'"{there}"')
    kept = next(line for line in STORE.splitlines() if line.startswith("keep"))
    for keep, status in ((kept, 1), ('keep = ["stats", "mail"]', 0)):
        root = archive_with(f"{web}{keep}\n", tmp_path / "my-sun")
        assert main(["publish", str(root)]) == status, keep
    assert (there / "stats" / "of-others").is_file()
    assert (there / "mail" / "of-others").is_file()


@pytest.mark.parametrize(("more", "branch"), [("", "pages"), ('branch = "www"\n', "www")])
def test_the_branch_is_where_a_repository_is_written(more: str, branch: str, tmp_path: Path) -> None:
    repository = tmp_path / "sun.git"
    subprocess.run(["git", "init", "--quiet", "--bare", repository], check=True)
    target = f'[[targets]]\nname = "git"\nurl = "git+file://{repository}"\n{more}'
    root = archive_with(target, tmp_path / "my-sun")
    assert main(["publish", str(root)]) == 0
    listed = subprocess.run(
        ["git", "-C", repository, "branch", "--format=%(refname:short)"], check=True, capture_output=True, text=True
    )
    assert listed.stdout.split() == [branch]


@contextmanager
def refusing_store() -> Iterator[tuple[int, list[str]]]:
    """An object store that refuses everybody: its port, and each request with what it was signed for."""
    asked: list[str] = []

    class Refusal(http.server.BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            asked.append(f"{self.path} {self.headers['Authorization']}")
            body = b"<Error><Code>AccessDenied</Code><Message>no</Message></Error>"
            self.send_response(403)
            self.send_header("Content-Length", str(len(body)))
            self.end_headers()
            self.wfile.write(body)

        do_PUT = do_HEAD = do_GET

        def log_message(self, format: str, *args: object) -> None:
            pass

    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Refusal)
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    try:
        yield server.server_port, asked
    finally:
        server.shutdown()
        thread.join()
        server.server_close()


@pytest.mark.parametrize(
    ("url", "region", "seen"),
    [
        ("s3://my-bucket/sun", "north-1", ("/my-bucket", "sun", "/north-1/s3/")),
        ("s3://other/stars", "south-2", ("/other", "stars", "/south-2/s3/")),
    ],
)
def test_url_endpoint_and_region_say_which_store_is_asked_for_what(
    url: str, region: str, seen: tuple[str, ...], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("AWS_ACCESS_KEY_ID", "key")
    monkeypatch.setenv("AWS_SECRET_ACCESS_KEY", "secret")
    with refusing_store() as (port, asked):
        store = with_value(with_value(STORE, "endpoint", f'"http://127.0.0.1:{port}"'), "url", f'"{url}"')
        root = archive_with(f'{store}region = "{region}"\n', tmp_path / "my-sun")
        assert main(["publish", str(root), "store"]) == 1
    assert asked
    assert all(part in asked[0] for part in seen), asked[0]
