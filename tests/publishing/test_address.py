"""Where a site may be sent: hosts and users of URLs, tokens that nobody reads, and whose password goes where."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from archive.errors import PublishError
from archive.publishing.address import TargetOptions, is_loopback, parse_address, parse_web_address
from archive.publishing.credentials import find_login
from archive.publishing.netrc_file import NetrcMistake, netrc_entry
from publishing.sites import FIRST, make_archive, put_site

HOSTED = ("sftp", "rsync+ssh", "ftps", "webdavs", "git+ssh", "git+https")


@pytest.mark.parametrize("scheme", HOSTED)
@pytest.mark.parametrize(
    "authority",
    [
        "%2Fsome%2Ffolder@h", "a%3Ab@h", "a%2Fb@h", "a%20b@h", "a%0Ab@h", "a%00@h", "%2DoProxyCommand=x@h", "a'b@h",
        "a%60id%60@h", "a%24(id)@h", "%2Ftmp", "a%3Ab", "a%20b", "h%0A", "-h", "%2Dh", "a..b", ".h", "h%00", "a;b",
        "ü.example", "[::1", "[127.0.0.1]", "[::1%25a;b]", "h_%40x", "a" * 64, "me@-h", "%5B::1%5D",
    ],
)  # fmt: skip
def test_hosts_and_users_that_mean_more_than_a_name_are_refused(scheme: str, authority: str) -> None:
    """Programs are given these words: `rsync+ssh://%2Fsome%2Ffolder@h/p` would be written to a folder here."""
    with pytest.raises(PublishError):
        parse_address(f"{scheme}://{authority}/sun/site")


@pytest.mark.parametrize(
    ("authority", "user", "host", "port"),
    [
        ("host", None, "host", None),
        ("my_alias", None, "my_alias", None),
        ("me@Example.ORG.:2222", "me", "example.org.", 2222),
        ("first.last+web@192.0.2.7", "first.last+web", "192.0.2.7", None),
        ("me%40example.org@host", "me@example.org", "host", None),
        ("me@[2001:db8::7]:22", "me", "2001:db8::7", 22),
        ("[fe80::1%25eth0]", None, "fe80::1%eth0", None),
        ("j%C3%BCrgen@xn--bcher-kva.example", "jürgen", "xn--bcher-kva.example", None),
        ("%65xample.org", None, "example.org", None),
    ],
)
def test_names_and_addresses_are_taken(authority: str, user: str | None, host: str, port: int | None) -> None:
    found = parse_address(f"sftp://{authority}/sun")
    assert (found.user, found.host, found.port) == (user, host, port)


def test_a_repositorys_url_is_put_together_anew_from_its_checked_parts() -> None:
    assert parse_address("git+ssh://git@Host:2222/me/sun.git").path == "ssh://git@host:2222/me/sun.git"
    assert parse_address("git+ssh://me%40here@[2001:db8::7]/x").path == "ssh://me%40here@[2001:db8::7]/x"
    assert parse_address("git+file:///srv/a%20b.git").path == "file:///srv/a%20b.git"
    for url in ("git+file://host/srv/x.git", "git+ssh://h/../../x", "git+ssh://h/%2e%2e/x", "git+ssh://h/a%0Ab"):
        with pytest.raises(PublishError):
            parse_address(url)


def test_nothing_travels_unencrypted_to_another_computer() -> None:
    assert parse_address("webdav://me@localhost:8080/sun").host == "localhost"
    assert parse_address("webdav://[::1]/sun").host == "::1"
    with pytest.raises(PublishError, match="unencrypted; write webdavs://"):
        parse_address("webdav://me@example.org/sun")
    assert [is_loopback(host) for host in ("127.9.9.9", "::1", "localhost")] == [True] * 3
    assert [is_loopback(host) for host in ("127.0.0.1.example.org", "10.0.0.1", "", None)] == [False] * 4


@pytest.mark.parametrize("where", ["settings", "environment"])
def test_an_object_store_over_plain_http_is_for_this_computer_only(
    where: str, archive: Path, told: Callable[..., tuple[int, Any]], enter: Callable[[dict[str, str]], None]
) -> None:
    enter({"AWS_ACCESS_KEY_ID": "key", "AWS_SECRET_ACCESS_KEY": "secret", "AWS_DEFAULT_REGION": "x"})
    make_archive(archive, '[[targets]]\nname = "s"\nurl = "s3://sun/x"\nendpoint = "http://192.0.2.7"\n')
    put_site(archive, FIRST)
    if where == "environment":
        enter({"AWS_ENDPOINT_URL_S3": "http://192.0.2.7"})
    status, answer = told(archive, "s" if where == "settings" else "s3://sun/x")
    assert status == 1
    assert "http://192.0.2.7 is not encrypted" in answer["causes"][0]


def test_a_token_in_a_repositorys_url_is_shown_to_nobody(
    archive: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    from archive.commands.main import main

    url = "git+https://ghp_0token0@127.0.0.1:9/me/sun.git"
    assert parse_address(url).name == "git+https://***@127.0.0.1:9/me/sun.git#pages"
    assert parse_address("git+https://git@host/x.git").name == "git+https://git@host/x.git#pages"
    assert "ghp_0token0" in parse_address(url).path  # git itself is given it
    put_site(archive, FIRST)
    monkeypatch.setattr("archive.site_tree.place._WAITS_S", ())
    for words in (
        [url], [url, "--json"], [f"{url}#-f"], ["--check", url], ["--check", "https://ghp_0token0@127.0.0.1:9/"],
        [url.replace("127.0.0.1", "a%3Ab"), "--json"], [url.replace("git+https", "https")],
        [url.replace("git+https", "git+http")],
    ):  # fmt: skip
        assert main(["publish", str(archive), *words]) == 1
        printed = "".join(capsys.readouterr())
        assert "ghp_0token0" not in printed
    with pytest.raises(PublishError):
        parse_web_address("https://token@example.org/")


# ~/.netrc

NETRC = """\
# machines
machine host login me password "two words"
machine host login other password second

