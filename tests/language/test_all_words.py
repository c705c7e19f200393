"""Every word that a page shows is a message of the catalogues, or the user's own."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pseudo
import pytest
from website.invented import InventedContent, build_site
from website.invented import content as invented_content

from archive.disk import Folder

# What the invented archive's own observer has written, what it makes up of remarks, names of authors, names of files.
OWN = {
    "full-aperture film, OD 5", "The Sun was low.", "three spots over two days", "The last days",
    "Howard, Gilman & Gilman",
    "observations.csv observations.json groups.csv groups.json datapackage.json",
    "The Sun over Quillmere", "the Quillmere observers", "Quillmere Hill", "80 mm refractor", "Long box", "Quillmere",
    "CC BY", "Northlimb", "Jon", "CC-BY-4.0", "sun@example.org",
}  # fmt: skip


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("pseudo")
    (folder / "theme/locale").mkdir(parents=True)
    (folder / f"theme/locale/{pseudo.LANGUAGE}.po").write_bytes(pseudo.source())
    content = spoken_content(folder / "derived")
    build_site(content, folder / "site", theme_files=Folder(folder / "theme"))
    return folder / "site"


def spoken_content(derived: Path) -> InventedContent:
    content = invented_content(derived)
    info = replace(content.info, language=pseudo.LANGUAGE, contact="sun@example.org", licence="CC-BY-4.0")
    return replace(content, info=info, notes={})


def test_no_page_shows_a_word_that_is_in_no_catalogue(site: Path) -> None:
    pages = sorted(site.rglob("*.html"))
    strange = {
        words: f"{path.relative_to(site)}: {words}"
        for path in pages
        for words in pseudo.strange_words(path.read_text(encoding="utf-8"), OWN)
    }
    assert len(pages) > 15
    assert not strange, "say these by gettext() in the code or _() in the template:\n" + "\n".join(strange.values())


def test_the_feed_says_no_word_that_is_in_no_catalogue(site: Path) -> None:
    feed = (site / "feed.xml").read_text(encoding="utf-8")
    contents = re.findall(r"<(?:content|title)[^>]*>(.*?)</", feed, re.DOTALL)
    import html

    strange = [words for text in contents for words in pseudo.strange_words(html.unescape(text), OWN)]
    assert contents
    assert not strange


# Of a string in a script: words as a reader sees them. Selectors, classes and names of keys look otherwise.
PROSE = re.compile(r"""["'`]([A-Z][a-z]+(?:[ ,:.][^"'`<>=#\[\]]*)?|[a-z]+(?: [a-z]+)+[.:?]?)["'`]""")
OF_SCRIPTS = {"use strict", "Escape", "Enter", "Tab"}


def prose_of(script: str) -> list[str]:
    return [found for found in PROSE.findall(script) if found not in OF_SCRIPTS]


def test_no_script_holds_a_word_that_is_in_no_catalogue(site: Path) -> None:
    scripts = sorted((site / "static").glob("*.js"))
    assert len(scripts) > 3
    assert not [f"{path.name}: {words}" for path in scripts for words in prose_of(path.read_text(encoding="utf-8"))]
    assert any(pseudo.BEGIN in path.read_text(encoding="utf-8") for path in scripts)


def test_the_test_of_scripts_sees_words() -> None:
    script = (
        """find(".plate-bar"); a("Play"); b("one frame back"); c(`Frame ${n} of ${m}`); d("⟦Pause⟧"); e("ArrowLeft")"""
    )
    assert prose_of(script) == ["Play", "one frame back", "Frame ${n} of ${m}"]


def test_the_test_sees_a_word_that_is_in_no_catalogue() -> None:
    page = (
        f"<p>{pseudo.marked('All <b>days</b> of')} strange 3 czerwca 2026 <a title='odd'>R 12 px</a></p><kbd>Esc</kbd>"
    )
    found = pseudo.strange_words(page, {"R"})
    assert [words.partition(" ")[0] for words in found] == ["'odd'", "'strange'"]
