"""Every kind of page in a real browser: nothing blocked, nothing sought elsewhere, open to everyone, in its place."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from dataclasses import replace
from functools import partial
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import pytest

from archive.disk import Folder
from archive.website.content import Entry
from archive.website.render import style_hash
from website.invented import build_site
from website.invented import content as invented_content
from website.packaged_browser import in_driven_browser, look

pytestmark = in_driven_browser

DAYS = ["days/2026-06-02/index.html", "days/2026-06-03/index.html", "days/2026-06-05/index.html"]
PAGES = [
    "index.html", *DAYS, "days/index.html", "days/2026/index.html", "days/2026-06/index.html", "groups/index.html",
    "groups/2312-1/index.html", "rotations/index.html", "rotations/2312/index.html", "charts/index.html",
    "films/index.html", "observatory/index.html", "data/index.html", "search/index.html", "404.html",
]  # fmt: skip
# WCAG 2.2, levels A and AA, and axe-core's own good practice.
AXE = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
SOUGHT = {
    "3 June 2026": ["3 June 2026"],
    "3.6.2026": ["3 June 2026"],
    "June 3, 2026": ["3 June 2026"],
    "2312-1": ["Group 2312-1", "3 June 2026", "2 June 2026"],
    "HAZE look": ["3 June 2026"],
    "north not known": ["5 June 2026"],
    "ضباب": ["5 June 2026"],
    "moonlight": [],
}
RIGHT_TO_LEFT = "ضباب خفيف\n\n- שלום *עולם*\n- plain\n"


class _Quiet(SimpleHTTPRequestHandler):
    def log_message(self, format: str, *args: object) -> None: ...


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The site in a sub-folder of what the server serves; a day's notes are written from right to left."""
    folder = tmp_path_factory.mktemp("looked-at")
    content = invented_content(folder / "derived")
    notes = {**content.notes, "2026-06-05": RIGHT_TO_LEFT}
    build_site(type(content)(**{**vars(content), "notes": notes}), folder / "served/of/sun")
    return folder / "served/of/sun"


@pytest.fixture(scope="module")
def address(site: Path) -> Iterator[str]:
    """The site's address under a sub-path of a server on loopback."""
    served = partial(_Quiet, directory=str(site.parent.parent))
    with ThreadingHTTPServer(("127.0.0.1", 0), served) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        yield f"http://127.0.0.1:{server.server_address[1]}/of/sun/"
        server.shutdown()


def _check(seen: dict[str, Any], root: str) -> None:
    """Whole, nothing over the edge or over each other, and nothing asked for elsewhere."""
    # For a page that names no icon browsers look for one at the host's root of their own accord.
    said, asked = ([one for one in seen[key] if not one.endswith("/favicon.ico")] for key in ("said", "requests"))
    assert said == [], seen["url"]
    assert [one for one in asked if not one.startswith(root)] == []
    assert seen["broken"] == [], seen["url"]
    assert (seen["beyond"], seen["wide"]) == (0, []), seen["url"]
    assert seen["overlaps"] == [], seen["url"]
    if seen["url"].endswith("404.html"):  # shown at any depth, and here without an address: it asks for nothing
        assert asked == [seen["url"]]
    else:
        assert seen["fonts"] >= 1, seen["url"]


def test_from_disk_every_page_is_whole_and_open_to_everyone_on_a_telephone_in_the_dark(site: Path) -> None:
    """And its colours also on a desk by day."""
    asked = {"width": 360, "height": 780, "scheme": "dark", "axe": AXE, "contrast": {"width": 1280}}
    found = look([{"url": (site / page).as_uri(), **asked} for page in PAGES])
    for seen in found:
        _check(seen, site.as_uri())
        assert seen["axe"] == [], seen["url"]
    assert len({seen["paper"] for seen in found}) == 1


def test_from_a_sub_path_every_page_is_whole_on_a_desk_by_day(address: str) -> None:
    for seen in look([{"url": address + page, "width": 1280} for page in PAGES]):
        _check(seen, address)
        assert len(seen["requests"]) > 2 or seen["url"].endswith("404.html")


def test_the_disc_has_one_place_and_size_on_home_and_every_day(site: Path) -> None:
    sizes, pages = (360, 800, 1280, 2560), ["index.html", *DAYS]
    found = look([{"url": (site / page).as_uri(), "width": sizes[0], "widths": sizes} for page in pages])
    for number, width in enumerate(sizes):
        discs = [one["at"][number]["disc"] for one in found]
        assert discs == [discs[0]] * len(discs)
        _left, top, wide, high = discs[0]
        assert wide == pytest.approx(high, abs=0.5)
        assert wide > 0.37 * width
        # A good part of it is seen at once, before any scrolling.
        assert top < 300
    assert [at["beyond"] for one in found for at in one["at"]] == [0] * len(pages) * len(sizes)


