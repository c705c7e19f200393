"""Looks that a page makes of another's picture: what a real browser shows is what the program would have drawn."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from scenes.discs import Scene, Spot, draw_disc, quantise

from archive.commands.main import main
from archive.disc.aligned import STANDARD_FRAME
from archive.disc.tone import flatten_disc, looked_at
from archive.records.disc_files import read_disc
from website.browser import CHROMIUM, Browser, browser

pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="Chromium is not installed: not tried in a browser")
NEW = [
    "--title", "Sun over the quay", "--observer", "A. Teal", "--site", "Quay,52.1,-1.3", "--time-zone", "UTC",
    "--instrument", "Doorstep", "--mount", "unknown",
]  # fmt: skip
DAY = "days/2026-06-03"
JPEG_LEVELS = 1.8  # rms: what packing leaves of a noisy disc, 1.6 in the JPEG that is tinted


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("looks")
    root, path = folder / "my-sun", folder / "20260603T091500Z.png"
    Image.fromarray(quantise(draw_disc(Scene(spots=(Spot(15.0, 20.0, 3.0),), noise=0.004)), 8)).save(path)
    assert main(["new", str(root), *NEW]) == 0
    assert main(["add", str(root), str(path), "--north-angle", "0", "--mirrored", "no"]) == 0
    assert main(["build", str(root)]) == 0
    return root / "site"


@pytest.fixture(scope="module")
def tab(site: Path) -> Iterator[Browser]:
    with browser() as one:
        one.set_scripts(False)
        yield one


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("look", ["warm", "mono"])
def test_a_tinted_look_is_shown_as_it_would_have_been_drawn(tab: Browser, site: Path, look: str, scheme: str) -> None:
    """Without a script, from a file, chosen by its link."""
    tab.media(prefers_color_scheme=scheme)
    tab.open((site / DAY / "index.html").as_uri(), width_px=1300, height_px=1600)
    chosen = f"#t0915Z-{look}"
    tab.run(f"location.hash = '{chosen}'")
    tab.wait(f"document.querySelector('{chosen} img').naturalWidth")
    tab.run(f"document.querySelector('{chosen} img').decode().then(() => null)")
    left, top, width, height = tab.box(f"{chosen} img")
    side = 1024
    assert (round(width), round(height)) == (side, side)
    shown = tab.shot()[round(top) : round(top) + side, round(left) : round(left) + side, :3].astype(float)
    flat = flatten_disc(read_disc((site / DAY / "0915Z-disc.fits").read_bytes()), STANDARD_FRAME)
    drawn = looked_at(flat, STANDARD_FRAME, look=look)[: len(shown)] * 255.0
    assert len(shown) > side / 2
    assert np.std(shown - drawn) < JPEG_LEVELS
    assert np.abs((shown - drawn).mean(axis=(0, 1))).max() < 1.0


def test_one_picture_serves_all_tints(site: Path) -> None:
    names = {path.name for path in (site / DAY).glob("0915Z-*")}
    assert {name for name in names if name.endswith(".jpg")} == {
        f"0915Z-{one}.jpg" for one in ("disc", "small", "tiny")
    }
    assert names >= {"0915Z-flat.avif", "0915Z-as-it-came.avif"}
    page = (site / DAY / "index.html").read_text(encoding="utf-8")
    assert re.findall(r'<filter id="tint-(\w+)"', page) == ["warm", "mono"]


def test_a_look_can_be_switched_on_the_disc(tab: Browser, site: Path) -> None:
    tab.set_scripts(True)
    tab.open((site / DAY / "index.html").as_uri())
    chosen = "const choice = document.querySelector('.look-choice select'); choice.value = 't0915Z-{}';"
    shown = "document.querySelector('.disc-link img').currentSrc.split('/').pop()"
    for look, source, tint in (("flat", "0915Z-flat.avif", ""), ("warm", "0915Z-disc.jpg", "tint-warm")):
        tab.run("{" + chosen.format(look) + " choice.dispatchEvent(new Event('change')); }")
        tab.wait(f"{shown} === '{source}'")
        assert str(tab.run("document.querySelector('.plate-square').className")).split()[1:] == [tint][: len(tint)]
    tab.open((site / DAY / "index.html").as_uri())  # kept
    assert tab.run("document.querySelector('.look-choice select').selectedOptions[0].textContent") == "warm"
    tab.set_scripts(False)
