"""Groups tracked from day to day: against two observatories' tables, and on tracks simulated by a published law."""

from __future__ import annotations

import csv
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from scenes.followed import followed_sightings
from scenes.sun_days import carrington_drift_deg_per_day

from archive.measuring.following import names_to_register
from archive.measuring.returns import with_returns
from archive.model.group import Group, NamedPosition, Sighting, named_position
from archive.model.observation import SpotGroup

TABLES = Path(__file__).resolve().parents[3] / "shared" / "real" / "tables"
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
SYNODIC_DEG_PER_DAY = 13.2


def names_of(register: Sequence[NamedPosition]) -> set[str]:
    return {named.name for named in register}


def rotation_of(time_days: float) -> int:
    """Meeus, chapter 29: the mean rotation of 27.2752316 days from JD 2398140.2270."""
    return int((time_days + 2440587.5 - 2398140.2270) / 27.2752316)


ROTATION = 2300
START = 2398140.2270 + 27.2752316 * ROTATION - 2440587.5 + 2.0  # two days into it


def sighting(day: float, latitude_deg: float, longitude_deg: float, meridian_deg: float, *, at: str = "") -> Sighting:
    """A group `day` days after START."""
    group = SpotGroup((), 100.0, 20.0, latitude_deg, longitude_deg % 360.0, meridian_deg, 0.2, 0.3)
    return Sighting(at or f"{day:07.3f}", START + day, group)


def course(
    days: Sequence[float],
    latitude_deg: float,
    longitude_deg: float,
    *,
    meridian_deg: float = -60.0,
    strays_deg: float = 0.0,
) -> list[Sighting]:
    """A group that rotates by the law; longitude and central meridian distance are those of day 0."""
    rng = np.random.default_rng([7, round(100 * longitude_deg)])
    drift = carrington_drift_deg_per_day(latitude_deg)
    return [
        sighting(
            day,
            latitude_deg + 0.4 * strays_deg * float(rng.normal()),
            longitude_deg + drift * day + strays_deg * float(rng.normal()),
            meridian_deg + (SYNODIC_DEG_PER_DAY + drift) * day,
        )
        for day in days
    ]


def followed(sightings: Sequence[Sighting], register: Sequence[NamedPosition] = ()) -> tuple[Group, ...]:
    return with_returns(followed_sightings(sightings, register=register, rotation_of=rotation_of))


def named(sightings: Sequence[Sighting], register: Sequence[NamedPosition] = ()) -> list[NamedPosition]:
    """The register after these sightings."""
    return [*register, *names_to_register(followed(sightings, register), known=names_of(register))]


def lengths(groups: Sequence[Group]) -> dict[str, int]:
    return {group.name: len(group.sightings) for group in groups}


def table(name: str) -> Path:
    if not (TABLES / name).is_file():
        pytest.skip(f"the table is not here: {TABLES / name}")
    return TABLES / name


def noaa_rows() -> list[tuple[Sighting, str]]:
    rows = []
    for line in table("usaf-noaa-groups-2010-10.txt").read_text(encoding="ascii").splitlines():
        if line.strip():
            day = datetime(int(line[0:4]), int(line[4:6]), int(line[6:8]), tzinfo=UTC) + timedelta(days=1)
            longitude, latitude, meridian = (float(line[a:b]) for a, b in ((56, 62), (62, 68), (68, 74)))
            group = SpotGroup((), float(line[39:44]), 0.0, latitude, longitude % 360.0, meridian)
            rows.append((Sighting(f"{day:%Y-%m-%d}", (day - EPOCH) / timedelta(days=1), group), line[12:20].strip()))
    return rows


def kislovodsk_rows() -> list[tuple[Sighting, str]]:
    rows = []
    with table("kislovodsk-2010-10.csv").open(encoding="utf-8", newline="") as lines:
        for row in csv.DictReader(lines):
            time_utc = datetime.fromisoformat(row["date"]).replace(tzinfo=UTC)
            longitude = float(row["long_mean"])
            meridian = (longitude - float(row["L0"]) + 180.0) % 360.0 - 180.0
            group = SpotGroup((), float(row["area"]), 0.0, float(row["lat_mean"]), longitude % 360.0, meridian)
            rows.append((Sighting(row["date"], (time_utc - EPOCH) / timedelta(days=1), group), row["group_number"]))
    return rows


def strayed(rows: list[tuple[Sighting, str]]) -> tuple[int, int]:
    """Sightings outside the largest part of their table number, and sightings of another number in a group."""
    number_of = {id(one): number for one, number in rows}
    found = [Counter(number_of[id(one)] for one in group.sightings) for group in followed([one for one, _ in rows])]
    mixed = sum(sum(counter.values()) - max(counter.values()) for counter in found)
    numbers = Counter(number for _, number in rows)
    return sum(count - max(counter[number] for counter in found) for number, count in numbers.items()), mixed


