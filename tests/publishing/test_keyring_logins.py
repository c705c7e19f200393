"""Logins in the system's keyring: found last, by the host alone, and used by the command too."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import keyring
import pytest

from archive.errors import PublishError
from archive.publishing.address import parse_address
from archive.publishing.credentials import Login, find_login, password_variable
from archive.publishing.keyring_logins import forget_login, keep_login, kept_login, keyring_name
from publishing.file_keyring import FileKeyring
from publishing.servers import PASSWORD, Host
from publishing.sites import FIRST, put_site

WEB = parse_address("webdavs://observer@sun.example.org:8443/sun")


@pytest.fixture
def a_keyring(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """A keyring where a system has its own; nothing of the machine's login files plays a part."""
    file, before = tmp_path / "keyring.json", keyring.get_keyring()
    monkeypatch.setenv("NORTHLIMB_TESTS_KEYRING", str(file))
    monkeypatch.setenv("NETRC", "/nonexistent")
    monkeypatch.delenv("NORTHLIMB_PASSWORD", raising=False)
    keyring.set_keyring(FileKeyring())
    yield file
    keyring.set_keyring(before)


def test_a_login_is_kept_found_and_forgotten(a_keyring: Path) -> None:
    assert keyring_name() == "a file of the tests"
    keep_login(WEB, "observer", "correct")
    assert find_login(WEB, "web") == Login("observer", "correct", "keyring")
    assert "correct" not in repr(find_login(WEB, "web"))
    forget_login(WEB)
    assert find_login(WEB, "web") == Login("observer", None)


def test_the_environment_and_netrc_go_first(a_keyring: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    keep_login(WEB, "observer", "kept")
    (tmp_path / "netrc").write_text("machine sun.example.org login observer password listed\n")
    monkeypatch.setenv("NETRC", str(tmp_path / "netrc"))
    assert find_login(WEB, "my web") == Login("observer", "listed", "netrc")
    monkeypatch.setenv(password_variable("my web"), "set")
    assert find_login(WEB, "my web") == Login("observer", "set", "environment")


@pytest.mark.parametrize(
    "other",
    [
        "webdavs://observer@sun.example.com:8443/sun",
        "webdavs://observer@sun.example.org/sun",
        "webdavs://someone@sun.example.org:8443/sun",
        "sftp://observer@sun.example.org:8443/sun",
    ],
)
def test_a_target_that_was_led_elsewhere_finds_no_password(a_keyring: Path, other: str) -> None:
    keep_login(WEB, "observer", "correct")
    assert find_login(parse_address(other), "web").password is None


def test_without_a_keyring_nothing_is_kept(a_keyring: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(FileKeyring, "priority", 0.5)  # a file of plain text, by the library's own rule
    assert keyring_name() is None
    with pytest.raises(PublishError, match="no keyring"):
        keep_login(WEB, "observer", "correct")
    assert not a_keyring.exists()


def test_a_damaged_entry_is_none(a_keyring: Path) -> None:
    keyring.set_password("northlimb webdavs://sun.example.org:8443", "observer", "{")
    assert kept_login(WEB) is None


def test_the_keys_of_a_bucket_are_taken_from_the_keyring(
    hosts: Callable[[str], Host],
    enter: Callable[[dict[str, str]], None],
    told: Callable[..., tuple[int, Any]],
    archive: Path,
    a_keyring: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    host = hosts("s3")
    enter(host.environment)
    for variable in ("AWS_ACCESS_KEY_ID", "AWS_SECRET_ACCESS_KEY"):
        monkeypatch.delenv(variable)
    monkeypatch.setenv("HOME", "/nonexistent")
    put_site(archive, FIRST)
    status, answer = told(archive, "s3://sun/kept", "--try")
    assert status == 1
    assert "no keys found" in answer["causes"][0]
    keep_login(parse_address("s3://sun/kept"), "key", PASSWORD)
    assert told(archive, "s3://sun/kept", "--try") == (0, {"status": "done", "target": "s3://sun/kept"})
    assert host.extra.list_objects_v2(Bucket="sun", Prefix="kept").get("KeyCount") == 0


def test_a_try_changes_nothing_and_needs_no_site(
    told: Callable[..., tuple[int, Any]], archive: Path, tmp_path: Path
) -> None:
    there = tmp_path / "web"
    assert told(archive, there, "--try")[0] == 0
    assert not there.exists()
    there.mkdir()
    (there / "other.txt").write_text("of somebody else")
    status, answer = told(archive, there, "--try")
    assert status == 1
    assert "holds other files" in answer["causes"][0]
    assert told(archive, there, "--try", "--adopt")[0] == 0
    assert [path.name for path in there.iterdir()] == ["other.txt"]
    assert told(archive, "--check", there, "--try")[0] == 2
