"""Which group is which numbered region: between two observatories' tables, and where it must stay open."""

from __future__ import annotations

import csv
from collections import defaultdict
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from archive.measuring.region_match import match_regions
from archive.model.angles import difference_deg
from archive.model.group import Group, Sighting
from archive.model.observation import SpotGroup
from archive.model.region import Region
from archive.model.times import days_since_1970, time_from_days
from archive.reading.region_tables import read_regions

TABLES = Path(__file__).resolve().parents[3] / "shared" / "real" / "tables"
DAY = 14892.5


def seen(at_days: float, latitude_deg: float, longitude_deg: float, meridian_deg: float = 0.0) -> Sighting:
    group = SpotGroup((), 100.0, 20.0, latitude_deg, longitude_deg % 360.0, meridian_deg, 0.2, 0.3)
    return Sighting(f"{at_days:.3f}", at_days, group)


def listed(number: int, latitude_deg: float, longitude_deg: float) -> Region:
    return Region(number, time_from_days(DAY), latitude_deg, longitude_deg)


def kislovodsk() -> list[Group]:
    """The groups of the Kislovodsk station, under its own numbers, with their places there."""
    sightings: dict[str, list[Sighting]] = defaultdict(list)
    with (TABLES / "kislovodsk-2010-10.csv").open(encoding="ascii", newline="") as stream:
        for row in csv.DictReader(stream):
            at_days = days_since_1970(datetime.fromisoformat(f"{row['date']}+00:00"))
            longitude_deg = float(row["long_mean"])
            meridian_deg = difference_deg(longitude_deg, float(row["L0"]))
            sightings[row["group_number"]].append(
                replace(seen(at_days, float(row["lat_mean"]), longitude_deg, meridian_deg), observation_id=row["date"])
            )
    return [Group(name, tuple(own)) for name, own in sightings.items()]


def test_the_groups_of_one_observatory_get_the_numbers_of_another() -> None:
    """USAF/NOAA record and Kislovodsk's table of October 2010: the numbers read off by hand, place beside place."""
    if not TABLES.is_dir():
        pytest.skip("no tables in ../shared/real/tables")
    regions = read_regions((TABLES / "usaf-noaa-groups-2010-10.txt").read_text(encoding="ascii"), "record")
    by_hand = {"88": 11112, "89": 11113, "90": 11115, "91": 11116, "92": 11119, "93": 11118, "97": 11120}
    matches = match_regions(kislovodsk(), regions)
    assert matches.numbers == by_hand
    (parted,) = matches.doubtful  # that observatory has it as two groups, side by side
    assert (parted.number, set(parted.groups)) == (11117, {"94", "95"})
    by_hand |= dict.fromkeys(parted.groups, parted.number)
    first, last, found = regions[0].time_utc, regions[-1].time_utc, 0
    for days in range((last - first).days + 1):  # as summaries come, a day at a time: never another number
        of_day = match_regions(kislovodsk(), [one for one in regions if one.time_utc == first + timedelta(days=days)])
        assert of_day.numbers.items() <= by_hand.items()
        found += len(of_day.numbers)
    assert found > 25


def test_a_group_and_its_region_are_matched_across_the_meridian_of_longitudes() -> None:
    matches = match_regions([Group("a", (seen(DAY + 0.3, 10.0, 359.0),))], [listed(11001, 11.0, 1.0)])
    assert matches.numbers == {"a": 11001}


@pytest.mark.parametrize("away_days", [0.8, -5.0])
def test_another_day_says_nothing(away_days: float) -> None:
    matches = match_regions([Group("a", (seen(DAY + away_days, 10.0, 50.0),))], [listed(11001, 10.0, 50.0)])
    assert (matches.numbers, matches.doubtful, matches.unseen) == ({}, (), (11001,))


def test_a_region_between_two_groups_stays_open() -> None:
    groups = [Group("a", (seen(DAY, 10.0, 47.0),)), Group("b", (seen(DAY, 10.0, 53.0),))]
    (doubtful,) = match_regions(groups, [listed(11001, 10.0, 49.5)]).doubtful
    assert (doubtful.number, doubtful.groups) == (11001, ("a", "b"))


def test_two_regions_within_one_group_stay_open() -> None:
    regions = [listed(11001, 10.0, 48.0), listed(11002, 10.0, 52.0)]
    matches = match_regions([Group("a", (seen(DAY, 10.0, 50.0),))], regions)
    assert matches.numbers == {}
    assert [one.number for one in matches.doubtful] == [11001, 11002]


def test_parts_of_a_cut_track_have_one_number() -> None:
    groups = [Group("a", (seen(DAY, 10.0, 50.0),)), Group("b", (seen(DAY + 1.0, 10.0, 50.0),))]
    regions = [listed(11001, 10.0, 50.0), replace(listed(11001, 10.0, 50.0), time_utc=time_from_days(DAY + 1.0))]
    assert match_regions(groups, regions).numbers == {"a": 11001, "b": 11001}
