"""The catalogues hold every message there is, with its placeholders; what the stages tell is among them."""

from __future__ import annotations

import re
from pathlib import Path

import catalogues
import pseudo
import pytest

import archive
from archive.disk import Folder
from archive.language import LANGUAGES, check_catalogue, gettext, kept_title, kept_words, speaking
from archive.language.kept_words import KEPT
from archive.website.theme import read_theme

OTHERS = sorted(set(LANGUAGES) - {"en"})
PACKAGE = Path(archive.__file__).parent


@pytest.fixture(scope="module")
def template() -> catalogues.Catalog:
    return catalogues.gathered()


@pytest.mark.parametrize("language", OTHERS)
def test_a_catalogue_is_as_the_messages_are(language: str, template: catalogues.Catalog) -> None:
    found = (catalogues.LOCALE / f"{language}.po").read_bytes()
    assert found.decode() == catalogues.updated(language, template).decode(), "run tests/catalogues.py"


@pytest.mark.parametrize("language", OTHERS)
def test_every_message_has_words_with_its_placeholders(language: str) -> None:
    catalogue = catalogues.read_catalogue(language)
    messages = [one for one in catalogue if one.id]
    assert not check_catalogue(messages)
    gaps = catalogues.gaps(catalogue)
    if len(gaps) == len(messages):
        pytest.skip("nobody has begun to translate it")
    assert not gaps, f"{language}.po: without words: {gaps[:20]}"


def test_a_gap_and_a_wrong_placeholder_are_seen() -> None:
    catalogue = catalogues.Catalog(locale="de")
    catalogue.add("{n} of 5", "{m} von 5")
    catalogue.add("Here", "")
    catalogue.add(("{n} day", "{n} days"), ("ein Tag", "{n} Tage"))
    catalogue.add(("{n} spot", "{n} spots"), ("{n} Fleck", ""))
    assert catalogues.gaps(catalogue) == ["Here", "('{n} spot', '{n} spots')"]
    (mistake,) = check_catalogue(catalogue)
    assert "'{m} von 5' does not have {n}" in mistake


def test_all_code_that_may_hold_messages_is_read(template: catalogues.Catalog) -> None:
    for words in ("North measured.", "Play or pause", "Skip to the content", ("{n} match", "{n} matches")):
        assert template.get(words) is not None


def test_a_kept_sentence_is_one_that_a_stage_tells() -> None:
    # Its fixed words stand in the sources of rooms below, if in several strings.
    rooms = ("stages", "orientation", "measuring", "model", "website")
    texts = [path.read_text(encoding="utf-8") for room in rooms for path in sorted((PACKAGE / room).rglob("*.py"))]
    plain = words_alone(" ".join(re.sub(r'"\s*\n\s*f?"', "", text) for text in texts))
    pieces = [piece for sentence in KEPT for piece in re.split(r"\{\w+\}", sentence)]
    parts = {
        part for piece in pieces for part in re.split(r"[:;,] | pictures? | (?=is outside|only|earlier|later)", piece)
    }
    assert not {part for part in parts if words_alone(part).strip() not in plain}


def words_alone(text: str) -> str:
    return re.sub(r"\W+", " ", text)


@pytest.mark.parametrize(
    ("told", "shown"),
    [
        ("stated by the observer", "⟦stated by the observer⟧"),
        (
            "The spots leave two solutions for north: +1.5° mirrored, or −2.5°; more days may decide.",
            "⟦The spots leave two solutions for north: ⟦+1,5° mirrored⟧, or −2,5°; more days may decide⟧.",
        ),
        ("camera angle +1.2 deg learned from 3 pictures solved by spots",
         "⟦camera angle +1,2° learned from 3 pictures solved by spots⟧"),
        ("Its spots fit better about 2 hours later; is the time right?",
         "⟦Its spots fit better about 2 hours later; is the time right?⟧"),
        ("12 s (1 px of blur)", "⟦12 s (1 px of blur)⟧"),
        ("0.12 px (0.34″)", "0,12 px (0,34″)"),
        ("my own words, 1.5", "my own words, 1.5"),
    ],
)  # fmt: skip
def test_what_a_stage_has_told_is_told_in_another_language(told: str, shown: str) -> None:
    with speaking(pseudo.LANGUAGE, pseudo.source()):
        assert kept_words(told).casefold() == shown.casefold()
        assert kept_title("The last 8 days observed, H-alpha, smooth rotation") == (
            "⟦The last 8 days observed⟧, ⟦H-alpha⟧, ⟦smooth rotation⟧"
        )
    assert kept_words(told) == told


def test_a_theme_brings_words_of_its_own(tmp_path: Path) -> None:
    (tmp_path / "locale").mkdir()
    (tmp_path / "locale/en.po").write_text('msgid "Latest"\nmsgstr "Newest"\n', encoding="utf-8")
    with speaking("en", read_theme(Folder(tmp_path)).catalogue("en")):
        assert [gettext(words) for words in ("Latest", "Days")] == ["Newest", "Days"]
