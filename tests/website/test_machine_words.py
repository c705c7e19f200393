"""What pages tell to machines: previews, linked data, the list of pages."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest

from website.invented import build_site, record_of
from website.invented import content as invented_content
from website.read_pages import Links

ADDRESS = "https://sun.quillmere.example/of/sun"
DAY = "days/2026-06-03/index.html"


@pytest.fixture
def known_site(tmp_path: Path) -> Path:
    build_site(invented_content(tmp_path / "derived", ADDRESS), tmp_path / "site")
    return tmp_path / "site"


def _metas(page: Path) -> dict[str, str | None]:
    return {
        str(attrs.get("property") or attrs.get("name")): attrs["content"]
        for tag, attrs in Links(page.read_text()).tags
        if tag == "meta" and "content" in attrs
    }


def _data(page: Path) -> dict[str, Any]:
    found = re.findall(r'<script type="application/ld\+json">(.*?)</script>', page.read_text(), re.DOTALL)
    assert len(found) == 1
    data: dict[str, Any] = json.loads(found[0])
    return data


def test_a_day_s_preview_is_its_disc_under_its_whole_address(known_site: Path) -> None:
    metas = _metas(known_site / DAY)
    # The Open Graph protocol asks for title, type, image and url.
    assert metas["og:image"] == f"{ADDRESS}/days/2026-06-03/1415Z-disc.jpg"
    assert (
        metas["og:image:alt"]
        == "The Sun on 3 June 2026 at 14:15 UTC, north up: 2 groups, 6 spots, the largest at N12 E14"
    )
    assert metas["og:url"] == f"{ADDRESS}/days/2026-06-03/"
    assert metas["og:type"] == "website"
    assert metas["og:title"]


def test_every_page_but_the_missing_one_names_its_address(known_site: Path) -> None:
    for page in known_site.rglob("*.html"):
        links = [
            attrs["href"]
            for tag, attrs in Links(page.read_text()).tags
            if tag == "link" and attrs.get("rel") == "canonical"
        ]
        path = page.relative_to(known_site).as_posix()
        assert links == ([] if path == "404.html" else [f"{ADDRESS}/{path.removesuffix('index.html')}"])
    assert _metas(known_site / "404.html")["robots"] == "noindex"


def test_without_an_address_nothing_pretends_to_one(site: Path) -> None:
    assert not (site / "sitemap.xml").exists()
    assert not (site / "robots.txt").exists()
    for page in site.rglob("*.html"):
        assert 'rel="canonical"' not in page.read_text()
        assert "og:" not in page.read_text()


def test_the_list_of_pages_is_that_of_the_files(known_site: Path) -> None:
    # Sitemaps XML format 0.9: urlset of url, each with a whole address in loc.
    names = {"s": "http://www.sitemaps.org/schemas/sitemap/0.9"}
    listed = [
        str(loc.text) for loc in ElementTree.parse(known_site / "sitemap.xml").getroot().findall("s:url/s:loc", names)
    ]
    files = {page.relative_to(known_site).as_posix() for page in known_site.rglob("*.html")} - {"404.html"}
    assert {loc.removeprefix(f"{ADDRESS}/") for loc in listed} == {file.removesuffix("index.html") for file in files}
    assert len(listed) == len(set(listed))
    # RFC 9309: robots.txt counts at the root of a host alone.
    assert not (known_site / "robots.txt").exists()


def test_at_the_root_of_a_host_robots_names_the_list_unless_one_is_there(tmp_path: Path) -> None:
    content = invented_content(tmp_path / "derived", "https://sun.quillmere.example")
    record = record_of(tmp_path / "site")
    build_site(content, tmp_path / "site", record=record)
    robots = tmp_path / "site/robots.txt"
    assert "Sitemap: https://sun.quillmere.example/sitemap.xml" in robots.read_text().splitlines()
    build_site(replace(content, info=replace(content.info, address=None)), tmp_path / "site", record=record)
    assert not robots.exists()
    robots.write_text("User-agent: *\nDisallow: /\n")
    build_site(content, tmp_path / "site", record=record)
    assert robots.read_text() == "User-agent: *\nDisallow: /\n"


def test_a_robots_file_that_took_the_place_of_ours_is_kept(tmp_path: Path) -> None:
    content = invented_content(tmp_path / "derived", "https://sun.quillmere.example")
    build_site(content, tmp_path / "site")
    robots, own = tmp_path / "site/robots.txt", "User-agent: *\nDisallow: /data/\n"
    robots.write_text(own)
    assert build_site(content, tmp_path / "site").removed == 0
    assert robots.read_text() == own
    # Neither named as ours, nor written or removed by later builds, whether they would write one or not.
    assert "robots.txt" not in (tmp_path / "site/files.json").read_text()
    assert build_site(content, tmp_path / "site").written == 0
    build_site(replace(content, info=replace(content.info, address=None)), tmp_path / "site")
    assert robots.read_text() == own


def test_a_robots_file_of_ones_own_does_not_keep_later_days_out(tmp_path: Path) -> None:
    """This computer knows what it wrote, and looks at nothing but what changes."""
    content = invented_content(tmp_path / "derived", "https://sun.quillmere.example")
    site, own = tmp_path / "site", "User-agent: *\nDisallow: /data/\n"
    record = record_of(site)
    build_site(replace(content, entries=content.entries[1:]), site, record=record)
    (site / "robots.txt").write_text(own)
    build_site(replace(content, entries=content.entries[1:]), site, record=record)
    assert build_site(content, site, record=record).written > 0
    assert (site / "robots.txt").read_text() == own


def test_a_robots_file_of_ones_own_outlives_the_address(tmp_path: Path) -> None:
    content = invented_content(tmp_path / "derived", "https://sun.quillmere.example")
    build_site(content, tmp_path / "site")
    (tmp_path / "site/robots.txt").write_text("User-agent: *\nDisallow: /\n")
    build_site(replace(content, info=replace(content.info, address=None)), tmp_path / "site")
    assert (tmp_path / "site/robots.txt").read_text() == "User-agent: *\nDisallow: /\n"


def test_our_robots_file_follows_the_address_and_comes_back_when_it_is_gone(tmp_path: Path) -> None:
    content = invented_content(tmp_path / "derived", "https://sun.quillmere.example")
    build_site(content, tmp_path / "site")
    robots = tmp_path / "site/robots.txt"
    ours = robots.read_text()
    robots.unlink()
    build_site(content, tmp_path / "site")
    assert robots.read_text() == ours
    moved = replace(content, info=replace(content.info, address="https://sol.quillmere.example"))
    build_site(moved, tmp_path / "site")
    assert robots.read_text() == ours.replace("//sun.", "//sol.")


def test_the_disc_is_described_as_an_image(known_site: Path) -> None:
    # schema.org/ImageObject.
    data = _data(known_site / DAY)
    assert (data["@context"], data["@type"]) == ("https://schema.org", "ImageObject")
    assert data["contentUrl"] == f"{ADDRESS}/days/2026-06-03/1415Z-disc.jpg"
    assert (data["width"], data["height"], data["dateCreated"]) == (1024, 1024, "2026-06-03T14:15:20Z")


def test_the_archive_is_described_as_a_set_of_data(known_site: Path) -> None:
    # schema.org/Dataset: name and description are what search engines ask for.
    data = _data(known_site / "data/index.html")
    assert data["@type"] == "Dataset"
    assert data["name"]
    assert 50 <= len(data["description"]) <= 5000
    assert data["temporalCoverage"] == "2026-06-02/2026-06-05"
    for one in data["distribution"]:
        assert (known_site / one["contentUrl"].removeprefix(f"{ADDRESS}/")).is_file()


def test_a_title_cannot_end_the_data(tmp_path: Path) -> None:
    content = invented_content(tmp_path / "derived")
    build_site(replace(content, info=replace(content.info, title="</script><b>")), tmp_path / "site")
    assert _data(tmp_path / "site/data/index.html")["name"].startswith("</script><b>")
    assert "</script><b>" not in (tmp_path / "site/data/index.html").read_text()
