"""Captions of films in every language: their letters are in the font, and they end before the disc."""

from __future__ import annotations

from pathlib import Path

import pytest
from PIL import ImageFont

import archive.films.caption
from archive.films.caption import font_file, text_width_px
from archive.films.layout import film_layout
from archive.language import LANGUAGES, caption_words, speaking
from archive.model.choices import FilmShape

FONTS = Path(archive.films.caption.__file__).parent / "fonts"
NO_LETTER = "\uffff"


def lines(language: str) -> tuple[list[str], list[str]]:
    """Return what the first and what the second line of a caption may be."""
    with speaking(language):
        words = caption_words()
    dates = [
        words.date.format(day=28, month=month, month_number=number, year=2026) + ", 22:08 UTC"
        for number, month in enumerate(words.months, start=1)
    ]
    return dates, [words.observed, words.observed_at.format(time="22:08"), words.between, words.not_observed]


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_fonts_have_every_letter_of_the_captions(language: str) -> None:
    for text in (text for of_line in lines(language) for text in of_line):
        font = ImageFont.truetype(FONTS / font_file(text), 64)
        missing = bytes(font.getmask(NO_LETTER))
        assert not {letter for letter in text if bytes(font.getmask(letter)) == missing}, f"{text!r}: {font_file(text)}"


@pytest.mark.parametrize("shape", ["square", "wide", "tall"])
@pytest.mark.parametrize("size_px", [480, 1024, 2160])
@pytest.mark.parametrize("language", LANGUAGES)
def test_captions_end_before_the_disc(language: str, size_px: int, shape: FilmShape) -> None:
    for texts, row in zip(lines(language), film_layout(shape, size_px).caption, strict=False):
        for text in texts:
            assert text_width_px(text, row.font_px) <= row.box.right - row.box.left, text
