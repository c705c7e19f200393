"""Every word that the desk's pages, scripts and answers show is a message of its catalogues."""

from __future__ import annotations

import io
import re
from functools import cache

import catalogues
import pseudo
import pytest
from babel.messages.catalog import Catalog
from babel.messages.pofile import write_po

from archive.desk.beginning import PAGES as NEW_PAGES
from archive.desk.pages import PAGES, page_html, static_file
from archive.desk.plain_words import told
from archive.language import LANGUAGES, check_catalogue, speaking, translated_script
from archive.language.recognition import LINE
from archive.templates_folder import templates_dir

OTHERS = sorted(set(LANGUAGES) - {"en"})
SCRIPTS = sorted(path.name for path in (templates_dir() / "desk" / "static").glob("*.js"))
# Kinds of hosts and programs by their own names, what is typed as it stands, the languages by their own names.
OWN = {
    "SFTP", "ssh", "rsync", "FTP", "WebDAV", "git", "https", "Zip", "UTC", "Markdown", "CMD", "MSH",
    "CC-BY-4.0", "smoothed.csv", "sun@example.org", "example.org", "pages", "web", "eu-central-1",
    "https://example.org/sun/", "https://objects.example.org", *LANGUAGES.values(),
}  # fmt: skip
# States and deeds that the pages exchange with the server, and lists of classes and selectors.
_CODE = {
    "in order", "left out", "not counted", "north unknown", "leave north", "spot after all", "add spot", "remove group",
    "groups as measured", "count as measured", "prefers-reduced-motion: reduce",
    "ground natural", "told refused", "piece otherwise", "handle unknown", "Enter", "Delete", "Backspace", "Escape",
}  # fmt: skip
_LITERAL = re.compile(r'(?P<before>[\w.]*[:(,]? ?)(?P<text>"(?:[^"\\\n]|\\.)*"|`(?:[^`\\]|\\.)*`)')
_SENTENCE = re.compile(r"[A-Za-z]{2,} [a-z]{2,}|^[A-Z][a-z]{2,}$")


@cache
def source() -> bytes:
    """Return the catalogue of a language whose every message, of the site and of the desk, is in marks."""
    catalogue = Catalog(locale=pseudo.LANGUAGE, fuzzy=False)
    for message in (*catalogues.gathered("site"), *catalogues.gathered("desk")):
        if message.id:
            one = isinstance(message.id, str)
            words = pseudo.marked(message.id) if one else tuple([pseudo.marked(message.id[1])] * catalogue.num_plurals)
            catalogue.add(message.id, words, context=message.context)
    written = io.BytesIO()
    write_po(written, catalogue)
    return written.getvalue()


def test_no_page_of_the_desk_shows_a_word_that_is_in_no_catalogue() -> None:
    page_html.__globals__["_page_html"].cache_clear()
    with speaking(pseudo.LANGUAGE, source()):
        pages = {name: page_html(name).decode() for name in {*PAGES.values(), *NEW_PAGES.values()}}
    page_html.__globals__["_page_html"].cache_clear()
    # A field within a sentence ends no line.
    pages["films"] = re.sub(r'<input name="film.days"[^>]*>', "", pages["films"])
    strange = [f"{name}: {words}" for name, page in pages.items() for words in pseudo.strange_words(page, OWN)]
    assert len(pages) == 8
    assert not strange, "say these by _() in the template:\n" + "\n".join(strange)


@pytest.mark.parametrize("name", SCRIPTS)
def test_no_script_of_the_desk_says_a_word_that_is_in_no_catalogue(name: str) -> None:
    script = (templates_dir() / "desk" / "static" / name).read_text(encoding="utf-8")
    assert not words_in_no_catalogue(script)


def words_in_no_catalogue(script: str) -> list[str]:
    with speaking(pseudo.LANGUAGE, source()):
        said = translated_script(script)
    # What is left of a call is one that the translation did not understand.
    found = re.findall(r"(?<![\w.])(?:_|ngettext)\(.*", said)
    said = re.sub(r"^\s*(?://.*|/\*\*.*|import .*|\s\*.*)$", "", said, flags=re.MULTILINE)
    for literal in _LITERAL.finditer(said):
        text = re.sub(r"\$\{[^}]*\}", "", pseudo.unmarked(literal["text"][1:-1]))
        is_code = literal["before"].rstrip(" ").endswith(("class:", "querySelector(", "querySelectorAll(", "closest("))
        if not is_code and text not in _CODE and not text.startswith("<svg") and _SENTENCE.search(text):
            found.append(text)
    return found


def test_the_test_sees_words_of_a_script_that_are_in_no_catalogue() -> None:
    assert words_in_no_catalogue('say("All is well"); say(_("Not a message of ours"));') == ["All is well"] * 1 + [
        "Not a message of ours"
    ]
    assert words_in_no_catalogue("say(_('in other quotes'));")
    assert not words_in_no_catalogue('say(_("Taken out")); element("p", { class: "small words" });')


@pytest.mark.parametrize("language", OTHERS)
def test_a_catalogue_of_the_desk_is_as_the_messages_are(language: str) -> None:
    found = (catalogues.FOLDERS["desk"] / f"{language}.po").read_bytes()
    updated = catalogues.updated(language, catalogues.gathered("desk"), "desk")
    assert found.decode() == updated.decode(), "run tests/catalogues.py"


@pytest.mark.parametrize("language", OTHERS)
def test_every_message_of_the_desk_has_words_with_its_placeholders(language: str) -> None:
    messages = [one for one in catalogues.read_catalogue(language, "desk") if one.id]
    assert not check_catalogue(messages)
    own = [one for one in messages if one.context != LINE]
    gaps = [one.id for one in own if not all([one.string] if isinstance(one.string, str) else one.string)]
    if len(gaps) == len(own):
        pytest.skip("nobody has begun to translate it")
    assert not gaps, f"desk/{language}.po: without words: {gaps[:20]}"


def test_a_script_is_served_in_the_language_that_is_spoken() -> None:
    with speaking("de", part="desk"):
        german = static_file("desk.js")
    english = static_file("desk.js")
    assert german is not None
    assert english is not None
    assert "Die Website ist aktuell" in german[0].decode()
    assert "The site is up to date" in english[0].decode()


def test_a_line_of_a_command_is_told_in_the_language_with_what_was_filled_in() -> None:
    line = "archive.toml: sites[1].latitude_deg = 95: must be at most 90"
    assert told(line) == line
    with speaking("de", part="desk"):
        assert told(line) == "archive.toml: sites[1].latitude_deg = 95: darf höchstens 90 sein"
        assert told("title, observer") == "Titel, Beobachter"
        assert told("what nobody says: 12") == "what nobody says: 12"
