"""The desk in a real Chromium: worked by mouse, keys and on a phone's width, and tried from a hostile page."""

from __future__ import annotations

import json
import shutil
import threading
import tomllib
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import pytest
from website.browser import CHROMIUM, Browser
from website.packaged_browser import MODULES, needs_package

from desk.desk_client import PICTURE, RECORD, SAMPLE, Client, desk_of
from desk.test_desk_safety import all_files

pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="Chromium is not installed: not tried in a browser")
DRAWN = "document.querySelector('.sheet image') && document.querySelectorAll('[data-spot]').length > 3"
PHONE = {"width_px": 390, "height_px": 844, "phone": True}


@pytest.fixture(scope="module")
def opened(sun: Path, started: Browser) -> Iterator[tuple[Browser, Client]]:
    """A desk whose page is open in the browser, by its address."""
    with desk_of(sun) as desk:
        started.open(desk.address)
        started.wait("document.querySelectorAll('.days-list a').length === 4")
        desk.token = started.run("sessionStorage.getItem('desk-token')")
        yield started, desk


def show_picture(page: Browser, desk: Client, **window: object) -> None:
    page.open("about:blank")  # or the same address would be no new page
    page.open(f"{desk.origin}/picture#{PICTURE}", **window)  # type: ignore[arg-type]
    page.wait(DRAWN)


def record(sun: Path) -> dict[str, object]:
    return tomllib.loads((sun / RECORD).read_text())


def test_the_secret_goes_from_the_address(opened: tuple[Browser, Client]) -> None:
    page, _ = opened
    assert page.run("location.hash + location.search") == ""


def test_north_is_turned_by_dragging_and_by_keys_stated_and_undone(opened: tuple[Browser, Client], sun: Path) -> None:
    page, desk = opened
    before = (sun / RECORD).read_text()
    show_picture(page, desk)
    angle_deg = page.run("Number(document.querySelector('#north-handle').getAttribute('aria-valuenow'))")
    page.run("document.querySelector('#north-handle').focus()")
    page.press("ArrowLeft", "ArrowLeft")
    turned_deg = page.run("Number(document.querySelector('#north-handle').getAttribute('aria-valuenow'))")
    assert turned_deg == pytest.approx(angle_deg + 2.0, abs=0.05)
    x, y = page.middle("#north-handle circle")
    left, top, width, _ = page.box(".sheet .limb ellipse")
    page.drag(x, y, right=left + width / 2 - x, down=top - 12 - y)  # to the top of the picture
    assert page.run("Number(document.querySelector('#north-handle').getAttribute('aria-valuenow'))") == pytest.approx(
        0.0, abs=1.5
    )
    page.click("#state-north")
    page.wait("document.querySelector('#undo').disabled === false")
    assert record(sun)["north_angle_deg"] == pytest.approx(0.0, abs=1.5)
    page.click("#undo")
    page.wait("document.querySelector('#undo').disabled")
    assert (sun / RECORD).read_text() == before
    assert page.console == []


def test_a_spot_is_clicked_away_and_a_lasso_makes_a_group(opened: tuple[Browser, Client], sun: Path) -> None:
    page, desk = opened
    before = (sun / RECORD).read_text()
    show_picture(page, desk)
    page.click('[data-spot="3"] .reach')
    page.wait("!document.querySelector('#chosen').hidden")
    page.click("#not-spot")
    page.wait("document.querySelector('[data-spot=\"3\"]').classList.contains('dust')")
    assert len(record(sun)["dust"]) == 1  # type: ignore[arg-type]
    page.click("#undo")
    page.wait("!document.querySelector('[data-spot=\"3\"]').classList.contains('dust')")
    # All about the disc: one group of everything.
    left, top, width, height = page.box(".sheet .limb ellipse")
    middle = left + width / 2, top + height / 2
    corners = [(middle[0] + width * 0.47 * a, middle[1] + height * 0.47 * b) for a, b in CIRCLE]
    page.send(
        "Input.dispatchMouseEvent", type="mousePressed", x=corners[0][0], y=corners[0][1], button="left", clickCount=1
    )
    for x, y in corners:
        page.send("Input.dispatchMouseEvent", type="mouseMoved", x=x, y=y, button="left", buttons=1)
    page.send(
        "Input.dispatchMouseEvent", type="mouseReleased", x=corners[0][0], y=corners[0][1], button="left", clickCount=1
    )
    page.wait("document.querySelector('#chosen-words').textContent.includes('spots of')")
    page.click("#one-group")
    page.wait("document.querySelector('#groups').rows.length === 1")
    assert len(record(sun)["groups"]) == 1  # type: ignore[arg-type]
    page.click("#undo")
    page.wait("document.querySelector('#undo').disabled")
    assert (sun / RECORD).read_text() == before


