"""Scripts in names, notes and headers of pictures reach no page alive: pages, drawings, feed, linked data, search."""

from __future__ import annotations

import json
import re
from pathlib import Path
from xml.etree import ElementTree

import html5lib
import numpy as np
import pytest
from astropy.io import fits
from scenes.discs import Scene, draw_disc, quantise

from archive.commands.main import main
from whole.conftest import SPOTS

MARK = "alert(7734)"
ELEMENT = f"</title></script><script>{MARK}</script><img src=x onerror={MARK}>"
ATTRIBUTE = f"\"' onmouseover={MARK} x=\"'"
SETTINGS = f"""
title = '''{ELEMENT} {{{{ 7 * 1105 }}}}'''
observer = '''{ATTRIBUTE}'''
address = '''https://example.org/"><script>{MARK}</script>/'''
[[sites]]
name = '''{ELEMENT}'''
latitude_deg = 52.1
longitude_deg = -1.3
[[instruments]]
name = '''{ATTRIBUTE}{ELEMENT}'''
filter = '''{ELEMENT}'''
mount = "altaz"
mirrored = "no"
camera_angle_deg = 0
"""
NOTE = f"""# {ELEMENT}

[a](javascript:{MARK}) [b](data:text/html,<script>{MARK}</script>) <javascript:{MARK}> [c](vbscript:{MARK})
![d](https://elsewhere.example/pixel.png) ![e](data:image/svg+xml,<svg onload={MARK}>)
[f](https://example.org "x\\" onclick={MARK} \\"") <svg onload={MARK}> <style>@import '//elsewhere.example'</style>
[g]: javascript:{MARK}

[g] &lt;script&gt;{MARK}&lt;/script&gt; ``<script>{MARK}</script>``

<script>{MARK}</script>

```html
<script>{MARK}</script>
```
"""


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    scratch = tmp_path_factory.mktemp("stored")
    folder = scratch / "sun"
    folder.mkdir()
    (folder / "archive.toml").write_text(SETTINGS, encoding="utf-8")
    unit = fits.PrimaryHDU(quantise(draw_disc(Scene(spots=SPOTS)), 8)[::-1].astype(np.uint16))
    unit.header.update({"DATE-OBS": "2026-06-03T09:15:00", "FILTER": f"<script>{MARK}</script>"})
    unit.writeto(scratch / "a.fits")
    assert main(["add", str(folder), str(scratch / "a.fits"), "--note", NOTE]) == 0
    assert main(["build", str(folder)]) == 0
    return folder / "site"


def alive(html: str) -> list[str]:
    """What a browser would run or load, as the parsing rules of the HTML standard see it."""
    found = []
    for element in html5lib.parse(html, namespaceHTMLElements=False).iter():
        if not isinstance(element.tag, str):
            continue
        tag = element.tag.rpartition("}")[2]
        if tag in ("script", "style") and element.get("type") != "application/ld+json" and MARK in (element.text or ""):
            found.append(f"{tag}: {element.text}")
        for name, value in element.attrib.items():
            run = str(name).startswith("on") or re.match(
                r"\s*(javascript|vbscript|data):\s*\S*alert", value, re.IGNORECASE
            )
            if run or (name in ("src", "srcset", "poster") and re.match(r"x$|data:|(https?:)?//", value)):
                found.append(f"{tag} {name}={value}")
    return found


def test_no_page_or_drawing_runs_what_was_written(site: Path) -> None:
    pages = [path for path in sorted(site.rglob("*")) if path.suffix in (".html", ".svg")]
    assert len(pages) > 10
    assert {
        path.relative_to(site).as_posix(): found for path in pages if (found := alive(path.read_text("utf-8")))
    } == {}
    assert "7735" not in (site / "index.html").read_text("utf-8").replace("7734", "")  # 7 * 1105: no template either


def test_the_words_are_shown_as_they_were_written(site: Path) -> None:
    """Left out, they could not come alive and the test above would prove nothing."""
    for page in ("index.html", "days/2026-06-03/index.html"):
        words = "".join(html5lib.parse((site / page).read_text("utf-8"), namespaceHTMLElements=False).itertext())
        assert MARK in words
    assert alive(f"<script>{MARK}</script><img src=x onerror=1><a href=' javascript:{MARK}'>") != []


def test_data_feed_and_search_hold_them_as_words(site: Path) -> None:
    for path in sorted(site.rglob("*.json")):
        json.loads(path.read_text("utf-8"))
    for path in sorted([*site.rglob("*.xml"), *site.rglob("*.svg")]):
        for element in ElementTree.parse(path).iter():
            assert element.tag.rpartition("}")[2] != "script"
            if element.get("type") == "html" and element.text:
                assert alive(element.text) == []
    for path in sorted(site.rglob("*.html")):
        for block in re.findall(
            r'<script type="application/ld\+json">(.*?)</script>', path.read_text("utf-8"), re.DOTALL
        ):
            json.loads(block)
    words = (site / "search/words.js").read_text("utf-8")
    json.loads(words[words.index("=") + 1 :].strip().rstrip(";") if "=" in words[:60] else words)
