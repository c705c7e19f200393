"""Looking closer, in a real browser: what lies over the disc, two days at one moment, the picture's own pixels.

The pictures are drawn (`tests/scenes`), so that it is known where each spot is; where a spot is on a carried disc the
drawing tells too, which shares no code with the program.
"""

from __future__ import annotations

import functools
import re
import threading
from collections.abc import Iterator
from datetime import timedelta
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from scenes.discs import draw_disc, place_on_picture, quantise
from whole.conftest import keep_one_look
from whole.film_scenes import EPOCH, darkness_centre, lone_spots, scene_at

from archive.commands.main import main
from archive.sun.view import sun_view
from website.browser import CHROMIUM, Browser, browser
from website.read_pages import Links

pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="Chromium is not installed: not tried in a browser")
DAYS = (0, 3)
FIRST, SECOND = (f"{EPOCH + timedelta(days=day):%Y-%m-%d}" for day in DAYS)
DAY, PAIR, ANY = f"days/{SECOND}/index.html", f"compare/{SECOND}/index.html", "compare/index.html"
NEW = [
    "--title", "Sun over the quay", "--observer", "A. Teal", "--site", "Quay,52.1,-1.3", "--time-zone",
    "Europe/London", "--instrument", "Doorstep", "--mount", "unknown",
]  # fmt: skip