CIRCLE = [(1, 0), (0.7, 0.7), (0, 1), (-0.7, 0.7), (-1, 0), (-0.7, -0.7), (0, -1), (0.7, -0.7), (1, 0)]


@needs_package("axe-core")
@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("window", [{}, PHONE], ids=["desktop", "phone"])
def test_pages_fit_and_axe_finds_nothing(
    opened: tuple[Browser, Client], window: dict[str, object], scheme: str
) -> None:
    page, desk = opened
    axe = (Path(MODULES) / "axe-core" / "axe.min.js").read_text(encoding="utf-8")
    page.media(prefers_color_scheme=scheme)
    for path, ready in (
        ("/picture", DRAWN),
        ("/", "document.querySelector('.days-list')"),
        ("/arrivals", "true"),
        ("/upkeep", "document.querySelector('#month option') && document.querySelector('#shift-open').onclick"),
        ("/settings", "document.querySelector('.entry')"),
    ):
        page.open("about:blank")
        page.open(f"{desk.origin}{path}#{PICTURE if path == '/picture' else ''}", **window)  # type: ignore[arg-type]
        page.wait(ready)
        page.run(f"{axe};0")
        found = page.run("axe.run().then((done) => done.violations.map((one) => [one.id, one.nodes[0].html]))")
        assert found == [], path
        assert page.run("document.documentElement.scrollWidth") <= page.run("innerWidth")
        assert page.console == []


class _Hostile(BaseHTTPRequestHandler):
    def do_GET(self) -> None:
        self.send_response(200)
        self.send_header("Content-Type", "text/html")
        self.end_headers()
        self.wfile.write(b"<!DOCTYPE html><title>another page</title><body></body>")

    def log_message(self, format: str, *args: object) -> None:
        pass


ATTACK = Path(__file__).with_name("hostile_page.js").read_text(encoding="utf-8")


def test_a_hostile_page_of_another_origin_reaches_nothing(opened: tuple[Browser, Client], sun: Path) -> None:
    page, desk = opened
    before = all_files(sun)
    paths = [
        "/api/archive",
        "/api/enter",
        f"/api/pictures/{PICTURE}/remove",
        f"/api/pictures/{PICTURE}/image",
        "/static/desk.js",
    ]
    with ThreadingHTTPServer(("127.0.0.1", 0), _Hostile) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        page.open(f"http://127.0.0.1:{server.server_port}/")
        script = ATTACK.replace("DESK", json.dumps(desk.origin)).replace("PATHS", json.dumps(paths))
        assert page.run(script) == []
        server.shutdown()
    assert all_files(sun) == before
    assert desk.get("/api/archive").status == 200


def test_looks_are_brought_into_another_order_and_kept(opened: tuple[Browser, Client], sun: Path) -> None:
    page, desk = opened
    before = (sun / "archive.toml").read_text()
    page.open(f"{desk.origin}/settings")
    page.wait("document.querySelector('[data-up=warm]')")
    page.click("[data-up=warm]")
    page.run("document.querySelector('[name=look-flat]').click()")
    page.run("document.querySelector('#looks').requestSubmit()")
    page.wait("!document.querySelector('#undo').disabled")
    assert tomllib.loads((sun / "archive.toml").read_text())["looks"] == ["warm", "natural", "mono"]
    page.click("#undo")
    page.wait("document.querySelector('#undo').disabled")
    assert (sun / "archive.toml").read_text() == before


