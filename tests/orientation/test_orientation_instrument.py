"""An instrument's history: pictures solved together, and the camera angle by epochs."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from itertools import pairwise

import numpy as np
import pytest

from archive.model.angles import difference_deg
from archive.orientation.instrument import Block, CameraAngle, epoch_at, learn_epochs, split_into_blocks

ZERO = datetime(1970, 1, 1, tzinfo=UTC)


def some_times(seed: int, *, count: int = 150, days: int = 200) -> list[float]:
    """Ascending; some days have several pictures, some weeks a dozen, some none."""
    rng = np.random.default_rng([seed, 80])
    return sorted((20000.0 + rng.integers(0, days, count) ** 1.05 + rng.uniform(0.3, 0.7, count)).tolist())


def week_of(time_days: float) -> tuple[int, int]:
    """Year and week by ISO 8601, whose weeks begin on Monday: the calendar's own."""
    return (ZERO + timedelta(days=time_days)).isocalendar()[:2]


@pytest.mark.parametrize("seed", range(5))
def test_every_picture_is_solved_for_in_exactly_one_block(seed: int) -> None:
    times = some_times(seed)
    own = [index for block in split_into_blocks(times) for index in block.own]
    assert sorted(own) == list(range(len(times)))


@pytest.mark.parametrize("seed", range(5))
def test_blocks_are_small_parts_of_calendar_weeks_with_near_neighbours(seed: int) -> None:
    times = some_times(seed)
    blocks = split_into_blocks(times)
    assert len({block.name for block in blocks}) == len(blocks)
    for block in blocks:
        assert len({week_of(times[index]) for index in block.own}) == 1
        assert len(block.own) <= 10
        assert len(block.context) <= 6
        assert not set(block.own) & set(block.context)
        first, last = times[block.own[0]], times[block.own[-1]]
        for index in block.context:
            assert first - 5.0 <= times[index] <= last + 5.0
            others = (*block.own, *(other for other in block.context if other != index))
            assert min(abs(times[index] - times[other]) for other in others) >= 0.5


def as_times(blocks: list[Block], times: list[float]) -> dict[str, tuple[tuple[float, ...], tuple[float, ...]]]:
    return {
        block.name: (tuple(times[index] for index in block.own), tuple(times[index] for index in block.context))
        for block in blocks
    }


@pytest.mark.parametrize("seed", range(5))
def test_one_more_picture_changes_only_its_week_and_the_two_beside(seed: int) -> None:
    times = some_times(seed)
    new = float(np.random.default_rng([seed, 81]).uniform(times[0], times[-1]))
    longer = sorted([*times, new])
    before, after = as_times(split_into_blocks(times), times), as_times(split_into_blocks(longer), longer)
    changed = {name for name in before.keys() | after.keys() if before.get(name) != after.get(name)}
    touched = {week_of(new + 7.0 * side) for side in (-1, 0, 1)}
    assert changed
    for name in changed:
        own, _ = after[name] if name in after else before[name]
        assert week_of(own[0]) in touched


def test_no_pictures_make_no_blocks() -> None:
    assert split_into_blocks([]) == []


def angles(*values_deg: float, sigma_deg: float = 0.2, mirrored: bool = False, since: float = 0.0) -> list[CameraAngle]:
    """One a day."""
    return [CameraAngle(since + day, value, sigma_deg, mirrored) for day, value in enumerate(values_deg)]


def scattered(about_deg: float, *, count: int, since: float = 0.0, rms_deg: float = 0.6) -> list[CameraAngle]:
    rng = np.random.default_rng([count, 82])
    values_deg = (about_deg + rng.normal(scale=rms_deg, size=count) + 180.0) % 360.0 - 180.0
    return angles(*values_deg.tolist(), since=since)


def test_a_camera_that_stays_is_one_epoch() -> None:
    (epoch,) = learn_epochs(scattered(37.0, count=200))
    assert (epoch.since_days, epoch.until_days, epoch.pictures, epoch.mirrored) == (0.0, None, 192, False)
    # The mean of 192 is good to 0.6 / sqrt(192) = 0.04 deg; the scatter, from the median deviation, to a tenth. What
    # is taught is rounded to a tenth, the error upwards.
    assert abs(epoch.angle_deg - 37.0) < 0.2
    assert epoch.sigma_deg == 0.1
    assert epoch.scatter_deg == pytest.approx(np.sqrt(0.6**2 - 0.2**2), abs=0.12)


