"""Numbers in the README's sentences are those of the code; limits have tests of their own."""

from __future__ import annotations

import click
import pytest

from archive.commands.film import film
from archive.execution import executor, in_flight, progress
from archive.films import annotations
from archive.measuring import detail
from archive.publishing import address
from archive.records import capture_time
from archive.records.settings import Settings
from archive.site_tree import place, update
from archive.stages import counting, overlay
from archive.website import year_page
from readme.text import README, block_with

PROSE = " ".join(README.split())
FILM = {option.name: option for option in film.params if isinstance(option, click.Option)}
WORDS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")
SAID = [
    f"waits for it, {WORDS[round(progress.WAIT_S / 60)]} minutes at most",
    f"Sources that differ by more than {'a minute' if capture_time._DISAGREEMENT_S == 60 else '?'} are reported",
    f"camera's frame on {WORDS[counting._DAYS_OF_DUST + 1]} days are dust",  # one that it is on, and so many more
    f"too small or too soft for spots of {detail._UNCOUNTABLE_MSH:.0f} millionths",
    f"one that shows none under {detail._SOFT_MSH:.0f} says so",
    f"a line every {overlay._GRID_STEP_DEG} degrees",
    f"latitude and longitude every {annotations._GRID_STEP_DEG} degrees",
    f"in rows of {year_page._ROW_DAYS} days",
    f"From {WORDS[executor._FEW]} new pictures on",
    f"over {in_flight.MOST_BYTES // 2**20} MB (some ",
    f"is tried {WORDS[len(place._WAITS_S) + 1]} times",
    f"more than {update._FOLDERS_LOOKED_INTO} folders",
    f"(`{address._BRANCH}` unless you name one)",
    f"`published_site_precision_deg`, {Settings.model_fields['published_site_precision_deg'].default} degrees unless",
]


@pytest.mark.parametrize("words", SAID)
def test_a_number_in_a_sentence_is_that_of_the_code(words: str) -> None:
    assert words in PROSE


def test_ranges_of_film_keys_are_those_of_the_options() -> None:
    films = block_with("format = 1").text.partition("[[films]]")[2]
    size, reach = FILM["size_px"].type, FILM["reach_days"].type
    assert isinstance(size, click.IntRange)
    assert isinstance(reach, click.FloatRange)
    assert f"# the shorter side; {size.min} to {size.max}\n" in films
    assert f"at most {reach.max:g}\n" in films