@pytest.fixture(scope="module")
def looking_site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A site of two days, three days apart; the later picture came turned by 30 degrees."""
    folder = tmp_path_factory.mktemp("looking")
    root = folder / "my-sun"
    world = lone_spots(sun_view(EPOCH, latitude_deg=0.0, longitude_deg=0.0).l0_deg)
    assert main(["new", str(root), *NEW]) == 0
    keep_one_look(root)
    for day, north_angle_deg in zip(DAYS, (0.0, 30.0), strict=True):
        time_utc = EPOCH + timedelta(days=day)
        picture = quantise(draw_disc(scene_at(world, time_utc, north_angle_deg=north_angle_deg)), 8)
        path = folder / f"{time_utc:%Y%m%dT%H%M%SZ}.png"
        Image.fromarray(picture).save(path)
        stated = ["--north-angle", str(north_angle_deg), "--mirrored", "no"]
        assert main(["add", str(root), str(path), *stated]) == 0
    assert main(["build", str(root)]) == 0
    return root / "site"


class _Quiet(SimpleHTTPRequestHandler):
    def log_message(self, format: str, *args: object) -> None:
        pass


@pytest.fixture(scope="module")
def below_sub_path(looking_site: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """Serve the site under ``/observatory/sun/`` on loopback."""
    served = tmp_path_factory.mktemp("served")
    (served / "observatory").mkdir()
    (served / "observatory" / "sun").symlink_to(looking_site)
    handler = functools.partial(_Quiet, directory=str(served))
    with ThreadingHTTPServer(("127.0.0.1", 0), handler) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        yield f"http://127.0.0.1:{server.server_port}/observatory/sun/"
        server.shutdown()


@pytest.fixture(scope="module")
def started() -> Iterator[Browser]:
    with browser() as one:
        yield one


@pytest.fixture
def tab(started: Browser, looking_site: Path) -> Iterator[Browser]:
    """The browser, with nothing remembered; what the console said at the end fails the test."""
    started.set_scripts(True)
    started.media(prefers_reduced_motion="no-preference")
    started.open((looking_site / DAY).as_uri())
    yield started
    started.run("try { localStorage.clear(); } catch { }")
    assert started.console == []


@pytest.fixture(params=["file", "sub-path"])
def home(request: pytest.FixtureRequest, looking_site: Path, below_sub_path: str) -> str:
    return f"{looking_site.as_uri()}/" if request.param == "file" else below_sub_path


def _seen(tab: Browser, selector: str) -> bool:
    # Of a group within SVG the browser calls even one that is not displayed visible.
    found = f"document.querySelector({selector!r})"
    return bool(tab.run(f"{found}.checkVisibility() && getComputedStyle({found}).display !== 'none'"))


def _checked(tab: Browser) -> list[bool]:
    """Whether grid, names and axis are shown."""
    boxes = "document.querySelectorAll('[data-shows]:not([data-shows=ahead])')"
    return list(tab.run(f"[...{boxes}].map((box) => box.checked)"))


# What lies over the disc


def test_boxes_and_keys_lay_grid_names_and_axis_over_the_disc(tab: Browser, home: str) -> None:
    tab.open(home + DAY)
    assert not any(_seen(tab, part) for part in (".grid", ".axis", ".names"))
    tab.press("g")
    assert _seen(tab, ".grid")
    tab.wait("document.querySelector('.grid').naturalWidth === 1024")
    tab.press("l", "A")
    assert _seen(tab, ".names")
    assert _seen(tab, ".axis")
    tab.click("[data-shows=grid]")
    assert not _seen(tab, ".grid")


def test_the_latest_disc_shows_the_days_ahead(tab: Browser, home: str) -> None:
    """The drawn spots turn by their law: the way begins at the spot, and a day is 13 degrees of it."""
    tab.open(home + "index.html")
    assert not _seen(tab, ".ahead")
    tab.press("d")
    assert _seen(tab, ".ahead")
    assert tab.run("document.querySelectorAll('.ahead .at').length") >= 3
    tab.press("d")
    tab.open(home + f"days/{FIRST}/index.html")
    assert tab.run("document.querySelector('.ahead')") is None


def test_the_choice_is_remembered_on_other_pages(tab: Browser, home: str) -> None:
    tab.open(home + DAY)
    tab.run("localStorage.clear()")
    tab.press("g")
    tab.open(home + "index.html")
    assert _checked(tab) == [True, False, False]
    tab.press("g")


def test_keys_can_be_turned_off(tab: Browser, looking_site: Path) -> None:
    """WCAG 2.2, success criterion 2.1.4: single keys can be turned off."""
    tab.open((looking_site / DAY).as_uri())
    assert tab.run("!document.querySelector('kbd').hidden")
    tab.click(".keys-choice")
    tab.press("g", "z")
    assert _checked(tab) == [False, False, False]
    tab.open((looking_site / DAY).as_uri())
    tab.press("g")
    assert _checked(tab) == [False, False, False]
    assert tab.run("document.querySelector('kbd').hidden")


def test_keys_of_the_computer_are_left_alone(tab: Browser) -> None:
    tab.run("document.dispatchEvent(new KeyboardEvent('keydown', { key: 'g', ctrlKey: true }))")
    assert _checked(tab) == [False, False, False]
    tab.run("document.dispatchEvent(new KeyboardEvent('keydown', { key: 'g' }))")
    assert _checked(tab) == [True, False, False]


def test_boxes_work_without_a_script(tab: Browser, looking_site: Path) -> None:
    tab.set_scripts(False)
    tab.open((looking_site / DAY).as_uri())
    for part in ("grid", "names", "axis"):
        assert not _seen(tab, f".{part}")
        tab.click(f"[data-shows={part}]")
        assert _seen(tab, f".{part}")
    assert not _seen(tab, ".keys-choice")
    assert tab.run("[...document.querySelectorAll('kbd')].every((hint) => !hint.checkVisibility())")


def test_a_page_that_may_not_remember_works(tab: Browser) -> None:
    """A browser may refuse: then reading the name throws (HTML standard, Web storage)."""
    refuse = "Object.defineProperty(window, 'localStorage', { get() { throw new DOMException('no'); } })"
    made = tab.send("Page.addScriptToEvaluateOnNewDocument", source=refuse)["identifier"]
    try:
        tab.send("Page.reload")
        tab.wait_for_load()
        tab.press("g")
        assert _seen(tab, ".grid")
    finally:
        tab.send("Page.removeScriptToEvaluateOnNewDocument", identifier=made)


def test_names_are_at_their_groups_and_lead_to_them(looking_site: Path) -> None:
    time_utc = EPOCH + timedelta(days=DAYS[1])
    world = lone_spots(sun_view(EPOCH, latitude_deg=0.0, longitude_deg=0.0).l0_deg)
    scene = scene_at(world, time_utc)
    html = (looking_site / DAY).read_text(encoding="utf-8")
    names = re.findall(r'<a href="../../groups/[^"]+"><circle cx="([\d.]+)" cy="([\d.]+)"/>', html)
    placed = [place_on_picture(scene, spot.latitude_deg, spot.longitude_deg) for spot in scene.spots]
    facing = [(x, y) for x, y, mu in placed if mu > 0.2]
    assert len(facing) >= 3
    for x, y in facing:
        # Above its group, or below it.
        near = [abs(abs(float(name_y) - y) - 34.0) for name_x, name_y in names if abs(float(name_x) - x) < 2.0]
        assert min(near) < 2.0


# Two days compared


def _divider(tab: Browser) -> int:
    return int(tab.run("Number(document.querySelector('.stage input').value)"))


def test_left_and_right_move_the_divider_from_anywhere_on_the_page(tab: Browser, home: str) -> None:
    for page in (ANY, PAIR):
        tab.open(home + page)
        tab.press("ArrowRight", "ArrowRight", "ArrowRight", "ArrowLeft")
        assert _divider(tab) == 52
        assert tab.run("document.querySelector('.stage canvas + canvas').style.clipPath") == "inset(0px 0px 0px 52%)"
        # Up and down are left to the browser, which scrolls the page.
        down = "new KeyboardEvent('keydown', { key: 'ArrowDown', bubbles: true, cancelable: true })"
        assert tab.run(f"document.body.dispatchEvent({down})")
        assert not tab.run(f"document.body.dispatchEvent({down.replace('Down', 'Left')})")
        tab.press("ArrowRight")
        assert _divider(tab) == 52
        # Its own keys move the focused divider once, not twice.
        tab.run("document.querySelector('.stage input').focus()")
        tab.press("ArrowLeft")
        assert _divider(tab) == 51
        tab.run("document.activeElement.blur()")
        tab.press("k", "ArrowRight")
        assert _divider(tab) == 52
        assert tab.run("document.querySelector('.blink').getAttribute('aria-pressed')") == "false"


def test_arrows_in_a_field_or_with_keys_turned_off_leave_the_divider_alone(tab: Browser, looking_site: Path) -> None:
    tab.open((looking_site / ANY).as_uri())
    tab.run("document.querySelector('.choice').focus()")
    tab.press("ArrowLeft", "ArrowRight")
    assert _divider(tab) == 50
    tab.run("document.activeElement.blur()")
    # Alt and an arrow go back in the history.
    tab.run("document.dispatchEvent(new KeyboardEvent('keydown', { key: 'ArrowLeft', altKey: true }))")
    assert _divider(tab) == 50
    tab.run("document.querySelector('.keys-choice input').click()")
    tab.press("ArrowRight")
    assert _divider(tab) == 50
    tab.run("document.querySelector('.keys-choice input').click()")
    tab.press("ArrowRight")
    assert _divider(tab) == 51


def _stage(tab: Browser) -> np.ndarray:
    """The discs pixel for pixel, grey, the second in front."""
    tab.run("""(() => {
      const stage = document.querySelector('.stage'), divider = stage.querySelector('input');
      divider.value = 0;
      divider.dispatchEvent(new Event('input'));
      divider.hidden = true;
      Object.assign(stage.style, { position: 'fixed', inset: '0', width: '1024px', height: '1024px', margin: 0 });
    })()""")
    return tab.shot()[:1024, :1024].mean(axis=2)


def _open_comparison(tab: Browser, address: str) -> None:
    tab.open(address)
    tab.wait("document.querySelector('[role=status]').textContent.startsWith('Left: ')")


def _errors_px(picture: np.ndarray) -> list[float]:
    """How far each spot is from where the first day shows it."""
    world = lone_spots(sun_view(EPOCH, latitude_deg=0.0, longitude_deg=0.0).l0_deg)
    later = scene_at(world, EPOCH + timedelta(days=DAYS[1]))
    scene = scene_at(world, EPOCH)
    errors = []
    for spot, then in zip(scene.spots, later.spots, strict=True):
        x, y, mu = place_on_picture(scene, spot.latitude_deg, spot.longitude_deg)
        if min(mu, place_on_picture(later, then.latitude_deg, then.longitude_deg)[2]) > 0.35:
            found = darkness_centre(picture, x, y)
            errors.append(float(np.hypot(found[0] - x, found[1] - y)))
    assert len(errors) >= 3
    return errors


def test_three_days_are_derotated_to_within_a_pixel_and_a_half(tab: Browser, home: str, looking_site: Path) -> None:
    _open_comparison(tab, home + PAIR)
    tab.press("m")
    tab.wait("document.querySelector('[role=status]').textContent.includes('derotated back by 3.00 days')")
    shown = _stage(tab)
    print("spots carried in the browser, errors in px:", np.round(_errors_px(shown), 2))
    assert max(_errors_px(shown)) < 1.5
    # What is made at build time is the same picture; near the limb and the rim of what was seen they may differ.
    with Image.open(looking_site / f"compare/{SECOND}/turned-back.avif") as kept:
        built = np.asarray(kept.convert("L").resize((1024, 1024), Image.Resampling.BICUBIC)).astype(float)
    assert max(_errors_px(built)) < 1.5
    y, x = np.mgrid[:1024, :1024] - 511.5
    print("and at build time:", np.round(_errors_px(built), 2))
    inner = (np.hypot(x, y) < 400) & (x < 150)
    assert np.abs(shown - built)[inner].mean() < 3.0


def test_before_it_is_turned_the_second_day_is_as_it_was(tab: Browser, looking_site: Path) -> None:
    _open_comparison(tab, (looking_site / PAIR).as_uri())
    shown = _stage(tab)
    with Image.open(next((looking_site / f"days/{SECOND}").glob("*-flat.avif"))) as flat:
        assert np.abs(shown - np.asarray(flat.convert("L"))).mean() < 1.0


def test_the_divider_moves_by_key_pointer_and_touch(tab: Browser, looking_site: Path) -> None:
    _open_comparison(tab, (looking_site / PAIR).as_uri())
    left, top, width, height = tab.box(".stage")
    tab.drag(left + width / 2, top + height / 2, right=-width / 4)
    value = "Number(document.querySelector('.stage input').value)"
    clip = "document.querySelectorAll('canvas')[1].style.clipPath"
    assert tab.run(value) == pytest.approx(25, abs=1)
    tab.press("ArrowRight", "ArrowRight")
    assert tab.run(value) == pytest.approx(27, abs=1)
    assert tab.run(clip) == f"inset(0px 0px 0px {tab.run(value)}%)"
    # A range without a role of its own is a slider to a screen reader (HTML accessibility API mappings).
    assert tab.run("document.querySelector('.stage input').type") == "range"
    tab.send("Emulation.setTouchEmulationEnabled", enabled=True)
    place = {"x": left + 0.75 * width, "y": top + height / 2}
    tab.send("Input.dispatchTouchEvent", type="touchStart", touchPoints=[place])
    tab.send("Input.dispatchTouchEvent", type="touchEnd", touchPoints=[])
    tab.wait(f"Math.abs({value} - 75) <= 1")
    tab.send("Emulation.setTouchEmulationEnabled", enabled=False)


def test_any_two_days_can_be_chosen_and_the_address_names_them(tab: Browser, home: str) -> None:
    _open_comparison(tab, home + ANY)
    status = "document.querySelector('[role=status]').textContent"
    assert tab.run(status).startswith("Left: 1 June 2026, 09:00 UTC. Right: 4 June")
    tab.run("""document.querySelectorAll('.choice').forEach((picker, i) => {
      picker.selectedIndex = 1 - i;
      picker.dispatchEvent(new Event('change'));
    })""")
    tab.wait(f"{status}.startsWith('Left: 4 June 2026, 09:00 UTC. Right: 1 June')")
    assert tab.run("location.hash") == f"#{SECOND}T0900Z,{FIRST}T0900Z"
    tab.press("m")
    tab.wait(f"{status}.includes('derotated forward by 3.00 days')")
    tab.send("Page.reload")
    tab.wait_for_load()
    tab.wait(f"{status}.startsWith('Left: 4 June')")


def test_blinking_waits_for_the_reader_and_never_flashes(tab: Browser, looking_site: Path) -> None:
    """WCAG 2.2, success criterion 2.3.1: no more than three flashes a second; a flash is two changes."""
    tab.media(prefers_reduced_motion="reduce")
    _open_comparison(tab, (looking_site / PAIR).as_uri())
    tab.run("""(() => {
      window.changes = 0;
      const watch = new MutationObserver((seen) => { window.changes += seen.length; });
      watch.observe(document.querySelectorAll('canvas')[1], { attributes: true, attributeFilter: ['style'] });
    })()""")
    assert tab.run("new Promise((done) => setTimeout(() => done(window.changes), 700))") == 0
    tab.press("+", "+", "+")
    assert tab.run("document.querySelector('.pace').textContent") == "2 per second"
    tab.press("k")
    assert tab.run("document.querySelector('.blink').getAttribute('aria-pressed')") == "true"
    blinked = tab.run("window.changes = 0, new Promise((done) => setTimeout(() => done(window.changes), 1600))")
    assert 2 <= blinked <= 4
    tab.press("k")
    assert tab.run("document.querySelector('.blink').getAttribute('aria-pressed')") == "false"


def test_without_a_script_the_days_stand_side_by_side(tab: Browser, looking_site: Path) -> None:
    tab.set_scripts(False)
    tab.open((looking_site / PAIR).as_uri())
    assert not _seen(tab, ".stage")
    assert not _seen(tab, ".plate-bar")
    pictures = Links((looking_site / PAIR).read_text()).loaded
    assert "turned-back.avif" in pictures
    assert tab.run("[...document.querySelectorAll('.pair img')].map((one) => one.naturalWidth)") == [1024, 512, 1024]
    assert f'href="{SECOND}/index.html">with 1 June' in (looking_site / ANY).read_text()


# The picture's own pixels


def test_the_zoom_shows_the_pictures_own_pixels(tab: Browser, home: str, looking_site: Path) -> None:
    tab.open(home + DAY)
    tab.press("z")
    tab.wait("document.querySelector('.zoom-view img').naturalWidth === 1024")
    told = tab.run("document.querySelector('.zoom-status').textContent")
    assert told == "Original orientation; 100 %."
    left, top, width, height = tab.box(".zoom-view")
    shown = tab.shot()[round(top + height / 2) - 200 :, round(left + width / 2) - 200 :][:400, :400]
    with Image.open(next((looking_site / f"days/{SECOND}").glob("*-as-it-came.avif"))) as came:
        own = np.asarray(came.convert("RGB")).astype(int)
    # Nothing is resampled: the same levels, but for the two decoders' rounding, at one place of a pixel or the next.
    differences = [
        np.abs(shown - own[y : y + 400, x : x + 400]).max() for y in (311, 312, 313) for x in (311, 312, 313)
    ]
    assert min(differences) <= 3


def test_the_bar_and_the_earth_have_the_sizes_that_they_say(tab: Browser, looking_site: Path) -> None:
    """At 1 au the Earth is 17.59 arcsec wide, twice the solar parallax of 8.794 (IAU 1976)."""
    tab.open((looking_site / DAY).as_uri())
    tab.press("z")
    sun = sun_view(EPOCH + timedelta(days=DAYS[1]), latitude_deg=0.0, longitude_deg=0.0)
    per_pixel = sun.semidiameter_arcsec / 460.8
    for key, times in (("", 1), ("+", 2), ("+", 4)):
        if key:
            tab.press(key)
        seconds = float(tab.run("document.querySelector('.zoom-seconds').textContent").removesuffix("″"))
        assert tab.box(".zoom-bar")[2] == pytest.approx(seconds / per_pixel * times, rel=0.003)
        assert tab.box(".zoom-bar")[2] <= 180
        assert tab.box(".zoom-earth")[2] == pytest.approx(17.59 / sun.distance_au / per_pixel * times, rel=0.005)
    earth = f"{17.588 / sun.distance_au / per_pixel:.1f}"
    assert f"px, {per_pixel:.2f}″ per pixel; the Earth would be {earth} px wide" in (looking_site / DAY).read_text()


def test_the_zoom_moves_by_keys_drag_and_tap_and_escape_goes_back(tab: Browser, looking_site: Path) -> None:
    tab.open((looking_site / DAY).as_uri())
    tab.run("document.querySelector('.zoom-link').focus()")
    tab.press("z")
    place = "new DOMMatrix(document.querySelector('.zoom-view img').style.transform)"
    x, y = tab.run(f"{place}.e"), tab.run(f"{place}.f")
    tab.press("ArrowRight", "ArrowDown")
    assert (tab.run(f"{place}.e"), tab.run(f"{place}.f")) == (x - 80, y - 80)
    middle = tab.middle(".zoom-view")
    tab.drag(*middle, right=50, down=30)
    assert (tab.run(f"{place}.e"), tab.run(f"{place}.f")) == (x - 30, y - 50)
    # A tap is the way for who cannot drag (WCAG 2.2, success criterion 2.5.7).
    tab.drag(middle[0] + 60, middle[1])
    assert tab.run(f"{place}.e") == pytest.approx(x - 90, abs=1)
    tab.press("-", "Escape")
    assert not tab.run("document.querySelector('.zoom').open")
    assert tab.run("document.activeElement.className") == "zoom-link"


def test_the_zoom_can_turn_north_up(tab: Browser, looking_site: Path) -> None:
    """The picture came with north 30 degrees left of its up: turned by 30 degrees to the right it stands."""
    tab.open((looking_site / DAY).as_uri())
    tab.press("z")
    turned = "new DOMMatrix(document.querySelector('.zoom-%s').style.transform)"
    assert tab.run(f"Math.atan2({turned % 'north'}.b, {turned % 'north'}.a)") == pytest.approx(-np.pi / 6, abs=0.01)
    tab.click(".zoom-up")
    image = turned % "view img"
    assert tab.run(f"Math.atan2({image}.b, {image}.a)") == pytest.approx(np.pi / 6, abs=0.01)
    assert "Rotated north up" in tab.run("document.querySelector('.zoom-status').textContent")
    assert tab.run(f"({turned % 'north'}).b") == 0


def test_tab_goes_round_in_the_zoom_and_everything_has_a_name(tab: Browser, looking_site: Path) -> None:
    tab.open((looking_site / DAY).as_uri())
    tab.press("z")
    tree = tab.send("Accessibility.getFullAXTree")["nodes"]
    roles = {(node["role"]["value"], node.get("name", {}).get("value", "")) for node in tree if not node["ignored"]}
    assert ("dialog", "Picture at full size") in roles
    assert {("button", name) for name in ("Zoom out", "Zoom in", "Fit", "North up", "Close")} <= roles
    assert not [role for role, name in roles if role in ("button", "link", "checkbox", "slider", "image") and not name]


# All pages


def _touch(tab: Browser, *path: list[tuple[float, float]]) -> None:
    """Put fingers down, move them along these places, and lift them."""
    for kind, fingers in zip(["touchStart", *["touchMove"] * (len(path) - 1)], path, strict=True):
        points = [{"x": x, "y": y, "id": number} for number, (x, y) in enumerate(fingers)]
        tab.send("Input.dispatchTouchEvent", type=kind, touchPoints=points)
    tab.send("Input.dispatchTouchEvent", type="touchEnd", touchPoints=[])


def _screen_px(tab: Browser) -> float:
    return float(str(tab.run("document.querySelector('.zoom-status').textContent")).split(";")[1].strip(" %."))


def test_the_disc_opens_in_the_viewer_north_up_and_two_fingers_zoom(tab: Browser, looking_site: Path) -> None:
    tab.open((looking_site / DAY).as_uri(), width_px=390, height_px=844, phone=True)
    tab.run("document.querySelector('.disc-link').click()")
    tab.wait("document.querySelector('.zoom').open")
    assert str(tab.run("document.querySelector('.zoom-status').textContent")).startswith("Rotated north up")
    assert str(tab.run("location.pathname")).endswith(DAY)
    left, top, width, height = tab.box(".zoom-view")
    x, y = left + width / 2, top + height / 2
    whole = _screen_px(tab)
    _touch(tab, *([(x - 40 - 8 * step, y), (x + 40 + 8 * step, y)] for step in range(6)))
    assert _screen_px(tab) / whole == pytest.approx(2.0, rel=0.05)  # from 80 apart to 160
    for _ in range(2):
        _touch(tab, [(x, y)])
    assert _screen_px(tab) / whole == pytest.approx(5.0, rel=0.05)
    tab.run("document.querySelector('.zoom-close').click()")


def test_arrows_and_a_finger_drawn_across_the_disc_lead_to_the_next_day(tab: Browser, home: str) -> None:
    tab.open(home + DAY)
    tab.press("ArrowLeft")
    tab.wait(f"location.pathname.includes('{FIRST}')")
    tab.open(home + f"days/{FIRST}/index.html", width_px=390, height_px=844, phone=True)
    left, top, width, _ = tab.box(".plate-square")
    across = [(left + width * share, top + 100.0) for share in (0.8, 0.6, 0.4, 0.2)]
    _touch(tab, *([place] for place in across))
    tab.wait(f"location.pathname.includes('{SECOND}')")


def test_arrows_in_a_field_or_with_keys_turned_off_stay_on_the_day(tab: Browser, looking_site: Path) -> None:
    tab.open((looking_site / DAY).as_uri())
    tab.run("document.querySelector('.plate-bar input').focus()")
    tab.press("ArrowLeft")
    tab.run("document.activeElement.blur(); document.querySelector('.keys-choice input').click()")
    tab.press("ArrowLeft")
    assert str(tab.run("location.pathname")).endswith(DAY)


@pytest.mark.parametrize("width_px", [360, 1280, 2560])
def test_nothing_is_cut_off_or_too_small_to_touch(tab: Browser, looking_site: Path, width_px: int) -> None:
    """WCAG 2.2, success criteria 1.4.10 (reflow) and 2.5.8 (targets of 24 px or more)."""
    for page in (DAY, PAIR, ANY):
        tab.open((looking_site / page).as_uri(), width_px=width_px, height_px=900, phone=width_px < 500)
        if page == DAY:
            tab.press("l")
        assert tab.run("document.scrollingElement.scrollWidth") <= width_px
        small = tab.run("""[...document.querySelectorAll('.plate-bar :is(a, label, button, select), .marks a')]
          .filter((one) => one.checkVisibility()).map((one) => one.getBoundingClientRect())
          .filter((box) => Math.min(box.width, box.height) < 24).length""")
        assert small == 0
        if page == DAY:
            tab.press("l")


def test_the_scripts_of_a_page_are_small(looking_site: Path) -> None:
    for page in looking_site.rglob("*.html"):
        asked = re.findall(r'<script src="([^"]+)"', page.read_text(encoding="utf-8"))
        # What the search finds is no script but data, in a file that a page from `file://` may load.
        scripts = [page.parent / name for name in asked if not name.endswith("words.js")]
        assert sum(script.stat().st_size for script in scripts) < 15_000, page


def test_pages_are_well_formed_and_their_links_lead_somewhere(looking_site: Path) -> None:
    import html5lib

    for page in (looking_site / name for name in (DAY, PAIR, ANY, "index.html")):
        text = page.read_text(encoding="utf-8")
        html5lib.HTMLParser(strict=True).parse(text)
        links = Links(text)
        assert len(links.ids) == len(set(links.ids))
        for target in links.targets:
            assert (page.parent / re.split("[?#]", target)[0]).resolve().exists(), target


def test_a_day_is_shared_by_its_address(tab: Browser, below_sub_path: str) -> None:
    tab.grant(below_sub_path.split("/observatory")[0], "clipboardReadWrite", "clipboardSanitizedWrite")
    tab.open(below_sub_path + DAY)
    tab.run("navigator.share = undefined")  # as in a browser that shares with nothing
    tab.run("document.querySelector('.share').scrollIntoView()")
    tab.click(".share")
    tab.wait("document.querySelector('.sharing span').textContent.includes('copied')")
    assert tab.run("navigator.clipboard.readText()") == below_sub_path + DAY
    tab.set_scripts(False)
    tab.open(below_sub_path + DAY)
    tab.set_scripts(True)
    assert tab.run("document.querySelector('.sharing').hidden")