def test_a_camera_put_back_at_another_angle_begins_an_epoch() -> None:
    before, after = scattered(30.0, count=12), scattered(50.0, count=8, since=12.0)
    first, second = learn_epochs([*before, *after])
    assert (first.pictures, second.pictures) == (12, 8)
    assert first.until_days == second.since_days == 12.0
    assert second.until_days is None
    assert first.angle_deg == pytest.approx(30.0, abs=0.8)
    assert second.angle_deg == pytest.approx(50.0, abs=0.8)


@pytest.mark.parametrize("place", [0, 5, 11])
def test_one_outlier_begins_none_and_joins_none(place: int) -> None:
    run = scattered(30.0, count=12)
    run[place] = CameraAngle(float(place), 110.0, 0.2, False)
    (epoch,) = learn_epochs(run)
    assert epoch.pictures == 8  # of eleven, those that count
    assert epoch.angle_deg == pytest.approx(30.0, abs=0.8)


def test_outliers_that_differ_from_each_other_begin_none() -> None:
    run = scattered(30.0, count=12)
    run[5:7] = angles(110.0, -70.0, since=5.0)
    assert [epoch.pictures for epoch in learn_epochs(run)] == [8]


def test_a_small_jump_is_scatter() -> None:
    """Two degrees are within what levelling does; they are not distinguished from it."""
    assert len(learn_epochs([*scattered(30.0, count=8), *scattered(32.0, count=8, since=8.0)])) == 1


def test_the_circle_closes_at_180_deg() -> None:
    (epoch,) = learn_epochs(scattered(179.9, count=60))
    assert abs(difference_deg(epoch.angle_deg, 179.9)) < 0.3
    assert -180.0 < epoch.angle_deg <= 180.0
    assert epoch.scatter_deg < 1.0


def test_a_changed_mirroring_begins_an_epoch_at_the_same_angle() -> None:
    first, second = learn_epochs([*angles(30.0, 30.1, 29.9), *angles(30.0, 30.1, since=3.0, mirrored=True)])
    assert (first.mirrored, second.mirrored) == (False, True)
    assert second.since_days == 3.0


def test_pictures_with_small_errors_have_more_weight() -> None:
    sure = [CameraAngle(float(day), 30.0, 0.1, False) for day in range(4)]
    unsure = [CameraAngle(4.0 + day, 45.0, 5.0, False) for day in range(4)]
    (epoch,) = learn_epochs([*sure, *unsure])
    # By hand: weights 1 / (0.1^2 + 0.7^2) and 1 / (5^2 + 0.7^2), so 30 + 15 x 0.0192 = 30.29.
    assert epoch.angle_deg == 30.3


def test_an_epochs_angle_changes_seldom_as_it_grows() -> None:
    """Each change re-orients all its pictures: twice for each doubling, in a year at most seventeen times."""
    run = scattered(37.0, count=200)
    taught = [learn_epochs(run[:count])[0] for count in range(1, len(run) + 1)]
    changes = [count for count, (one, next_one) in enumerate(pairwise(taught), 1) if one != next_one]
    # At 2, 3, 4, 6, 8, 12 ... pictures: twice for each doubling.
    assert set(changes) <= {2**power * part // 2 - 1 for power in range(10) for part in (2, 3)}
    for count, epoch in enumerate(taught, 1):
        assert 3 * epoch.pictures >= 2 * count
        # Three errors of the mean, and what is lost by rounding; a stray joins none of these.
        assert abs(epoch.angle_deg - 37.0) <= 3.0 * float(np.hypot(epoch.sigma_deg, 0.05))


def test_every_time_has_its_epoch() -> None:
    epochs = learn_epochs([*angles(30.0, 30.0, 30.0, since=10.0), *angles(60.0, 60.0, since=20.0)])
    assert [getattr(epoch_at(epochs, day), "angle_deg", None) for day in (0.0, 10.0, 19.9, 20.0, 500.0)] == (
        pytest.approx([30.0, 30.0, 30.0, 60.0, 60.0])
    )


def test_no_angles_give_no_epochs() -> None:
    assert learn_epochs([]) == ()
    assert epoch_at((), 12.0) is None