def test_noaa_groups_of_a_month_are_tracked_as_the_table_numbers_them() -> None:
    """All 71 lines, also where the table moves group 11115 from 124 to 116 and back to 121 deg."""
    rows = noaa_rows()
    assert len(rows) > 60
    assert strayed(rows) == (0, 0)


def test_kislovodsk_groups_of_a_month_are_tracked_as_the_table_numbers_them() -> None:
    """One of 52 lines is at odds: number 92 is at latitude +16 on October 19, and at +23 five days later."""
    rows = kislovodsk_rows()
    assert len(rows) > 45
    assert strayed(rows) == (1, 0)


def test_both_tables_together_give_one_track_for_groups_in_both() -> None:
    """As pictures of two instruments. Nine groups are in both; one group of one table is two in the other."""
    first, second = noaa_rows(), kislovodsk_rows()
    groups = followed([one for one, _ in first + second])
    of_second = {id(one) for one, _ in second}
    shared = [group for group in groups if {id(one) in of_second for one in group.sightings} == {True, False}]
    assert len(groups) <= 14
    assert len(shared) == 9


def test_a_group_keeps_its_name_over_the_disc_and_three_cloudy_days() -> None:
    groups = followed(course([0, 1, 2, 6, 7, 8.3, 9], 18.0, 120.0, strays_deg=0.5))
    assert lengths(groups) == {"2300-1": 7}


def test_names_count_by_first_sighting_then_longitude() -> None:
    sightings = course([1, 2, 3], 10.0, 80.0) + course([0, 1, 2], -12.0, 95.0) + course([0, 1, 2], 12.0, 60.0)
    groups = followed(sightings)
    assert [(group.name, round(group.sightings[0].group.carrington_longitude_deg or 0.0)) for group in groups] == [
        ("2300-1", 60),
        ("2300-2", 95),
        ("2300-3", 80),
    ]


def test_order_of_the_sightings_does_not_matter() -> None:
    sightings = course(range(8), 15.0, 100.0, strays_deg=0.4) + course(range(8), 15.0, 112.0, strays_deg=0.4)
    mixed = [sightings[index] for index in np.random.default_rng(3).permutation(len(sightings))]
    assert followed(mixed) == followed(sightings)


def test_neighbours_on_one_parallel_are_not_exchanged() -> None:
    """Ten degrees apart; the sum of all errors decides, not the first that comes."""
    west, east = course(range(9), 20.0, 200.0, strays_deg=0.8), course(range(9), 20.0, 190.0, strays_deg=0.8)
    groups = followed(west + east)
    assert sorted(lengths(groups).values()) == [9, 9]
    assert all(
        {id(one) for one in group.sightings} in ({id(w) for w in west}, {id(e) for e in east}) for group in groups
    )


def test_a_group_is_followed_across_longitude_0() -> None:
    assert lengths(followed(course(range(10), 3.0, 358.9))) == {"2300-1": 10}


def test_latitude_separates_groups_of_one_longitude() -> None:
    groups = followed(course([0, 1, 2], 8.0, 100.0) + course([3, 4, 5], 16.0, 100.0))
    assert lengths(groups) == {"2300-1": 3, "2300-2": 3}


def test_two_instruments_of_one_day_see_one_group_and_one_of_them_two() -> None:
    fine = course([0.0, 1.0, 2.0], 14.0, 150.0) + course([0.0, 1.0, 2.0], 14.0, 162.0)
    coarse = course([0.1, 1.1, 2.1], 14.0, 150.0)
    assert lengths(followed(fine + coarse)) == {"2300-1": 6, "2300-2": 3}


def test_a_group_that_splits_keeps_its_name_and_gets_one_new_one() -> None:
    whole = course([0, 1, 2], 14.0, 150.0)
    parts = course([3, 4], 14.0, 148.0) + course([3, 4], 14.0, 158.0)
    assert lengths(followed(whole + parts)) == {"2300-1": 5, "2300-2": 2}


def test_a_new_name_takes_the_rotation_current_at_the_first_sighting() -> None:
    groups = followed(course([20, 21, 26.5], 10.0, 30.0, meridian_deg=-340.0))
    assert [group.name for group in groups] == ["2300-1"]
    groups = followed(course([26.5, 27], 10.0, 30.0, meridian_deg=-400.0))
    assert [group.name for group in groups] == ["2301-1"]