def test_a_time_put_right_offers_to_shift_the_others_and_all_of_it_is_undone(
    opened: tuple[Browser, Client], sun: Path
) -> None:
    page, desk = opened
    before = all_files(sun)
    show_picture(page, desk)
    page.run("document.querySelector('#time-text').value = '2026-06-04T07:05:00Z'; 0")
    page.run("document.querySelector('#time').requestSubmit()")
    page.wait("!document.querySelector('#others').hidden && document.querySelector('.shifted li')")
    assert page.run("document.querySelector('.shifted').textContent") == "2026-06-05 07:40:00 → 05:40:00"
    page.run("document.querySelector('#shift .main').click()")
    page.wait("!document.querySelector('#shift .doing button:nth-child(2)').disabled")
    assert (sun / "2026/2026-06-05/0540Z.toml").is_file()
    page.run("document.querySelector('#shift .doing button:nth-child(2)').click()")
    page.wait("document.querySelector('#shift .doing button:nth-child(2)').disabled")
    page.click("#undo")
    page.wait("document.querySelector('#undo').disabled")
    assert all_files(sun) == before


def tap(page: Browser, selector: str) -> None:
    """Touch the middle of an element with a finger, scrolled to where it is seen."""
    page.run(f"document.querySelector({json.dumps(selector)}).scrollIntoView({{block: 'center'}})")
    x, y = page.middle(selector)
    page.send("Input.dispatchTouchEvent", type="touchStart", touchPoints=[{"x": x, "y": y}])
    page.send("Input.dispatchTouchEvent", type="touchEnd", touchPoints=[])


def test_a_spot_is_left_out_and_brought_back_by_finger_on_a_phone(opened: tuple[Browser, Client], sun: Path) -> None:
    page, desk = opened
    before = (sun / RECORD).read_text()
    show_picture(page, desk, **PHONE)
    page.send("Emulation.setTouchEmulationEnabled", enabled=True)
    tap(page, '[data-spot="3"] .reach')
    page.wait("!document.querySelector('#chosen').hidden")
    tap(page, "#not-spot")
    page.wait("document.querySelector('[data-spot=\"3\"]').classList.contains('dust')")
    assert len(record(sun)["dust"]) == 1  # type: ignore[arg-type]
    tap(page, "#undo")
    page.wait("document.querySelector('#undo').disabled")
    assert (sun / RECORD).read_text() == before
    page.send("Emulation.setTouchEmulationEnabled", enabled=False)


def test_a_dropped_folder_brings_what_is_in_it_with_its_notes(opened: tuple[Browser, Client], tmp_path: Path) -> None:
    page, desk = opened
    inner = tmp_path / "evening" / "inner"
    inner.mkdir(parents=True)
    shutil.copy(SAMPLE / "2026/2026-06-06/1135Z.jpg", inner / "sun.jpg")
    (inner / "sun.toml").write_text("time = 2026-06-06T11:35:00Z\ninstrument = 'Doorstep refractor'\n")
    (tmp_path / "evening/.hidden").write_text("not a picture")
    page.open(f"{desk.origin}/arrivals")
    page.wait("document.querySelector('#choose').onchange")
    # The head of the page has its words only then, and pushes what is below it down.
    page.wait(
        "document.querySelector('#archive-title').textContent !== 'The desk' && document.fonts.status === 'loaded'"
    )
    x, y = page.middle("#drop")
    dragged = {"items": [], "files": [str(tmp_path / "evening")], "dragOperationsMask": 1}
    for kind in ("dragEnter", "dragOver", "drop"):
        page.send("Input.dispatchDragEvent", type=kind, x=x, y=y, data=dragged)
    page.wait("document.querySelector('#file').textContent === 'File this picture'")
    card = "document.querySelector('.arrival').textContent"
    assert "2026-06-06 11:35:00 UTC" in page.run(card)
    page.run("[...document.querySelectorAll('.arrival button')].find((one) => /Leave/.test(one.textContent)).click()")
    page.wait("!document.querySelector('.arrival')")


PASTED = """(async () => {
  const sheet = document.createElement("canvas");
  sheet.width = sheet.height = 400;
  sheet.getContext("2d").arc(200, 200, 150, 0, 7);
  sheet.getContext("2d").fillStyle = "white";
  sheet.getContext("2d").fill();
  const png = await new Promise((done) => sheet.toBlob(done, "image/png"));
  await navigator.clipboard.write([new ClipboardItem({ "image/png": png })]);
})()"""


