"""The observer's own templates and style: they stand in for ours, and a mistake in them is one clear line."""

from __future__ import annotations

from pathlib import Path

import pytest

from archive.disk import Folder
from archive.errors import SettingsError
from archive.website.content import Content
from archive.website.theme import NO_THEME, read_theme
from website.invented import build_site, record_of
from website.read_pages import page_text


def _themed(content: Content, tmp_path: Path, **files: str | bytes) -> Path:
    theme = tmp_path / "theme"
    theme.mkdir()
    for name, text in files.items():
        data = text if isinstance(text, bytes) else text.encode()
        (theme / name.replace("_dot_", ".")).write_bytes(data)
    build_site(content, tmp_path / "themed", theme_files=Folder(theme))
    return tmp_path / "themed"


def test_a_style_sheet_comes_after_ours_and_changes_its_mark(content: Content, site: Path, tmp_path: Path) -> None:
    themed = _themed(content, tmp_path, style_dot_css=":root { --accent: #006; }\n")
    ours = (site / "static/style.css").read_bytes()
    assert (themed / "static/style.css").read_bytes() == ours + b"\n:root { --accent: #006; }\n"
    assert (themed / "index.html").read_text() != (site / "index.html").read_text()


def test_a_template_can_extend_the_one_it_stands_in_for(content: Content, site: Path, tmp_path: Path) -> None:
    base = '{% extends "original/base.html" %}{% block colophon %}{{ super() }}<p>Pier 4.</p>{% endblock %}'
    themed = _themed(content, tmp_path, base_dot_html=base)
    for page in ("index.html", "days/2026-06-03/index.html", "charts/index.html"):
        assert page_text(themed, page) == page_text(site, page).rstrip() + " Pier 4. "


def test_a_fragment_alone_can_be_changed(content: Content, tmp_path: Path) -> None:
    themed = _themed(content, tmp_path, _groups_dot_html="<p>Ask me about groups.</p>")
    assert "Ask me about groups." in page_text(themed, "days/2026-06-03/index.html")


def test_what_a_template_includes_may_change_alone(content: Content, tmp_path: Path) -> None:
    base = '{% extends "original/base.html" %}{% block colophon %}{% include "parts/pier.txt" %}{% endblock %}'
    theme = tmp_path / "theme"
    (theme / "parts").mkdir(parents=True)
    (theme / "base.html").write_text(base)
    for words in ("Pier 4.", "Pier 5."):
        (theme / "parts" / "pier.txt").write_text(words)
        build_site(content, tmp_path / "themed", theme_files=Folder(theme))
        for page in ("index.html", "days/2026-06-03/index.html"):
            assert words in page_text(tmp_path / "themed", page)


def test_without_a_theme_nothing_changes(content: Content, site: Path, tmp_path: Path) -> None:
    assert build_site(content, site, record=record_of(site), theme_files=Folder(tmp_path / "none")).written == 0


@pytest.mark.parametrize(
    ("name", "text", "line"),
    [
        (
            "day.html",
            "<p>\n{% if page.views %}",
            r"theme/day\.html: line 2: Unexpected end of template.*; correct it, or remove",
        ),
        ("day.html", "<p>\n{{ page.weather }}", r"theme/day\.html: line 2: .* has no attribute 'weather'; correct"),
        ("base.html", "{{ 1 / 0 }}", r"theme/base\.html: line 1: division by zero; correct"),
        (
            "home.html",
            '\n\n{% extends "own.html" %}',
            r"theme/home\.html: line 3: there is no template 'own\.html'; correct",
        ),
        ("_plate.html", "{{ view.time | shout }}", r"theme/_plate\.html: line 1: No filter named 'shout'"),
        ("day.html", b"\xff\xfe<p>", r"theme/day\.html: not text in UTF-8 \(invalid start byte\); save it as UTF-8"),
        (
            "base.html",
            '{% extends "original/base.html" %}\n{% block colofon %}x{% endblock %}',
            r"theme/base\.html: line 2: there is no block 'colofon' .*; did you mean 'colophon'\?; correct it, or",
        ),
        (
            "day.html",  # the blocks of base.html, two templates above
            '{% extends "original/day.html" %}{% block qqqq %}{% endblock %}',
            r"theme/day\.html: line 1: there is no block 'qqqq' .*; known are colophon, content, head; correct it",
        ),
        (
            "dayz.html",
            "<p>",
            r"theme/dayz\.html: there is no template of this name to stand in for; did you mean day\.html\?",
        ),
    ],
)
def test_a_broken_template_is_one_clear_line_and_the_site_stays(
    content: Content, site: Path, tmp_path: Path, name: str, text: str | bytes, line: str
) -> None:
    before = (site / "index.html").read_bytes()
    theme = tmp_path / "theme"
    theme.mkdir()
    (theme / name).write_bytes(text if isinstance(text, bytes) else text.encode())
    with pytest.raises(SettingsError, match=line) as refused:
        build_site(content, site, theme_files=Folder(theme))
    assert "\n" not in str(refused.value)
    assert (site / "index.html").read_bytes() == before


def test_blocks_that_are_there_or_ones_own_are_no_mistake(content: Content, tmp_path: Path) -> None:
    base = (
        '{% extends "original/base.html" %}{% block head %}<meta name="a" content="b">{% endblock %}'
        "{% block colophon %}{{ super() }}{% block pier %}<p>Pier 4.</p>{% endblock %}{% endblock %}"
    )
    day = '{% extends "original/day.html" %}{% block pier %}<p>Pier 5.</p>{% endblock %}'
    fragment = "{% block own %}<p>Ask me about groups.</p>{% endblock %}"
    themed = _themed(content, tmp_path, base_dot_html=base, day_dot_html=day, _groups_dot_html=fragment)
    assert "Pier 4." in page_text(themed, "index.html")
    text = page_text(themed, "days/2026-06-03/index.html")
    assert ("Pier 5." in text, "Pier 4." in text, "Ask me about groups." in text) == (True, False, True)


def test_each_unknown_block_is_told(content: Content, tmp_path: Path) -> None:
    two = '{% extends "original/base.html" %}{% block colofon %}{% endblock %}\n{% block hed %}{% endblock %}'
    with pytest.raises(SettingsError) as refused:
        _themed(content, tmp_path, base_dot_html=two)
    assert [cause.partition("?")[0].rpartition(" ")[2] for cause in refused.value.causes] == ["'colophon'", "'head'"]


def test_every_wrong_name_is_told(content: Content, site: Path, tmp_path: Path) -> None:
    with pytest.raises(SettingsError) as refused:
        _themed(content, tmp_path, grup_dot_html="", qqqq_dot_html="")
    assert len(refused.value.causes) == 2
    assert "did you mean group.html?" in refused.value.causes[0]
    assert "known are _course.html" in refused.value.causes[1]


def test_a_theme_that_is_a_link_stands_for_nothing(tmp_path: Path) -> None:
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    (elsewhere / "style.css").write_text("a { color: red }")
    (tmp_path / "my-sun").mkdir()
    (tmp_path / "my-sun/theme").symlink_to(elsewhere, target_is_directory=True)
    assert read_theme(Folder(tmp_path / "my-sun").below("theme")) == NO_THEME
    assert read_theme(Folder(elsewhere)) != NO_THEME
