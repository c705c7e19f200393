"""The feed: read by an independent reader, sound by RFC 4287, and ids that never change."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from xml.etree import ElementTree

import feedparser

from archive.website.content import Content, Entry
from archive.website.feed import feed_bytes
from website.invented import build_site
from website.invented import content as invented_content

ATOM = "{http://www.w3.org/2005/Atom}"


def _moved(entry: Entry) -> Entry:
    later = entry.observation.time_utc + timedelta(minutes=1)
    return replace(entry, observation=replace(entry.observation, time_utc=later))


def test_a_reader_finds_every_observation_the_newest_first(content: Content) -> None:
    feed = feedparser.parse(feed_bytes(content))
    assert not feed.bozo
    assert feed.version == "atom10"
    assert feed.feed.title == "The Sun over Quillmere"
    assert feed.feed.updated == "2026-06-05T09:15:20Z"
    assert [entry.updated for entry in feed.entries] == [
        "2026-06-05T09:15:20Z",
        "2026-06-03T14:15:20Z",
        "2026-06-03T09:15:20Z",
        "2026-06-02T09:15:20Z",
    ]


def test_each_part_has_what_rfc_4287_requires(content: Content) -> None:
    # RFC 4287, sections 4.1.1 and 4.1.2: exactly one id, title and updated; an author for all.
    root = ElementTree.fromstring(feed_bytes(content))
    assert root.tag == f"{ATOM}feed"
    assert root.find(f"{ATOM}author/{ATOM}name").text == "the Quillmere observers"
    for part in [root, *root.findall(f"{ATOM}entry")]:
        for name in ("id", "title", "updated"):
            assert len(part.findall(f"{ATOM}{name}")) == 1
        assert part.find(f"{ATOM}id").text.startswith("urn:uuid:")
        assert part.find(f"{ATOM}link[@rel='alternate']") is not None
    ids = [element.text for element in root.iter(f"{ATOM}id")]
    assert len(ids) == len(set(ids)) == 5


def test_links_lead_to_files_of_the_site(site: Path) -> None:
    root = ElementTree.parse(site / "feed.xml").getroot()
    targets = [link.get("href") for link in root.iter(f"{ATOM}link")]
    assert len(targets) == 9
    assert [target for target in targets if not (site / target).is_file()] == []


def test_a_known_address_is_the_base_of_all_links(tmp_path: Path) -> None:
    content = invented_content(tmp_path, "https://sun.quillmere.example/sun")
    feed = feedparser.parse(feed_bytes(content))
    assert feed.entries[0].link == "https://sun.quillmere.example/sun/days/2026-06-05/index.html"
    links = {link.rel: link.href for link in feed.feed.links}
    assert links["self"] == "https://sun.quillmere.example/sun/feed.xml"


def test_ids_outlast_a_corrected_time_and_a_new_address(content: Content) -> None:
    moved = replace(
        content,
        entries=[_moved(entry) for entry in content.entries],
        info=replace(content.info, address="https://sun.quillmere.example/"),
    )
    before = [entry.id for entry in feedparser.parse(feed_bytes(content)).entries]
    assert [entry.id for entry in feedparser.parse(feed_bytes(moved)).entries] == before


def test_ids_are_those_of_the_first_release(content: Content) -> None:
    # Frozen on purpose: were these to change, every reader would show all old pictures as new.
    ids = [entry.id for entry in feedparser.parse(feed_bytes(content)).entries]
    assert ids[0] == "urn:uuid:5a0405ef-b85d-5273-8258-32836575bfcd"


def test_the_feed_of_an_empty_archive_is_sound(content: Content, tmp_path: Path) -> None:
    build_site(replace(content, entries=()), tmp_path / "empty")
    feed = feedparser.parse((tmp_path / "empty/feed.xml").read_bytes())
    assert not feed.bozo
    assert feed.entries == []