class _WithDocument(_Quiet):
    """A host that shows the site's page for missing addresses under the address that was asked for."""

    def send_error(self, code: int, message: str | None = None, explain: str | None = None) -> None:
        page = (Path(self.directory) / "404.html").read_bytes()
        self.send_response(code)
        self.send_header("Content-Type", "text/html; charset=utf-8")
        self.send_header("Content-Length", str(len(page)))
        self.end_headers()
        self.wfile.write(page)


@pytest.mark.parametrize("known", [False, True], ids=["no address", "address"])
def test_the_page_for_missing_addresses_is_whole_at_any_depth(tmp_path: Path, known: bool) -> None:
    theme = tmp_path / "theme"
    theme.mkdir()
    # Line ends of another system, and what a style sheet names by its place beside it.
    (theme / "style.css").write_bytes(
        b"body { background-image:\r\n url('../paper.png'); }\r\nh1 { color: #010203; }\r\n"
    )
    base = '{% extends "original/base.html" %}{% block colophon %}{{ super() }}<p>Pier 4.</p>{% endblock %}'
    (theme / "base.html").write_text(base)
    with ThreadingHTTPServer(("127.0.0.1", 0), partial(_WithDocument, directory=str(tmp_path / "site"))) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        host = f"http://127.0.0.1:{server.server_address[1]}"
        content = invented_content(tmp_path / "derived", host if known else None)
        build_site(content, tmp_path / "site", theme_files=Folder(theme))
        style = f"/static/style.css?v={style_hash((tmp_path / 'site/static/style.css').read_bytes())}"
        (tmp_path / "site/paper.png").write_bytes((tmp_path / "site/static/touch-icon.png").read_bytes())
        told = (
            "[getComputedStyle(document.querySelector('h1')).color, [...document.links].map((one) => one.href),"
            " getComputedStyle(document.body).maxWidth, document.body.innerText.includes('Pier 4.')]"
        )
        depths = ("gone", "gone/", "days/2026-06-03/gone/x.html")
        found = look([{"url": f"{host}/{path}", "then": told, "axe": AXE} for path in depths])
        for seen in found:
            colour, links, width, themed = seen["then"]
            assert [one for one in seen["said"] if "404" not in one] == [], seen
            missing = [one for one in seen["said"] if one.startswith("404: ") and "favicon.ico" not in one]
            assert missing == [f"404: {seen['url']}"]  # browsers look for an icon of their own accord
            assert (colour, themed, seen["axe"], seen["broken"]) == ("rgb(1, 2, 3)", True, [], [])
            assert width.endswith("px")
            links = [link for link in links if not link.endswith("#main")]
            assert (len(links) > 10, bool(links)) == (known, known)
            for link in links:
                assert (tmp_path / "site" / link.removeprefix(f"{host}/")).is_file()
            assert (seen["fonts"] >= 1) == known
            assert {one.removeprefix(host) for one in seen["requests"][1:]} <= (
                {"/paper.png", "/static/literata.woff2", "/static/favicon.svg", style} if known else {"/favicon.ico"}
            )
        server.shutdown()


def test_a_keyboard_reaches_everything_and_shows_where_it_is(site: Path) -> None:
    pages = ["index.html", "days/2026-06-03/index.html", "days/2026/index.html", "rotations/2312/index.html"]
    for seen in look([{"url": (site / page).as_uri(), "keyboard": True} for page in pages]):
        assert seen["keyboard"]["count"] > 10
        assert seen["keyboard"]["reached"] == seen["keyboard"]["count"], seen["url"]


def test_without_scripts_every_page_still_tells_all(site: Path) -> None:
    shown = "[...document.querySelectorAll('main a, video[controls]')].filter((one) => one.checkVisibility()).length"
    box = "document.getElementById('search').checkVisibility()"
    pages = ["search/index.html", "days/2026-06-03/index.html", "films/index.html"]
    seen = look([{"url": (site / page).as_uri(), "script": False, "then": shown} for page in pages])
    assert [one["said"] for one in seen] == [[], [], []]
    # Months and years, groups, notes; the day's links and downloads; the film with its own control.
    assert [one["then"] >= least for one, least in zip(seen, (6, 8, 3), strict=True)] == [True] * 3, seen
    assert look([{"url": (site / pages[0]).as_uri(), "script": False, "then": box}])[0]["then"] is False


def test_search_finds_days_groups_and_notes_from_disk(site: Path) -> None:
    url, found = (
        (site / "search/index.html").as_uri(),
        "[...document.querySelectorAll('#results a')].map((a) => a.text)",
    )
    visits = [{"url": url, "type": ["#query", sought], "then": found} for sought in SOUGHT]
    visits[0]["axe"] = AXE
    for (sought, titles), seen in zip(SOUGHT.items(), look(visits), strict=True):
        assert seen["said"] == [], sought
        assert seen["then"] == titles, sought
        assert seen.get("axe", []) == [], sought


