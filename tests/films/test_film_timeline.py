"""The time lines of films. Facts counted by hand from the seconds and the frames a second."""

from datetime import UTC, datetime, timedelta
from itertools import pairwise

import pytest
from films.pictures import picture_of

from archive.errors import FactsError
from archive.films.timeline import MAX_FRAMES, daily_timeline, smooth_timeline

FIRST = picture_of("2026-06-03T0915Z", datetime(2026, 6, 3, 9, 15, tzinfo=UTC))
SECOND = picture_of("2026-06-05T1000Z", datetime(2026, 6, 5, 10, 0, tzinfo=UTC))
THIRD = picture_of("2026-06-06T0800Z", datetime(2026, 6, 6, 8, 0, tzinfo=UTC))


def test_three_sightings_are_held_and_cross_faded_in_order_of_time():
    specs = daily_timeline([THIRD, FIRST, SECOND], frames_per_second=10, hold_s=0.8, fade_s=0.5)
    runs = "".join(spec.kind[0] for spec in specs)
    assert runs == "o" * 8 + "b" * 5 + "o" * 8 + "b" * 5 + "o" * 8
    assert [spec.index for spec in specs] == list(range(34))
    assert specs[0].observations == (FIRST.id,)
    assert specs[8].observations == (FIRST.id, SECOND.id)
    assert specs[-1].observations == (THIRD.id,)


def test_held_frames_have_the_time_of_their_observation():
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
    assert {(spec.kind, spec.observations) for spec in specs} == {("observed", (FIRST.id,))}


def test_without_sightings_there_is_no_film():
    with pytest.raises(FactsError, match="choose a longer one"):
        daily_timeline([])


def test_a_time_without_its_zone_is_refused():
    naive = picture_of("x", FIRST.time_utc.replace(tzinfo=None))
    with pytest.raises(ValueError, match="aware UTC"):
        daily_timeline([naive])


def test_a_smooth_film_steps_evenly_from_first_to_last():
    # 24 h in 2 s at 25 frames a second: a frame each 28 min 48 s. 2 d 22 h 45 min are 147.4 steps.
    specs = smooth_timeline([THIRD, FIRST, SECOND])
    assert {b.time_utc - a.time_utc for a, b in pairwise(specs)} == {timedelta(minutes=28, seconds=48)}
    assert specs[0].time_utc == FIRST.time_utc
    assert [spec.index for spec in specs] == list(range(148))


def test_the_frame_nearest_to_each_sighting_is_the_observed_one():
    specs = smooth_timeline([FIRST, SECOND, THIRD])
    observed = {spec.observations: spec.time_utc for spec in specs if spec.kind == "observed"}
    assert list(observed) == [(sighting.id,) for sighting in (FIRST, SECOND, THIRD)]
    own = [spec.observed_utc for spec in specs if spec.kind == "observed"]
    assert own == [sighting.time_utc for sighting in (FIRST, SECOND, THIRD)]
    for sighting in (FIRST, SECOND, THIRD):
        assert abs(observed[sighting.id,] - sighting.time_utc) <= timedelta(minutes=14, seconds=24)


def test_frames_between_name_the_sightings_around_them_and_share_linearly_in_time():
    specs = smooth_timeline([FIRST, SECOND], frames_per_second=10, day_s=1)
    between = [spec for spec in specs if spec.kind == "between"]
    assert {spec.observations for spec in between} == {(FIRST.id, SECOND.id)}
    # Steps of 2 h 24 min in 48 h 45 min.
    assert [spec.weight for spec in between] == pytest.approx([n * 2.4 / 48.75 for n in range(1, 20)])


def test_beyond_the_reach_no_sighting_is_named():
    later = picture_of("later", FIRST.time_utc + timedelta(days=10))
    specs = smooth_timeline([FIRST, later], frames_per_second=4, day_s=1, reach_days=3)
    names = [spec.observations for spec in specs]
    # Four frames a day; exactly three days away is out of reach.
    assert names == [(FIRST.id,)] * 12 + [()] * 17 + [("later",)] * 12


def test_two_sightings_on_one_frame_leave_it_to_the_nearer():
    near = picture_of("near", FIRST.time_utc + timedelta(hours=24, minutes=1))
    far = picture_of("far", FIRST.time_utc + timedelta(hours=24, minutes=9))
    specs = smooth_timeline([FIRST, far, near])
    assert [spec.observations for spec in specs if spec.kind == "observed"] == [(FIRST.id,), ("near",)]


def test_a_single_sighting_makes_two_still_seconds_of_smooth_film():
    specs = smooth_timeline([FIRST], frames_per_second=25)
    assert len(specs) == 50
    assert {(spec.kind, spec.time_utc) for spec in specs} == {("observed", FIRST.time_utc)}


def test_a_film_of_two_centuries_is_refused_before_a_frame_is_made():
    first, last = (picture_of(str(year), datetime(year, 1, 1, tzinfo=UTC)) for year in (1900, 2099))
    with pytest.raises(
        FactsError, match=r"^film: 3634200 frames from 1900-01-01 to 2099-01-01 \(50 a day\), but the limit is 100000"
    ):
        smooth_timeline([first, last])  # 72684 days of 50 frames
    assert len(smooth_timeline([first, picture_of("1905", datetime(1905, 1, 1, tzinfo=UTC))])) < MAX_FRAMES
    many = [picture_of(f"{number:05}", first.time_utc + timedelta(days=number)) for number in range(4001)]
    with pytest.raises(FactsError, match=r"^film: 100025 frames .* \(25 each\), but .* a smaller --pace$"):
        daily_timeline(many, hold_s=0.6, fade_s=0.4)
    assert len(daily_timeline(many[:4000], hold_s=0.6, fade_s=0.4)) <= MAX_FRAMES