def test_pictures_of_earlier_days_extend_a_track_and_keep_its_name() -> None:
    later = course([4, 5, 6], 12.0, 100.0) + course([4, 5, 6], -20.0, 90.0)
    register = named(later)
    earlier = course([0, 1], -20.0, 90.0) + course([1, 2], 30.0, 150.0)
    groups = followed(earlier + later, register)
    by_latitude = {round(group.sightings[-1].group.latitude_deg or 0.0): group.name for group in groups}
    assert by_latitude == {-20: "2300-1", 12: "2300-2", 30: "2300-3"}
    assert lengths(groups)["2300-1"] == 5


def test_two_names_that_turn_out_to_be_one_group_keep_the_older_and_use_no_number_again() -> None:
    ends = course([0], 12.0, 100.0) + course([9], 12.0, 100.0)
    far_off = [*ends[:1], sighting(9.0, 12.0, 100.0 + 22.0, 58.0)]
    register = named(far_off)
    assert [place.name for place in register] == ["2300-1", "2300-2"]
    # Each day it moves on by two degrees and more, as growing groups may for a while.
    drift = carrington_drift_deg_per_day(12.0)
    between = [sighting(day, 12.0, 100.0 + 22.0 / 9.0 * day, -60.0 + (13.2 + drift) * day) for day in range(1, 9)]
    groups = followed([*far_off, *between, *course([3, 4], -30.0, 140.0)], register)
    assert lengths(groups) == {"2300-1": 10, "2300-3": 2}
    assert groups[0].other_names == ("2300-2",)


def test_names_given_while_one_picture_was_mirrored_take_none_from_the_days_after() -> None:
    """The first day is put right: its groups go by the names of the days after, and no number is used again."""
    right = [course([0, 1, 2, 3], latitude_deg, 100.0 + meridian_deg, meridian_deg=meridian_deg)
             for latitude_deg, meridian_deg in ((12.0, -30.0), (-20.0, 20.0), (25.0, 45.0))]  # fmt: skip
    first = [one[0].group for one in right]
    mirrored = [sighting(0.0, one.latitude_deg or 0.0, 100.0 - (one.central_meridian_distance_deg or 0.0),
                         -(one.central_meridian_distance_deg or 0.0)) for one in first]  # fmt: skip
    register = named([*mirrored, *(seen for one in right for seen in one[1:])])
    assert len(register) == 6
    groups = followed([seen for one in right for seen in one], register)
    assert lengths(groups) == {"2300-4": 4, "2300-5": 4, "2300-6": 4}
    assert sorted(group.other_names for group in groups) == [("2300-1",), ("2300-2",), ("2300-3",)]
    assert names_to_register(groups, known=names_of(register)) == ()


def test_the_name_of_a_group_that_is_gone_is_never_given_again() -> None:
    register = named(course([0, 1, 2], 12.0, 100.0))
    groups = followed(course([0, 1, 2], -25.0, 60.0), register)
    assert [group.name for group in groups] == ["2300-2"]


def test_a_name_does_not_move_to_the_neighbour_when_its_own_group_is_taken_away() -> None:
    both = course([0, 1, 2], 12.0, 100.0) + course([0, 1, 2], 12.0, 109.0)
    register = named(both)
    left = [one for one in both if (one.group.carrington_longitude_deg or 0.0) > 104.5]
    groups = followed(left, register)
    assert [(group.name, group.other_names) for group in groups] == [("2300-2", ())]


def test_a_name_stays_when_the_picture_it_was_given_in_is_taken_away() -> None:
    sightings = course([0, 1, 2, 3], 12.0, 100.0)
    assert lengths(followed(sightings[1:], named(sightings))) == {"2300-1": 3}


def test_names_stay_as_an_archive_grows_picture_by_picture() -> None:
    """Thirty groups, days in random order: every name stays with the group it was given to, where it was given."""
    rng = np.random.default_rng(11)
    sightings: list[Sighting] = []
    truth: dict[int, int] = {}
    for number in range(30):
        days = np.arange(0.0, 9.0) + float(rng.integers(0, 60))
        path = course(
            days.tolist(),
            float(rng.choice([-1, 1]) * rng.uniform(5, 30)),
            float(rng.uniform(0, 360)),
            meridian_deg=-55.0 - SYNODIC_DEG_PER_DAY * float(days[0]),
            strays_deg=0.5,
        )
        sightings += path
        truth |= {id(one): number for one in path}
    register: list[NamedPosition] = []
    present: list[Sighting] = []
    for day in rng.permutation(70):
        present += [one for one in sightings if round(one.time_days - START) == day]
        groups = followed(present, register)
        register += names_to_register(groups, known=names_of(register))
        holder = {name: group for group in groups for name in (group.name, *group.other_names)}
        for place in register:
            assert place in {named_position(place.name, one.position) for one in holder[place.name].sightings}
    assert len({place.name for place in register}) == len(register)
    members = [{truth[id(one)] for one in group.sightings} for group in followed(present, register)]
    assert len([one for one in members if len(one) == 1]) >= 27


