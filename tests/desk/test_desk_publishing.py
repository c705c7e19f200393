"""Publishing at the desk: by a driven browser to real servers on loopback; nothing goes where it was not allowed."""

from __future__ import annotations

import time
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from publishing.servers import PASSWORD, Host, ssh_server, webdav_server
from website.browser import Browser, in_browser
from website.packaged_browser import MODULES, needs_package

from desk.desk_client import Client, desk_of, until

PHONE = {"width_px": 390, "height_px": 844, "phone": True}


@pytest.fixture(scope="module")
def webdav(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Host]:
    with webdav_server(tmp_path_factory.mktemp("webdav")) as host:
        yield host


@pytest.fixture(scope="module")
def keyring_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("keyring") / "keyring.json"


@pytest.fixture(scope="module")
def desk(built: Path, webdav: Host, keyring_file: Path) -> Iterator[Client]:
    environment = {
        "SSL_CERT_FILE": webdav.environment["SSL_CERT_FILE"],
        "NETRC": "/nonexistent",
        "PYTHONPATH": f"{Path(__file__).parents[2]}:{Path(__file__).parents[1]}",
        "PYTHON_KEYRING_BACKEND": "publishing.file_keyring.FileKeyring",
        "NORTHLIMB_TESTS_KEYRING": str(keyring_file),
    }
    with desk_of(built, environment) as opened:
        yield opened


def targets(root: Path) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = tomllib.loads((root / "archive.toml").read_text()).get("targets", [])
    return found


def type_in(page: Browser, fields: dict[str, str], *, within: str = "#target") -> None:
    """Fill fields by their names, as a hand does: the page hears of each."""
    for selector, value in fields.items():
        found = f"document.querySelector({within!r}).querySelector({selector!r})"
        page.run(f"(() => {{ const f = {found}; f.value = {value!r}; f.dispatchEvent(new Event('change')); }})()")


def press(page: Browser, selector: str) -> None:
    """Press a button with the mouse, wherever on the page it is."""
    page.run(f"document.querySelector({selector!r}).scrollIntoView({{ block: 'center' }})")
    box = None
    while box != (box := page.box(selector)):  # what was just typed or pressed may still move it
        time.sleep(0.1)
    page.click(selector)


def seen(page: Browser, words: str) -> None:
    page.wait(f"document.querySelector('.found')?.textContent.includes({words!r})")


def sheet(desk: Client, name: str) -> Any:
    """What the page shows of a target."""
    return next(one for one in desk.get("/api/publishing").json["targets"] if one["form"]["name"] == name)


def same_as_the_site(root: Path, there: Path) -> bool:
    site = {path.relative_to(root / "site"): path.read_bytes() for path in (root / "site").rglob("*") if path.is_file()}
    return site == {path.relative_to(there): path.read_bytes() for path in there.rglob("*") if path.is_file()}


@in_browser
@needs_package("axe-core")
def test_a_site_is_published_and_read_back_by_pointing(
    started: Browser, desk: Client, built: Path, webdav: Host, keyring_file: Path
) -> None:
    page, axe = started, (Path(MODULES) / "axe-core" / "axe.min.js").read_text(encoding="utf-8")

    def has_no_fault() -> None:
        page.run(f"{axe};0")
        for scheme in ("light", "dark"):
            page.media(prefers_color_scheme=scheme)
            found = page.run("axe.run().then((done) => done.violations.map((one) => [one.id, one.nodes[0].html]))")
            assert found == []
        assert page.run("document.documentElement.scrollWidth") <= page.run("innerWidth")

    page.open(desk.address)
    page.wait("document.querySelectorAll('.days-list a').length === 4")
    desk.token = page.run("sessionStorage.getItem('desk-token')")
    before = (built / "archive.toml").read_text()
    page.open(f"{desk.origin}/publishing")
    page.wait("!document.querySelector('#no-target').hidden")
    press(page, "#add")
    form = {"[name=name]": "web", "[name=kind]": "webdavs", "[name=host]": "127.0.0.1 x"}
    type_in(page, {**form, "[name=port]": str(webdav.port), "[name=user]": "observer", "[name=path]": "sun"})
    press(page, "#target .main")
    page.wait("document.querySelector('[name=host]').getAttribute('aria-invalid') === 'true'")
    assert (built / "archive.toml").read_text() == before
    has_no_fault()
    type_in(page, {"[name=host]": "127.0.0.1"})
    press(page, "#target .main")
    page.wait("document.querySelector('[data-target=web]')")
    assert targets(built) == [{"name": "web", "url": f"webdavs://observer@127.0.0.1:{webdav.port}/sun"}]
    type_in(page, {"[data-login=password]": "wrong"}, within="[data-target=web]")
    press(page, "[data-deed=try]")
    page.wait("document.querySelector('[data-login=password]').getAttribute('aria-invalid') === 'true'")
    assert not (webdav.root / "sun").exists()
    type_in(page, {"[data-login=password]": PASSWORD}, within="[data-target=web]")
    press(page, "[data-login=keep]")
    press(page, "[data-deed=send]")
    seen(page, "Read back: all")
    assert same_as_the_site(built, webdav.root / "sun")
    page.open("about:blank")
    page.open(f"{desk.origin}/publishing", **PHONE)  # type: ignore[arg-type]
    page.wait("document.querySelector('[data-target=web]').textContent.includes('keyring')")
    press(page, "[data-deed=look]")
    seen(page, "nothing to send")
    has_no_fault()
    assert PASSWORD in keyring_file.read_text()
    for path in (*built.glob("*.toml"), *built.glob(".northlimb*/**/*")):
        assert not path.is_file() or PASSWORD.encode() not in path.read_bytes()
    press(page, "[data-target=web] .login button")
    page.wait("document.querySelector('[data-login=password]')")
    assert PASSWORD not in keyring_file.read_text()
    press(page, "[data-target=web] .target-head button:last-child")
    page.wait("document.querySelector('[data-target=web]') === null")
    assert (built / "archive.toml").read_text().rstrip() == before.rstrip()
    press(page, "#undo")
    page.wait("document.querySelector('[data-target=web]')")
    assert len(targets(built)) == 1
    assert page.console == []
    page.open(f"{desk.origin}/films", **PHONE)  # type: ignore[arg-type]
    page.wait("document.querySelectorAll('#strip li').length > 2")
    has_no_fault()
    page.open("about:blank")
    page.media(prefers_color_scheme="light")


