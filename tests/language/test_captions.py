"""Captions of films in every language: their letters are in the font, and they end before the disc."""

from __future__ import annotations

from pathlib import Path

import pytest
from PIL import ImageFont

import archive.films.caption
from archive.films.caption import caption_rows_px, font_file, text_width_px
from archive.language import LANGUAGES, caption_words, speaking

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


@pytest.mark.parametrize("size_px", [480, 1024, 2160])
@pytest.mark.parametrize("language", LANGUAGES)
def test_captions_end_before_the_disc(language: str, size_px: int) -> None:
    for texts, box in zip(lines(language), caption_rows_px(size_px), strict=True):
        for text in texts:
            assert text_width_px(text, size_px) <= box.right - box.left, text
