"""No language's words are cut off or run out of a page on a telephone."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from website.browser import Browser, browser, in_browser
from website.invented import build_site
from website.invented import content as invented_content

from archive.language import LANGUAGES, format_day, speaking

pytestmark = in_browser
WIDTH_PX = 360
PAGES = [
    "index.html", "days/2026-06-03/index.html", "days/2026-06/index.html", "groups/2312-1/index.html",
    "charts/index.html", "compare/index.html", "films/index.html",
]  # fmt: skip
# Words that leave the box they stand in or the page, but where one can scroll to them; and those that the edge of a
# drawing cuts.
CUT_OFF = """(() => {
  const texts = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT), wrong = [];
  const inline = (one) => getComputedStyle(one).display.startsWith("inline");
  const boxed = (one) => one.closest("svg") || (inline(one) ? boxed(one.parentElement) : one);
  for (let text; (text = texts.nextNode());) {
    const words = text.textContent.trim(), parent = text.parentElement, range = document.createRange();
    if (!words || parent.closest("script, style, title, desc, option, .skip") || !parent.checkVisibility()) continue;
    range.selectNodeContents(text);
    const own = range.getBoundingClientRect(), box = boxed(parent).getBoundingClientRect();
    let scrolls = parent;
    while (scrolls && !/auto|scroll/.test(getComputedStyle(scrolls).overflowX)) scrolls = scrolls.parentElement;
    const out = !scrolls && (own.left < -1 || own.right > innerWidth + 1);
    const cut = own.left < box.left - 1 || own.right > box.right + 1;
    if (own.width > 2 && (out || cut)) wrong.push(`${parent.localName}: ${words}`);
  }
  return wrong;
})()"""


@pytest.fixture(scope="module")
def tab() -> Iterator[Browser]:
    with browser() as one:
        yield one


@pytest.mark.parametrize("language", LANGUAGES)
def test_words_have_room_on_a_telephone(language: str, tab: Browser, tmp_path: Path) -> None:
    content = invented_content(tmp_path / "derived")
    build_site(replace(content, info=replace(content.info, language=language)), tmp_path / "site")
    with speaking(language):
        widest = max((format_day(date(2026, month, 28)) for month in range(1, 13)), key=len)
    wrong = []
    for page in PAGES:
        tab.open((tmp_path / "site" / page).as_uri(), width_px=WIDTH_PX, height_px=900, phone=True)
        tab.run(f"for (const one of document.querySelectorAll('h1 time')) one.textContent = {json.dumps(widest)}")
        found = tab.run(CUT_OFF)
        assert isinstance(found, list)
        wrong += [f"{page}: {words}" for words in found]
        if tab.run("document.scrollingElement.scrollWidth") > WIDTH_PX:
            wrong.append(f"{page}: wider than {WIDTH_PX} px")
    assert not wrong, "shorten these words in the catalogue:\n" + "\n".join(wrong)


def test_the_test_sees_words_that_are_cut_off(tab: Browser, tmp_path: Path) -> None:
    page = tmp_path / "page.html"
    page.write_text("<p style='width:5em'>Sonnenfleckenrelativzahl</p><p>short</p>", encoding="utf-8")
    tab.open(page.as_uri(), width_px=WIDTH_PX, height_px=900, phone=True)
    assert tab.run(CUT_OFF) == ["p: Sonnenfleckenrelativzahl"]
