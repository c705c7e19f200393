"""The pages in a real browser, from ``file://``: pictures and style appear, and nothing is blocked."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from website.invented import DISC_COLOUR

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="Chromium is not installed: pages not tried in a browser")
PAGES = ["index.html", "days/2026-06-03/index.html", "days/2026-06-05/index.html"]
FLAGS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--hide-scrollbars",
    "--enable-logging=stderr",
]


def _shot(page: Path, tmp_path: Path, *, width_px: int, scheme: int) -> tuple[np.ndarray, str]:
    """Photograph a page (scheme 0 dark, 1 light); return the pixels and what the console said."""
    picture = tmp_path / "shot.png"
    command = [
        str(CHROMIUM),
        *FLAGS,
        f"--user-data-dir={tmp_path / 'profile'}",
        f"--blink-settings=preferredColorScheme={scheme}",
        f"--window-size={width_px},1400",
        f"--screenshot={picture}",
        page.as_uri(),
    ]
    done = subprocess.run(command, capture_output=True, text=True, timeout=60, check=True)
    console = [line for line in done.stderr.splitlines() if "CONSOLE" in line]
    with Image.open(picture) as image:
        return np.asarray(image.convert("RGB")).astype(int), "\n".join(console)


def _disc_box(shot: np.ndarray) -> tuple[int, int, int, int]:
    """Return left, top, right, bottom of the topmost block of the disc's colour."""
    near = np.abs(shot - DISC_COLOUR).max(axis=2) < 12
    rows = np.flatnonzero(near.sum(axis=1) > 100)
    top = rows[0]
    bottom = top + int(np.argmax(np.append(np.diff(rows) > 1, True)))
    columns = np.flatnonzero(near[top : bottom + 1].any(axis=0))
    return int(columns[0]), int(top), int(columns[-1]), int(bottom)


@pytest.mark.parametrize("width_px", [390, 1280])
def test_the_disc_has_the_same_place_and_size_on_every_page(site: Path, tmp_path: Path, width_px: int) -> None:
    boxes = []
    for page in PAGES:
        shot, console = _shot(site / page, tmp_path, width_px=width_px, scheme=1)
        assert console == ""
        boxes.append(_disc_box(shot))
    left, top, right, bottom = boxes[0]
    assert right - left == pytest.approx(bottom - top, abs=1)
    assert right - left > 0.5 * width_px
    assert boxes == [boxes[0]] * len(PAGES)


@pytest.mark.parametrize(("scheme", "paper"), [(0, (0x17, 0x18, 0x1B)), (1, (0xF6, 0xF5, 0xF1))], ids=["dark", "light"])
def test_the_paper_follows_the_readers_choice_of_light_or_dark(
    site: Path, tmp_path: Path, scheme: int, paper: tuple[int, int, int]
) -> None:
    shot, console = _shot(site / "observatory/index.html", tmp_path, width_px=390, scheme=scheme)
    assert console == ""
    assert tuple(shot[2, 2]) == paper


def test_a_group_is_cut_from_the_disc_and_charts_and_maps_are_not_blocked(site: Path, tmp_path: Path) -> None:
    shot, console = _shot(site / "groups/2312-1/index.html", tmp_path, width_px=500, scheme=0)
    assert console == ""
    left, top, right, bottom = _disc_box(shot)
    # Two squares side by side, each a part of the disc's flat colour up to its edge.
    assert right - left > 300
    assert 100 < bottom - top < 300
    shot, console = _shot(site / "rotations/2312/index.html", tmp_path, width_px=900, scheme=1)
    assert console == ""
    grey = np.abs(shot - 184).max(axis=2) < 4
    # The left half of the map is clear: there the page's paper and its hatching are seen.
    columns = np.flatnonzero(grey.sum(axis=0) > 200)
    assert 300 < columns[-1] - columns[0] < 480
    shot, console = _shot(site / "charts/index.html", tmp_path, width_px=900, scheme=1)
    assert console == ""
    accent = np.abs(shot - (0x8C, 0x4F, 0x04)).max(axis=2) < 40
    assert accent[200:900].sum() > 40


def test_a_blocked_script_would_be_seen(site: Path, tmp_path: Path) -> None:
    page = site / "index.html"
    page.write_text(page.read_text().replace("</body>", "<script>document.title = 'x'</script></body>"))
    _, console = _shot(page, tmp_path, width_px=390, scheme=1)
    assert "Content Security Policy" in console
