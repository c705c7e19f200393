"""The film's player: what it adds in a real browser, and what stays without it."""

from __future__ import annotations

import re
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path

import pytest

from archive.website.addresses import Here
from archive.website.content import Content
from archive.website.films_page import rotation_films
from website.invented import InventedContent, build_site

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
in_browser = pytest.mark.skipif(CHROMIUM is None, reason="Chromium is not installed: the player not tried in a browser")
MOMENTS = {"2026-06-02T0915Z": 0, "2026-06-03T0915Z": 24}


@pytest.fixture
def site_dir(content: InventedContent, tmp_path: Path) -> Path:
    film = content.films[0]
    known = replace(film, av1=content.add_blob(b"twin"), first_frames=MOMENTS, rotation=2312)
    build_site(replace(content, films=(known,)), tmp_path / "with-film")
    return tmp_path / "with-film"


def _run_in_browser(page: Path, tmp_path: Path, script: str = "") -> str:
    """Return the page as the browser has it after the player's script, and then `script`, have run."""
    if script:
        player = page.parent.parent / "static" / "player.js"
        player.write_text(player.read_text(encoding="utf-8") + script, encoding="utf-8")
    command = [
        str(CHROMIUM), "--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-sync",
        "--disable-background-networking", "--disable-component-update", f"--user-data-dir={tmp_path / 'profile'}",
        "--virtual-time-budget=2000", "--dump-dom", page.as_uri(),
    ]  # fmt: skip
    return subprocess.run(command, capture_output=True, text=True, timeout=60, check=True).stdout


def test_without_a_script_the_browser_s_own_player_serves(site_dir: Path) -> None:
    page = (site_dir / "films/index.html").read_text()
    assert '<video class="player" controls' in page
    assert page.index("last-days-av1.mp4") < page.index('src="last-days.mp4"')  # the smaller one first
    assert "autoplay" not in page
    assert (site_dir / "films/last-days-av1.mp4").read_bytes() == b"twin"


def test_the_list_tells_when_each_picture_is_shown(site_dir: Path) -> None:
    page = (site_dir / "films/index.html").read_text()
    # 24 frames at 24 a second.
    found = re.findall(r'data-frame="(\d+)">([^<]*)</span> <a href="[^"]*">([^<]*)', page)
    assert found == [("0", "0.00 s", "2 June 2026, 09:15 UTC"), ("24", "1.00 s", "3 June 2026, 09:15 UTC")]


def test_a_rotation_finds_its_films(content: Content) -> None:
    films = (replace(content.films[0], rotation=2312), replace(content.films[0], stem="other"))
    views = rotation_films(replace(content, films=films), Here("rotations/2312/index.html"), 2312)
    assert [view.mp4 for view in views] == ["../../films/last-days.mp4"]


@in_browser
def test_the_script_adds_control_and_moments(site_dir: Path, tmp_path: Path) -> None:
    shown = _run_in_browser(site_dir / "films/index.html", tmp_path)
    for name in ("Play or pause", "One frame back", "One frame on"):
        assert f'aria-label="{name}"' in shown
    assert ">48 frames<" in shown
    assert 'aria-label="Show the frame at 1.00 s"' in shown
    assert re.search(r"<video[^>]* loop", shown)


@in_browser
def test_keys_move_and_change_the_speed(site_dir: Path, tmp_path: Path) -> None:
    # The film here is none: what the browser would know of a real one is put in.
    press = """
const film = document.querySelector(".film-player"), video = film.querySelector("video");
Object.defineProperties(video, { readyState: { value: 1 }, currentTime: { value: 0, writable: true } });
video.play = () => { document.body.append("plays: "); };
for (const key of ["f", "s", "n", "n", "b", "p"]) {
  film.dispatchEvent(new KeyboardEvent("keydown", { key, bubbles: true }));
  const frame = Math.floor(video.currentTime * film.dataset.fps);
  document.body.append(`${key} speed ${video.playbackRate} frame ${frame}; `);
}
"""
    shown = _run_in_browser(site_dir / "films/index.html", tmp_path, press)
    assert "f speed 2 frame 0; s speed 1 frame 0; n speed 1 frame 1; n speed 1 frame 2; b speed 1 frame 1; " in shown
    assert "plays: p " in shown


@in_browser
def test_less_motion_is_respected(site_dir: Path, tmp_path: Path) -> None:
    script = site_dir / "static/player.js"
    asked = 'window.matchMedia("(prefers-reduced-motion: reduce)")'
    assert asked in script.read_text()
    script.write_text(script.read_text().replace(asked, "{ matches: true, addEventListener() {} }"))
    assert not re.search(r"<video[^>]* loop", _run_in_browser(site_dir / "films/index.html", tmp_path))