def test_a_search_stands_in_the_address_and_notes_are_shown_as_text(site: Path) -> None:
    kept = "[location.hash, ...['mark', 'img'].map((tag) => document.querySelectorAll(`#results ${tag}`).length)]"
    url = (site / "search/index.html").as_uri() + "#q=alert"
    (seen,) = look([{"url": url, "then": kept}])
    # The note holds a script element and a picture with a handler; here they are words.
    assert seen["then"] == ["#q=alert", 1, 1]
    assert seen["said"] == []


def test_notes_from_right_to_left_run_so_and_push_nothing_aside(site: Path) -> None:
    way = "[...document.querySelectorAll('.notes .prose > *')].map((one) => getComputedStyle(one).direction)"
    (seen,) = look([{"url": (site / DAYS[2]).as_uri(), "width": 360, "then": way}])
    assert seen["then"][0] == "rtl"
    assert (seen["beyond"], seen["wide"]) == (0, [])


def test_long_words_and_many_groups_stay_within_a_narrow_page(tmp_path: Path) -> None:
    content = invented_content(tmp_path / "derived")
    word = "Sonnenfleckenbeobachtungsgemeinschaftsarchivverwaltung"
    entries = [_wordy(entry, word) for entry in content.entries]
    info = replace(content.info, title=word, observer=word, sites=(replace(content.info.sites[0], name=word),))
    notes = {"2026-06-03": f"{word}\n\n    {word} {word}\n\n| {word} | {word} |\n|---|---|\n| 1 | 2 |\n"}
    build_site(replace(content, entries=entries, info=info, notes=notes), tmp_path / "site")
    # WCAG 2.2, 1.4.10: no scrolling in two directions at 320 CSS pixels.
    found = look([{"url": (tmp_path / "site" / page).as_uri(), "width": 320, "height": 600} for page in PAGES])
    assert [(one["url"], one["wide"]) for one in found if one["beyond"]] == []


def _wordy(entry: Entry, word: str) -> Entry:
    observation = replace(entry.observation, site=word, instrument=word)
    return replace(entry, observation=observation, warnings=(word,), advice=(("Smear at the limb", word),))


def test_a_day_prints_on_one_sheet(site: Path) -> None:
    for seen in look([{"url": (site / page).as_uri(), "print": True, "scheme": "dark"} for page in DAYS]):
        assert seen["sheets"] == 1, seen["url"]


def test_a_day_with_long_notes_prints_on_one_sheet(tmp_path: Path) -> None:
    words = "Steady air until cloud came up from the west, and a fine spot near the middle with two umbrae. "
    paragraphs = "\n\n".join([6 * words] * 5)
    items = "".join(f"- {words[:70]}\n" for _ in range(20))
    table = "| hour | seen |\n|---|---|\n" + "".join(f"| {hour}:15 | {words[:45]} |\n" for hour in range(10, 24))
    content = invented_content(tmp_path / "derived")
    notes = dict(zip((day.split("/")[1] for day in DAYS), (paragraphs, items, table), strict=True))
    build_site(replace(content, notes=notes), tmp_path / "site")
    for seen in look([{"url": (tmp_path / "site" / page).as_uri(), "print": True} for page in DAYS]):
        assert seen["sheets"] == 1, seen["url"]
    # Only what is long is drawn together.
    assert all("data-tight=" in (tmp_path / "site" / page).read_text() for page in DAYS)
    short = replace(content, notes={"2026-06-03": words})
    build_site(short, tmp_path / "site")
    assert not any("data-tight=" in (tmp_path / "site" / page).read_text() for page in DAYS)


def test_the_instrument_notices_what_is_wrong(site: Path, tmp_path: Path) -> None:
    page = tmp_path / "wrong.html"
    page.write_text(
        "<!doctype html><html><style>@media (prefers-color-scheme: light) and (min-width: 1000px)"
        "{ .pale { color: #ddd } }</style><body><p class=pale>Pale</p>"
        "<h1>One</h1><p style='margin-top:-2rem'>On top</p><img src='gone.png'>"
        "<div style='width:3000px'>wide</div><script>throw new Error('seen')</script></body></html>",
        encoding="utf-8",
    )
    asked = {"width": 360, "scheme": "dark", "axe": AXE, "contrast": {"width": 1280}}
    (seen,) = look([{"url": page.as_uri(), **asked}])
    assert any("seen" in one for one in seen["said"])
    assert any("gone.png" in one for one in seen["said"])
    assert any(one.startswith("html-has-lang") for one in seen["axe"])
    assert any(one.startswith("image-alt") for one in seen["axe"])
    assert any(one.startswith("color-contrast") and "Pale" in one for one in seen["axe"])
    assert seen["overlaps"]
    assert seen["beyond"] > 1000
