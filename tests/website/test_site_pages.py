"""The pages: sound HTML, links that lead somewhere, plain words on what is known and what is not."""

from __future__ import annotations

import re
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from urllib.parse import unquote, urlsplit

import html5lib
import pytest

from archive.safety import CAUTION
from archive.website.content import Content
from website.invented import build_site
from website.invented import content as invented_content
from website.read_pages import Links, page_text

DAY = "days/2026-06-03/index.html"
FIRST_DAY = "days/2026-06-02/index.html"
UNKNOWN_DAY = "days/2026-06-05/index.html"


def _pages(site: Path) -> list[Path]:
    return sorted(site.rglob("*.html"))


def _dangling(page: Path, target: str) -> bool:
    parts = urlsplit(target)
    if parts.scheme in ("http", "https"):
        return False
    file = (page.parent / unquote(parts.path)).resolve() if parts.path else page
    if not file.is_file():
        return True
    return bool(parts.fragment) and parts.fragment not in Links(file.read_text(encoding="utf-8")).ids


def test_every_kind_of_page_is_there(site: Path) -> None:
    pages = [page.relative_to(site).as_posix() for page in _pages(site)]
    assert pages == [
        "404.html",
        "charts/index.html",
        "compare/index.html",
        "data/index.html",
        "days/2026/index.html",
        "days/2026-06/index.html",
        FIRST_DAY,
        DAY,
        UNKNOWN_DAY,
        "days/index.html",
        "films/index.html",
        "groups/2312-1/index.html",
        "groups/2312-2/index.html",
        "groups/index.html",
        "index.html",
        "observatory/index.html",
        "rotations/2311/index.html",
        "rotations/2312/index.html",
        "rotations/index.html",
        "search/index.html",
    ]


def test_every_link_leads_to_a_file_and_mark_that_exist(site: Path) -> None:
    targets = [(page, target) for page in _pages(site) for target in Links(page.read_text()).targets]
    assert len(targets) > 100
    assert [(page.name, target) for page, target in targets if _dangling(page, target)] == []


def test_links_name_the_file_so_that_they_work_without_a_server(site: Path) -> None:
    for page in _pages(site):
        assert [target for target in Links(page.read_text()).targets if target.endswith("/")] == []


def test_nothing_is_loaded_from_another_host(tmp_path: Path) -> None:
    build_site(invented_content(tmp_path / "derived", "https://sun.quillmere.example/sun"), tmp_path / "site")
    style = (tmp_path / "site/static/style.css").read_text()
    # What begins with # is in the page itself.
    fonts = re.findall(r"url\(\"?([^)#\"][^)\"]*)", style)
    assert fonts
    assert all((tmp_path / "site/static" / font).is_file() for font in fonts)
    assert "@import" not in style
    for page in _pages(tmp_path / "site"):
        loaded = Links(page.read_text()).loaded
        assert loaded
        assert [target for target in loaded if urlsplit(target).netloc] == []


def test_pages_are_well_formed(site: Path) -> None:
    # html5lib follows the WHATWG parsing rules and stops at the first parse error in strict mode.
    for page in _pages(site):
        html5lib.HTMLParser(strict=True).parse(page.read_text(encoding="utf-8"))


def test_marks_are_unique_and_headings_skip_no_level(site: Path) -> None:
    for page in _pages(site):
        links = Links(page.read_text())
        levels = [int(tag[1]) for tag, _ in links.tags if re.fullmatch("h[1-6]", tag)]
        assert levels.count(1) == 1, page
        assert all(after - before <= 1 for before, after in pairwise(levels)), page
        assert len(links.ids) == len(set(links.ids)), page


def test_every_picture_has_words_in_its_place(site: Path) -> None:
    alts = [attrs.get("alt") for page in _pages(site) for tag, attrs in Links(page.read_text()).tags if tag == "img"]
    assert "The Sun on 2 June 2026 at 09:15 UTC, north up: 1 group, 4 spots, at N12 E30" in alts
    assert "The Sun on 3 June 2026 at 14:15 UTC, north up: 2 groups, 6 spots, the largest at N12 E14" in alts
    assert "The Sun on 5 June 2026 at 09:15 UTC, original orientation, north not known" in alts
    assert all(alts)


def test_no_script_and_no_style_of_its_own_on_any_page(site: Path) -> None:
    for page in _pages(site):
        links = Links(page.read_text())
        # That for missing addresses is shown at any depth, and brings a style along under its digest.
        own = {"style"} if page.name == "404.html" else set()
        assert {tag for tag, _ in links.tags} & {"style", "iframe", "object", "form"} == own
        scripts = re.findall(r"<script[^>]*>.*?</script>", page.read_text(), re.DOTALL)
        # From files of the site; a script written into a page is blocked, and data in one is no script.
        code = [one for one in scripts if 'type="application/ld+json"' not in one]
        files = [re.fullmatch(r'<script src="(?:\.\./)*[\w/]*?(\w+)\.js" defer></script>', one) for one in code]
        named = {file[1] for file in files if file}
        assert len(named) == len(code)
        assert ("player" in named) == any(tag == "video" for tag, _ in links.tags) or page.parent.name == "films"
        assert ({"keys", "plate"} <= named) == ("zoom-link" in page.read_text())
        assert [attrs for _, attrs in links.tags if any(name == "style" or name[:2] == "on" for name in attrs)] == []


