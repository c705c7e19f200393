"""The pages in a real browser, from ``file://``: pictures and style appear, and nothing is blocked."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from website.browser import Browser, browser, in_browser
from website.invented import DISC_COLOUR

pytestmark = in_browser
PAGES = ["index.html", "days/2026-06-03/index.html", "days/2026-06-05/index.html"]


@pytest.fixture(scope="module")
def tab() -> Iterator[Browser]:
    with browser() as one:
        yield one


# Pictures in the window are loaded late and decoded beside the page; one that never comes is not waited for.
DECODED = """Promise.all([...document.images].filter((one) => {
  const box = one.getBoundingClientRect();
  return box.width && box.bottom > 0 && box.top < innerHeight;
}).map((one) => new Promise((done) => {
  const decode = () => one.decode().then(done, done);
  if (one.complete) decode(); else { one.onload = decode; one.onerror = done; setTimeout(done, 5000); }
}))).then(() => true)"""


def _shot(tab: Browser, page: Path, *, width_px: int, scheme: str) -> tuple[np.ndarray, list[str]]:
    """Photograph a page; return the pixels and what the console said."""
    tab.media(prefers_color_scheme=scheme)
    tab.open(page.as_uri(), width_px=width_px)
    tab.run(DECODED)
    return tab.shot(), list(tab.console)


def _disc_box(shot: np.ndarray) -> tuple[int, int, int, int]:
    """Return left, top, right, bottom of the topmost block of the disc's colour."""
    near = np.abs(shot - DISC_COLOUR).max(axis=2) < 12
    rows = np.flatnonzero(near.sum(axis=1) > 100)
    top = rows[0]
    bottom = top + int(np.argmax(np.append(np.diff(rows) > 1, True)))
    columns = np.flatnonzero(near[top : bottom + 1].any(axis=0))
    return int(columns[0]), int(top), int(columns[-1]), int(bottom)


@pytest.mark.parametrize("width_px", [390, 1280])
def test_the_disc_has_the_same_place_and_size_on_every_page(site: Path, tab: Browser, width_px: int) -> None:
    boxes = []
    for page in PAGES:
        shot, console = _shot(tab, site / page, width_px=width_px, scheme="light")
        assert console == []
        boxes.append(_disc_box(shot))
    left, top, right, bottom = boxes[0]
    assert right - left == pytest.approx(bottom - top, abs=1)
    assert right - left > 0.5 * width_px
    assert boxes == [boxes[0]] * len(PAGES)


@pytest.mark.parametrize(("scheme", "paper"), [("dark", (0x17, 0x18, 0x1B)), ("light", (0xF6, 0xF5, 0xF1))])
def test_the_paper_follows_the_readers_choice_of_light_or_dark(
    site: Path, tab: Browser, scheme: str, paper: tuple[int, int, int]
) -> None:
    shot, console = _shot(tab, site / "observatory/index.html", width_px=390, scheme=scheme)
    assert console == []
    assert tuple(shot[2, 2]) == paper


def test_a_group_is_cut_from_the_disc_and_charts_and_maps_are_not_blocked(site: Path, tab: Browser) -> None:
    shot, console = _shot(tab, site / "groups/2312-1/index.html", width_px=500, scheme="dark")
    assert console == []
    left, top, right, bottom = _disc_box(shot)
    # Two squares side by side, each a part of the disc's flat colour up to its edge.
    assert right - left > 300
    assert 100 < bottom - top < 300
    shot, console = _shot(tab, site / "rotations/2312/index.html", width_px=900, scheme="light")
    assert console == []
    grey = np.abs(shot - 184).max(axis=2) < 4
    # The left half of the map is clear: there the page's paper and its hatching are seen.
    columns = np.flatnonzero(grey.sum(axis=0) > 200)
    assert 300 < columns[-1] - columns[0] < 480
    shot, console = _shot(tab, site / "charts/index.html", width_px=900, scheme="light")
    assert console == []
    accent = np.abs(shot - (0x8C, 0x4F, 0x04)).max(axis=2) < 40
    assert accent[200:900].sum() > 40


def test_a_blocked_script_would_be_seen(site: Path, tab: Browser) -> None:
    page = site / "index.html"
    page.write_text(page.read_text().replace("</body>", "<script>document.title = 'x'</script></body>"))
    _, console = _shot(tab, page, width_px=390, scheme="light")
    assert "Content Security Policy" in " ".join(console)