def test_a_target_that_came_with_the_archive_does_nothing_until_allowed(
    desk: Client, built: Path, tmp_path: Path
) -> None:
    if not desk.token:  # no browser was let in before
        desk.enter()
    settings, there = built / "archive.toml", tmp_path / "web"
    with settings.open("a") as stream:
        stream.write(f'\n[[targets]]\nname = "theirs" # of another hand\nfolder = "{there}"\n')
    try:
        found = desk.get("/api/publishing").json
        assert [one["words"] for one in found["asks"]] == [f"send the site to the target theirs: {there}"]
        for deed in ("try", "look", "send", "check"):
            refused = desk.post(f"/api/publishing/{deed}", {"name": "theirs"})
            assert refused.status == 422
            assert "not allowed yet" in refused.json["causes"][0]["text"]
        # Filled in anew by its own form it is no more allowed.
        form = {**sheet(desk, "theirs")["form"], "keep": ["stats"]}
        changed = {"made_from": found["made_from"], "former": "theirs", "target": form}
        found = desk.post("/api/publishing/target", changed).json
        assert "# of another hand" in settings.read_text()
        assert desk.post("/api/publishing/send", {"name": "theirs"}).status == 422
        assert not there.exists()
        desk.post("/api/publishing/allow", {"digests": [one["digest"] for one in found["asks"]]})
        assert desk.post("/api/publishing/try", {"name": "theirs"}).status == 200
        until(lambda: not desk.events()["publishing"])
        assert sheet(desk, "theirs")["last"]["ok"]
        assert not there.exists()
    finally:
        made_from = desk.get("/api/publishing").json["made_from"]
        desk.post("/api/publishing/remove", {"made_from": made_from, "name": "theirs"})


def test_a_host_with_ssh_is_published_to_by_keys_and_a_refusal_holds_no_path(
    built: Path, tmp_path: Path, tmp_path_factory: pytest.TempPathFactory
) -> None:
    with ssh_server(tmp_path) as host, desk_of(built, host.environment) as desk:
        desk.enter()

        def last(name: str) -> Any:
            until(lambda: not desk.events()["publishing"])
            return sheet(desk, name)["last"]

        made_from = desk.get("/api/publishing").json["made_from"]
        form = {"name": "far", "kind": "sftp", "host": "127.0.0.1", "port": host.port, "user": host.extra}
        form["path"] = f"{host.root}/sun"
        assert desk.post("/api/publishing/target", {"made_from": made_from, "target": form}).status == 200
        assert desk.post("/api/publishing/send", {"name": "far", "read_back": False}).status == 200
        assert last("far")["answers"]["send"]["report"]["removed"] == 0
        assert same_as_the_site(built, host.root / "sun")
        (host.root / "sun" / "files.json").write_text("{}")
        desk.post("/api/publishing/look", {"name": "far"})
        refused = last("far")
        assert [cause["field"] for cause in refused["causes"]] == ["adopt"]
        for words in (str(built), "Traceback"):
            assert words not in refused["causes"][0]["text"]
