"""The notes: what Markdown means is kept, what could do harm is not."""

from __future__ import annotations

import re
import time
from dataclasses import replace
from html import unescape
from html.parser import HTMLParser
from pathlib import Path

import pytest

from archive.records.notes import MOST_BYTES
from archive.website.content import Content
from archive.website.notes import ShownPicture, markdown_excess, notes_html, pictures_in_notes
from website.invented import build_site
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


SHOWN = {"close.jpg": ShownPicture("further-1.jpg", 320, 200), "b%20c.png": ShownPicture("further-2.jpg", 30, 40)}


@pytest.mark.parametrize(
    ("note", "pictures", "words"),
    [
        ("![One](close.jpg)", 1, "One"),
        ("![One](close.jpg)\n![Two](<b c.png>)", 2, "One Two"),
        ("Before ![one](close.jpg) after.", 1, "Before one after. one"),
        ("![One](close.jpg) ![other](other.jpg)", 1, "One other One"),
        ("# Head ![one](close.jpg)\n\nText.", 1, "Head one one Text."),
        ("- ![one](close.jpg)\n- two\n", 1, "one two"),
        ("| a |\n|---|\n| ![one](close.jpg) |\n", 1, "a one one"),
        ('![one](close.jpg "the title")', 1, "the title"),
        ("![one][ref]\n\n[ref]: close.jpg", 1, "one"),
        ("[![one](close.jpg)](https://example.org)", 1, "one one"),
        ("`![one](close.jpg)`", 0, "![one](close.jpg)"),
        ("![one](https://example.org/close.jpg)", 0, "one"),
        ("<img src=close.jpg>", 0, "<img src=close.jpg>"),
    ],
)
def test_pictures_stand_below_the_paragraph_that_they_are_in(note: str, pictures: int, words: str) -> None:
    html = notes_html(note, SHOWN)
    assert html.count("<figure><img src=") == html.count("<img") == pictures
    described = r'<img src="further-[12]\.jpg" alt="[^"]+" width="\d+" height="\d+" loading="lazy"'
    assert len(re.findall(described, html)) == pictures
    assert " ".join(unescape(re.sub("<[^>]*>", " ", html)).split()) == words
    assert len(set(pictures_in_notes(note)) & set(SHOWN)) == pictures


@pytest.mark.parametrize("caption", ['" onload="x()', "<script>x()</script>", "&quot;> <img src=x onerror=x()>"])
def test_a_caption_is_only_text(caption: str) -> None:
    live = _Live(notes_html(f"![{caption}](close.jpg)", SHOWN)).found
    assert {tag for tag, _, _ in live} == {"img"}
    assert sorted(name for _, name, _ in live) == ["", "alt", "decoding", "height", "loading", "src", "width"]


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


# Markdown that costs a parser more than its length, each repeated up to the limit of a day's notes.
LABOURS = {
    "brackets": "[](", "images": "![a", "links": "[a](<b", "emphasis": "*a_ ", "struck": "~~a", "quotes": "> ",
    "lists": "- a\n", "rows": "b\n", "headings": "a\n=\n", "ticks": "`a``b", "tags": "<![CDATA[", "percent": "%",
    "references": "[a]: x\n", "entities": "&amp;", "blanks": "a  \n",
}  # fmt: skip
BEFORE = {"percent": "[a](<", "rows": "|a|b|c|\n|-|-|-|\n", "quotes": "a\n"}


@pytest.mark.parametrize("share", [1.0, 0.1, 0.02])
@pytest.mark.parametrize("what", LABOURS)
def test_no_note_within_the_limit_takes_long_or_makes_a_page_without_end(what: str, share: float) -> None:
    """With fewer signs the rest is plain text, so that the parser is given as much as it is ever given."""
    part = LABOURS[what]
    note = BEFORE.get(what, "") + part * int(share * MOST_BYTES / len(part))
    note += "a" * (MOST_BYTES - len(note))
    start = time.process_time()
    html = notes_html(note)
    assert time.process_time() - start < 3.0  # the worst takes half a second on a slow processor
    assert len(html) < 30 * MOST_BYTES


@pytest.mark.parametrize(
    ("note", "cause"),
    [
        ("|a" * 1000 + "|\n" + "|-" * 1000 + "|\n" + "b\n" * 9000, "signs of Markdown"),
        ("|a" * 150 + "|\n" + "|-" * 150 + "|\n" + "b\n" * 500, "a table of up to 75[0-9]+ cells"),
        ("[a]: " + "x" * 2000 + "\n\n" + "[a] " * 3000, "references"),
        ("*" * 11_000, "11000 signs of Markdown, over 10000; shown as written"),
    ],
    ids=["wide", "cells", "references", "signs"],
)
def test_too_much_markdown_is_shown_as_it_was_written(note: str, cause: str) -> None:
    assert re.search(cause, markdown_excess(note) or "")
    assert notes_html(note) == f'<pre dir="auto">{note}</pre>'


def test_what_is_shown_as_written_does_not_come_to_life() -> None:
    note = "*" * 11_000 + "".join(ATTACKS)
    assert _Live(notes_html(note)).found == []
    assert "<pre" in notes_html(note)


def test_long_notes_of_an_observer_are_rendered() -> None:
    table = "| time | seeing | note |\n|---|---|---|\n" + "| 09:15 | 3 | thin *haze* |\n" * 800
    prose = "A long look at [the group](https://example.org/a), then clouds.\n\n" * 600
    assert markdown_excess(table) is None
    assert markdown_excess(prose) is None
    assert notes_html(table).count("<tr>") == 801
    assert markdown_excess("|a" * 20 + "|\n" + "|-" * 20 + "|\n\n" + prose) is None
