"""The time line of the daily film. Facts counted by hand from the seconds and the frames a second."""

from datetime import UTC, datetime, timedelta

import pytest

from archive.errors import FactsError
from archive.films.timeline import Sighting, daily_timeline

FIRST = Sighting("2026-06-03T0915Z", datetime(2026, 6, 3, 9, 15, tzinfo=UTC))
SECOND = Sighting("2026-06-05T1000Z", datetime(2026, 6, 5, 10, 0, tzinfo=UTC))
THIRD = Sighting("2026-06-06T0800Z", datetime(2026, 6, 6, 8, 0, tzinfo=UTC))


def test_three_sightings_are_held_and_cross_faded_in_order_of_time():
    specs = daily_timeline([THIRD, FIRST, SECOND], frames_per_second=10, hold_s=0.8, fade_s=0.5)
    runs = "".join(spec.kind[0] for spec in specs)
    assert runs == "o" * 8 + "b" * 5 + "o" * 8 + "b" * 5 + "o" * 8
    assert [spec.index for spec in specs] == list(range(34))
    assert specs[0].observations == (FIRST.observation_id,)
    assert specs[8].observations == (FIRST.observation_id, SECOND.observation_id)
    assert specs[-1].observations == (THIRD.observation_id,)


def test_held_frames_bear_the_time_of_their_observation():
    specs = daily_timeline([FIRST, SECOND])
    times = {spec.time_utc for spec in specs if spec.kind == "observed"}
    assert times == {FIRST.time_utc, SECOND.time_utc}


def test_times_of_a_cross_fade_run_linearly_between_the_two():
    # 48 h 45 min in six equal steps of 8 h 7 min 30 s.
    fade = [spec for spec in daily_timeline([FIRST, SECOND], frames_per_second=10) if spec.kind == "between"]
    step = timedelta(hours=8, minutes=7, seconds=30)
    assert [spec.time_utc for spec in fade] == [FIRST.time_utc + step * n for n in range(1, 6)]


def test_weight_rises_slowly_at_both_ends_and_is_half_in_the_middle():
    weights = [s.weight for s in daily_timeline([FIRST, SECOND], frames_per_second=30) if s.kind == "between"]
    steps = [b - a for a, b in zip([0, *weights], [*weights, 1], strict=True)]
    assert all(step > 0 for step in steps)
    assert steps[0] < steps[len(steps) // 2] / 3
    assert weights[len(weights) // 2] == pytest.approx(0.5)
    assert steps == pytest.approx(steps[::-1])


def test_a_single_sighting_gives_a_still_film_twice_as_long():
    specs = daily_timeline([FIRST], frames_per_second=25, hold_s=0.8)
    assert len(specs) == 40
    assert {(spec.kind, spec.observations) for spec in specs} == {("observed", (FIRST.observation_id,))}


def test_without_sightings_there_is_no_film():
    with pytest.raises(FactsError, match="choose a longer one"):
        daily_timeline([])


def test_a_time_without_its_zone_is_refused():
    naive = Sighting("x", FIRST.time_utc.replace(tzinfo=None))
    with pytest.raises(ValueError, match="aware UTC"):
        daily_timeline([naive])
