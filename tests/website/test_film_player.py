"""The film's player: what it adds in a real browser, and what stays without it."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from archive.website.addresses import Here
from archive.website.content import Content
from archive.website.films_page import rotation_films
from website.browser import Browser, browser, in_browser
from website.invented import InventedContent, build_site

MOMENTS = {"2026-06-02T0915Z": 0, "2026-06-03T0915Z": 24}


@pytest.fixture
def site_dir(content: InventedContent, tmp_path: Path) -> Path:
    film = content.films[0]
    known = replace(film, av1=content.add_blob(b"twin"), first_frames=MOMENTS, rotation=2312)
    build_site(replace(content, films=(known,)), tmp_path / "with-film")
    return tmp_path / "with-film"


@pytest.fixture
def tab() -> Iterator[Browser]:
    with browser() as one:
        yield one


def _shown(tab: Browser, site_dir: Path) -> str:
    """Return the page as the browser has it after the player's script has run."""
    tab.open((site_dir / "films/index.html").as_uri())
    return str(tab.run("document.documentElement.outerHTML"))


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
def test_the_script_adds_control_and_moments(site_dir: Path, tab: Browser) -> None:
    shown = _shown(tab, site_dir)
    for name in ("Play or pause", "One frame back", "One frame forward"):
        assert f'aria-label="{name}"' in shown
    assert ">48 frames<" in shown
    assert 'aria-label="Show the frame at 1.00 s"' in shown
    assert re.search(r"<video[^>]* loop", shown)


@in_browser
def test_keys_move_and_change_the_speed(site_dir: Path, tab: Browser) -> None:
    # The film here is none: what the browser would know of a real one is put in.
    press = """(() => {
const film = document.querySelector(".film-player"), video = film.querySelector("video");
Object.defineProperties(video, { readyState: { value: 1 }, currentTime: { value: 0, writable: true } });
video.play = () => { document.body.append("plays: "); };
for (const key of ["f", "s", "n", "n", "b", "p"]) {
  film.dispatchEvent(new KeyboardEvent("keydown", { key, bubbles: true }));
  const frame = Math.floor(video.currentTime * film.dataset.fps);
  document.body.append(`${key} speed ${video.playbackRate} frame ${frame}; `);
}
return document.body.innerText;
})()"""
    _shown(tab, site_dir)
    shown = tab.run(press)
    assert "f speed 2 frame 0; s speed 1 frame 0; n speed 1 frame 1; n speed 1 frame 2; b speed 1 frame 1; " in shown
    assert "plays: p " in shown


@in_browser
def test_less_motion_is_respected(site_dir: Path, tab: Browser) -> None:
    tab.media(prefers_reduced_motion="reduce")
    assert not re.search(r"<video[^>]* loop", _shown(tab, site_dir))
