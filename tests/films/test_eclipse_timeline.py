"""The time line of an eclipse film."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from itertools import pairwise

import pytest
from films.pictures import picture_of

from archive.films.eclipse_timeline import eclipse_timeline, gap_words, picture_frames
from archive.model.observation import Observation

START = datetime(2026, 8, 12, 17, 20, tzinfo=UTC)


def pictures(*minutes: float) -> list[Observation]:
    return [picture_of(f"at {minute:g}", START + timedelta(minutes=minute)) for minute in minutes]


def test_each_picture_is_held_as_long_and_never_faded() -> None:
    specs = eclipse_timeline(pictures(0, 4, 30), "daily", frames_per_second=25, pace_s=0.4)
    assert [spec.kind for spec in specs] == ["observed"] * 30
    assert [specs[n].time_utc for n in (0, 10, 20)] == [START + timedelta(minutes=m) for m in (0, 4, 30)]
    assert picture_frames("daily", 0.4, frames_per_second=25) == {"frames_each": 10}


def test_equal_steps_of_time_show_the_nearest_picture_alone_and_tell_which_frames_are_observed() -> None:
    specs = eclipse_timeline(pictures(0, 10, 40), "smooth", frames_per_second=25, pace_s=12.0)
    steps = {later.time_utc - earlier.time_utc for earlier, later in pairwise(specs)}
    assert steps == {timedelta(seconds=12)}  # an hour in 12 s of 25 frames
    assert len(specs) == 201
    assert sum(spec.kind == "observed" for spec in specs) == 3
    assert all(len(spec.observations) == 1 for spec in specs)
    at = {spec.time_utc: spec for spec in specs}
    names = [one.id for one in pictures(0, 10, 40)]
    assert at[START + timedelta(minutes=24)].observations == (names[1],)
    assert at[START + timedelta(minutes=26)].observations == (names[2],)
    assert at[START + timedelta(minutes=26)].kind == "between"
    assert picture_frames("smooth", None, frames_per_second=25) == {"frames_a_day": 7200}


@pytest.mark.parametrize(
    ("minutes", "said"),
    [((0, 2, 4, 6), ()), ((0, 2, 4, 16, 18), ("no picture from 17:24 to 17:36 UTC (12 min)",)), ((0,), ())],
)
def test_a_gap_is_told_where_it_is_long_beside_the_usual_step(
    minutes: tuple[float, ...], said: tuple[str, ...]
) -> None:
    assert gap_words([START + timedelta(minutes=minute) for minute in minutes]) == said