def test_the_sharpest_picture_of_the_day_comes_first(site: Path) -> None:
    images = [attrs["src"] for tag, attrs in Links((site / DAY).read_text()).tags if tag == "img"]
    assert images[0] == "1415Z-disc.jpg"
    assert "0915Z-disc.jpg" in images


def test_days_link_to_their_neighbours_across_a_gap(site: Path) -> None:
    anchors = {attrs.get("rel"): attrs["href"] for tag, attrs in Links((site / DAY).read_text()).tags if tag == "a"}
    assert anchors["prev"] == "../2026-06-02/index.html"
    assert anchors["next"] == "../2026-06-05/index.html"


def test_the_caption_says_how_north_is_known(site: Path) -> None:
    assert "North measured from the same spots on other days and the mount’s geometry, within 0.4°." in page_text(
        site, DAY
    )
    assert "North assumed from the mount, within 1.8°." in page_text(site, FIRST_DAY)
    assert "Original orientation: north is not known." in page_text(site, UNKNOWN_DAY)


def test_north_is_marked_only_where_it_is_known(site: Path) -> None:
    assert 'class="point north"' in (site / DAY).read_text()
    assert 'class="point north"' not in (site / UNKNOWN_DAY).read_text()


def test_disputes_and_warnings_are_shown(site: Path) -> None:
    dispute = "disagrees: the same spots on other days −12.5° ± 0.4°, mirrored; the mount’s geometry −11.2° ± 1.2°, "
    assert dispute in page_text(site, DAY)
    assert "The Sun was low." in page_text(site, UNKNOWN_DAY)


def test_unknown_facts_are_left_out_or_dashed_never_zero(site: Path) -> None:
    text = page_text(site, UNKNOWN_DAY)
    assert "Exposure" not in text
    assert "Spots were not counted in this picture." in text
    assert "sunspot groups, g" not in text
    assert "Combined–––" in text.replace(" –", "–")
    assert "None" not in text
    assert "nan" not in text.lower().split()


def test_known_facts_are_written_as_the_trade_writes_them(site: Path) -> None:
    text = page_text(site, DAY)
    assert "−13.16°" in text
    assert "15′ 45.3″" in text
    assert "1/500 s" in text
    assert "180 of 1800 (10 %)" in text
    # 945.3 arcsec over 412 px.
    assert "2.29″ per pixel" in text


def test_the_observatory_page_carries_the_caution_and_only_the_rounded_position(site: Path) -> None:
    text = page_text(site, "observatory/index.html")
    assert CAUTION in text
    assert "52.1° N, 1.3° W" in text


@pytest.mark.parametrize(
    "duty", ["filter made for solar use", "full front aperture", "unattended near children", "local"]
)
def test_the_caution_names_each_duty(duty: str) -> None:
    # Common practice of solar observing, no single source.
    assert duty in CAUTION


def test_an_observation_that_is_gone_stays_as_text_under_its_film(site: Path) -> None:
    html = (site / "films/index.html").read_text()
    assert "<li>2026-05-01T0900Z</li>" in html
    assert 'preload="none"' in html


def test_an_archive_without_pictures_makes_a_site(content: Content, tmp_path: Path) -> None:
    build_site(replace(content, entries=(), films=()), tmp_path / "empty")
    assert "No pictures have been added yet." in page_text(tmp_path / "empty", "index.html")


def test_names_with_signs_of_html_are_shown_as_written(content: Content, tmp_path: Path) -> None:
    odd = replace(content.info, title='Sun & "Sky" <b>')
    build_site(replace(content, info=odd), tmp_path / "odd")
    assert 'Sun & "Sky" <b>' in page_text(tmp_path / "odd", "index.html")


def test_the_page_for_missing_addresses_links_from_the_hosts_root(tmp_path: Path) -> None:
    build_site(invented_content(tmp_path / "derived", "https://sun.quillmere.example/sun"), tmp_path / "site")
    assert 'href="/sun/days/index.html"' in (tmp_path / "site/404.html").read_text()


def test_the_archive_s_language_is_that_of_titles_and_notes_and_the_page_s_words_are_in_its_language(
    content: Content, tmp_path: Path
) -> None:
    # WCAG 2.2, 3.1.1 and 3.1.2: the language of the page, and of its parts.
    build_site(replace(content, info=replace(content.info, language="de-AT")), tmp_path / "de")
    tags = Links((tmp_path / "de" / DAY).read_text()).tags
    assert [attrs["lang"] for tag, attrs in tags if tag in ("html", "body")] == ["de-AT", "de"]
    assert [tag for tag, attrs in tags if attrs.get("lang") == "de-AT"] == ["html", "a", "div"]


def test_the_examples_of_the_search_find_something(site: Path) -> None:
    page = (site / "search/index.html").read_text(encoding="utf-8")
    examples = re.findall(r"<kbd>(.*?)</kbd>", page)
    entries = (site / "search/words.js").read_text(encoding="utf-8").split('"href"')
    assert len(examples) == 3
    for words in examples:
        assert any(words in entry for entry in entries)
