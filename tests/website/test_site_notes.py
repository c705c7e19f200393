"""The notes: what Markdown means is kept, what could do harm is not."""

from __future__ import annotations

import re
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import pytest

from archive.website import Content, build_site
from archive.website.notes import notes_html
from website.read_pages import page_text

# Ways of smuggling a script past a filter that are widely described; from memory.
ATTACKS = [
    "<script>alert(1)</script>",
    "<img src=x onerror=alert(1)>",
    "<svg/onload=alert(1)>",
    "<a href='javascript:alert(1)'>x</a>",
    "[x](javascript:alert(1))",
    "[x](JaVaScRiPt:alert(1))",
    "[x](data:text/html;base64,PHNjcmlwdD4=)",
    "![x](https://elsewhere.example/pixel.png)",
    "<iframe src=https://elsewhere.example></iframe>",
    "<p style='position:fixed'>x</p>",
    '[x](https://example.org "a\\" onmouseover=alert(1) b")',
    '<https://example.org/?a="onclick=alert(1)>',
]


class _Live(HTMLParser):
    """Collect what a browser would act on."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.found: list[tuple[str, str, str | None]] = []
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag in ("script", "img", "svg", "iframe", "style", "object"):
            self.found.append((tag, "", None))
        for name, value in attrs:
            harmless = name in ("href", "title", "rel") or (name, value) == ("dir", "auto")
            scheme = (value or "").partition(":")[0].strip().lower()
            if not harmless or (name == "href" and scheme not in ("http", "https", "mailto")):
                self.found.append((tag, name, value))


@pytest.mark.parametrize("attack", ATTACKS)
def test_nothing_in_a_note_comes_to_life(attack: str) -> None:
    assert _Live(notes_html(f"Before {attack} after")).found == []
    assert _Live(notes_html(attack)).found == []


def test_the_check_itself_sees_what_is_alive() -> None:
    assert len(_Live("<script></script><p onclick=x><a href='javascript:x'>").found) == 3


def test_markdown_is_rendered_with_headings_below_those_of_the_page() -> None:
    html = notes_html("# Haze\n\nA *long* **look**\n\n- one\n\n| a | b |\n|---|---|\n| 1 | 2 |\n")
    assert '<h3 dir="auto">Haze</h3>' in html
    assert "<em>long</em> <strong>look</strong>" in html
    assert "<li>one</li>" in html
    assert "<td>1</td>" in html


@pytest.mark.parametrize(
    ("note", "words"),
    [
        ("Before ![a *fine* spot & more](spot.png) after", '<p dir="auto">Before a fine spot &amp; more after</p>'),
        ('![](spot.png "The spot")', '<p dir="auto">The spot</p>'),
        ("[![the spot](spot.png)](https://example.org)", ">the spot</a>"),
        ("![a ![small](s.png) one][ref]\n\n[ref]: spot.png", '<p dir="auto">a small one</p>'),
        ('![<b onclick="x">](spot.png)', '<p dir="auto">&lt;b onclick="x"&gt;</p>'),
    ],
)
def test_the_words_that_describe_a_picture_stay(note: str, words: str) -> None:
    html = notes_html(note)
    assert words in html
    assert "<img" not in html
    assert "spot.png" not in html


def test_the_words_of_a_notes_picture_are_on_the_page_and_found(content: Content, tmp_path: Path) -> None:
    notes = {"2026-06-03": "Seen well.\n\n![Light bridge in the leader](bridge.png)\n"}
    build_site(replace(content, notes=notes), tmp_path / "pictured")
    assert "Light bridge in the leader" in page_text(tmp_path / "pictured", "days/2026-06-03/index.html")
    assert "Light bridge in the leader" in (tmp_path / "pictured/search/words.js").read_text(encoding="utf-8")


def test_links_tell_the_other_host_nothing() -> None:
    assert 'rel="noopener noreferrer"' in notes_html("[x](https://example.org)")


def test_the_days_page_shows_the_note_inert(site: Path) -> None:
    html = (site / "days/2026-06-03/index.html").read_text()
    assert '<h3 dir="auto">Haze</h3>' in html
    assert "&lt;script&gt;alert(1)" in html
    assert "<script>" not in html
    assert "<script" not in re.sub(
        r'<script (type="application/ld\+json"|src="[./]*static/\w+\.js" defer)>.*?</script>', "", html, flags=re.DOTALL
    )
    assert "<img src=x" not in html