def test_a_picture_is_pasted(opened: tuple[Browser, Client]) -> None:
    page, desk = opened
    page.open(f"{desk.origin}/arrivals")
    page.wait("document.querySelector('#choose').onchange")
    page.grant(desk.origin, "clipboardReadWrite", "clipboardSanitizedWrite")
    page.send("Page.bringToFront")
    page.run(PASTED)
    page.send("Input.dispatchKeyEvent", type="keyDown", key="v", modifiers=2, commands=["paste"])
    page.wait("document.querySelector('.arrival .facts, .arrival .refused')")
    assert page.run("document.querySelector('.arrival h2').textContent") == "image.png"
    page.run("[...document.querySelectorAll('.arrival button')].find((one) => /Leave/.test(one.textContent)).click()")
    page.wait("!document.querySelector('.arrival')")


def test_what_is_typed_on_a_phone_is_kept_or_refused_at_its_field(opened: tuple[Browser, Client], sun: Path) -> None:
    page, desk = opened
    before = (sun / "archive.toml").read_text()
    page.open(f"{desk.origin}/settings", **PHONE)  # type: ignore[arg-type]
    page.wait("document.querySelector('.entry') && document.querySelector('[name=title]').value")
    field = "document.querySelector('[name=relative_number_k]')"
    keep = "document.querySelector('#archive').requestSubmit()"
    page.run(f"{field}.focus(); {field}.select()")
    page.send("Input.insertText", text="0,7")  # as keys do: a field for numbers would keep 7
    page.run(keep)
    page.wait(f"{field}.getAttribute('aria-invalid') === 'true' && document.activeElement === {field}")
    assert page.run(f"[{field}.value, {field}.closest('label').nextElementSibling.textContent]") == [
        "0,7", "relative_number_k: '0,7' is not a number; write 0.7",
    ]  # fmt: skip
    assert page.run("document.querySelector('#alert').textContent") == ""
    assert page.run("document.documentElement.scrollWidth") <= page.run("innerWidth")
    assert (sun / "archive.toml").read_text() == before
    page.run(f"{field}.select()")
    page.send("Input.insertText", text="0.7")
    page.run(keep)
    page.wait("!document.querySelector('#undo').disabled")
    assert tomllib.loads((sun / "archive.toml").read_text())["relative_number_k"] == 0.7
    page.run("document.querySelector('#undo').click()")
    page.wait("document.querySelector('#undo').disabled")
    assert (sun / "archive.toml").read_text() == before


def test_a_bad_time_is_told_at_its_card_on_a_phone_and_an_ended_desk_says_so(
    measured: Path, tmp_path: Path, started: Browser
) -> None:
    root = Path(shutil.copytree(measured, tmp_path / "sun"))
    page = started
    with desk_of(root) as desk:
        desk.enter()
        headers = {**desk.own_headers(), "content-type": "application/octet-stream"}
        for number, file in enumerate(("2026-06-06/1135Z.jpg", "2026-06-07/0950Z.jpg")):
            desk.raw("POST", f"/api/arrivals/new?name=sun-{number}.jpg", (SAMPLE / "2026" / file).read_bytes(), headers)
        page.open(f"{desk.origin}/static/desk.css")
        page.run(f"sessionStorage.setItem('desk-token', {desk.token!r})")
        page.open(f"{desk.origin}/arrivals", **PHONE)  # type: ignore[arg-type]
        page.wait("document.querySelectorAll('[name=time]').length === 2")
        last = "[...document.querySelectorAll('[name=time]')].at(-1)"
        page.run(f"{last}.value = 'next week'; {last}.focus(); {last}.scrollIntoView({{ block: 'center' }})")
        at = page.run("scrollY")
        page.run(f"{last}.form.requestSubmit()")
        page.wait(f"{last}.getAttribute('aria-invalid') === 'true'")
        assert page.run(f"document.activeElement === {last}")
        assert "next week" in page.run(f"{last}.closest('.arrival').querySelector('.told').textContent")
        assert page.run("document.querySelectorAll('[aria-invalid]').length") == 1
        assert abs(page.run("scrollY") - at) < 100
        assert desk.post("/api/quit").status == 200
        page.wait("!document.querySelector('#ended').hidden")
        assert "northlimb desk" in page.run("document.querySelector('#ended').textContent")
        assert page.run("document.querySelector('.site-state').hidden")