def test_a_group_that_comes_round_the_far_side_is_a_probable_return_under_its_own_name() -> None:
    first = course([0, 1, 8, 10], 11.0, 140.0)
    # Carrington longitude by the law, and 1.5 deg of its own; 27.3 days bring it back to the same meridian distance.
    second = course([27, 28, 29], 11.5, 141.5, meridian_deg=-60.0 - 360.0)
    other = course([27, 28, 29], -14.0, 141.0, meridian_deg=-60.0 - 360.0)
    groups = followed(first + second + other)
    returns = {round(group.sightings[0].group.latitude_deg or 0.0): group.return_of for group in groups}
    assert returns == {11: None, 12: "2300-1", -14: None}
    assert len({group.name for group in groups}) == 3


def test_a_group_born_in_the_middle_of_the_disc_is_no_return() -> None:
    first = course([0, 1, 8, 10], 11.0, 140.0)
    born = course([31, 32], 11.0, 140.0, meridian_deg=-60.0 - 360.0)
    assert [group.return_of for group in followed(first + born)] == [None, None]


def test_a_leader_that_rises_alone_is_no_return_of_another_group() -> None:
    """At the limb only the leader shows, nearer to the predicted position of an older group than on all later days."""
    first = course([0, 1, 8, 10], 15.2, 140.0)
    second = course([26, 27, 28, 29, 30], 13.4, 132.0, meridian_deg=-60.0 - 346.0)
    alone = sighting(26.0, 14.6, second[0].group.carrington_longitude_deg + 3.0, -76.0)
    assert [group.return_of for group in followed([*first, alone, *second[1:]])] == [None, None]
    assert followed([*first, alone])[1].return_of == "2300-1"


def test_a_group_without_position_is_refused() -> None:
    with pytest.raises(ValueError, match="2026-06-03T0915Z: a group without heliographic position"):
        followed([Sighting("2026-06-03T0915Z", 0.0, SpotGroup((), 10.0, 2.0))])


def test_no_sightings_are_no_groups() -> None:
    assert followed([]) == ()
    assert names_to_register([], known=[]) == ()


def test_two_observers_at_the_same_moment_see_one_group() -> None:
    sightings, others = course([0.0, 1.0, 2.0], 12.0, 100.0), course([0.0, 1.0, 2.0], 12.3, 100.2)
    others = [Sighting(f"{one.observation_id}-2", one.time_days, one.group) for one in others]
    register = named([*sightings, *others])
    (again,) = followed([*sightings, *others], register)
    assert len(again.sightings) == 6
    assert again.name in names_of(register)


def sized(sightings: Sequence[Sighting], area_msh: float) -> list[Sighting]:
    return [replace(one, group=replace(one.group, area_msh=area_msh)) for one in sightings]


def test_a_tiny_group_does_not_come_back_as_a_large_one() -> None:
    """4 millionths as 263, at the very place; 150 as 60 are a return."""
    setting, rising = course([0, 1, 8, 10], 11.0, 140.0), course([27, 28], 11.0, 140.0, meridian_deg=-60.0 - 360.0)
    assert followed([*sized(setting, 150.0), *sized(rising, 60.0)])[1].return_of == "2300-1"
    tiny = followed([*sized(setting, 4.0), *sized(rising, 263.0)])[1]
    assert (tiny.return_of, tiny.possible_return_of) == (None, None)


def test_a_doubtful_return_is_offered_and_not_given() -> None:
    """Regions differ from the law by some 0.15 deg/day, so by 2.5 degrees after 17 days, and leaders change."""
    first = course([0, 1, 8, 10], 11.0, 140.0)
    offsets = {3.0: ("2300-1", None), 10.0: (None, "2300-1"), 17.0: (None, None)}
    for off_deg, expected in offsets.items():
        second = course([27, 28], 11.0, 140.0 + off_deg, meridian_deg=-60.0 - 360.0)
        again = followed([*first, *second])[1]
        assert (again.return_of, again.possible_return_of) == expected, off_deg


def test_what_is_another_latitude_is_no_return() -> None:
    first = course([0, 1, 8, 10], 11.0, 140.0)
    for latitude_deg, expected in ((11.7, "2300-1"), (12.8, None)):
        second = course([27, 28], latitude_deg, 140.0, meridian_deg=-60.0 - 360.0)
        assert followed([*first, *second])[1].return_of == expected