macdef init
machine macro login no password no

machine tabbed
\tlogin "a b" # is a word of its own here
"""


def test_netrc_holds_a_password_for_each_machine() -> None:
    found = netrc_entry(NETRC.replace(" # is a word of its own here", ""), "host")
    assert found is not None
    assert (found.user, found.password) == ("me", "two words")
    assert netrc_entry('machine host\n login me\n password a\\ b\\"c\n', "host").password == 'a b"c'  # type: ignore[union-attr]
    assert netrc_entry("machine a password #1 machine host password #2", "host").password == "#2"  # type: ignore[union-attr]
    assert netrc_entry(NETRC.rpartition("machine")[0], "macro") is None
    assert netrc_entry("default login any password anywhere", "host") is None
    assert netrc_entry("machine elsewhere password x", "host") is None


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("machine host login me password correct horse battery\n", 1),
        ("\n\nmachine host password 'correct horse'\n", 3),
        ('machine host password "correct horse\n', 1),
        ("machine host login me\nhorse\n", 2),
        ("machine host password", 1),
    ],
)
def test_a_netrc_that_makes_no_sense_is_told_by_its_line_alone(
    text: str, line: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with pytest.raises(NetrcMistake):
        netrc_entry(text, "host")
    (tmp_path / "netrc").write_text(text)
    monkeypatch.setenv("NETRC", str(tmp_path / "netrc"))
    monkeypatch.delenv("NORTHLIMB_PASSWORD", raising=False)
    with pytest.raises(PublishError, match=f"line {line} makes no sense") as refused:
        find_login(parse_address("ftps://host/sun", TargetOptions()), None)
    assert not any(word in str(refused.value) for word in ("horse", "correct", "battery"))
