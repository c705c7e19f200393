"""Published tables of numbered regions."""

from __future__ import annotations

import random
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path

import pytest

from archive.errors import FactsError
from archive.model.region import Region
from archive.reading.region_tables import read_regions

TABLES = Path(__file__).resolve().parents[3] / "shared" / "real" / "tables"

SUMMARY = """:Product: 0101SRS.txt
:Issued: {issued} 0030 UTC
I.  Regions with Sunspots.  Locations Valid at {valid}/2400Z
Nmbr Location  Lo  Area  Z   LL   NN Mag Type
{row}
IA. H-alpha Plages without Spots.  Locations Valid at 31/2400Z Dec
Nmbr  Location  Lo
1225  N17W77   061
"""
ROW = "1226 S22W52   036  0080 Dao  10   08 Beta-Gamma"


def summary(*, issued: str = "2011 Jan 01", valid: str = "31", row: str = ROW) -> str:
    return SUMMARY.format(issued=issued, valid=valid, row=row)


def test_the_regions_with_spots_of_a_summary_as_published() -> None:
    table = TABLES / "20110607SRS.txt"
    if not table.is_file():
        pytest.skip("no table ../shared/real/tables/20110607SRS.txt")
    first, *others = read_regions(table.read_text(encoding="ascii"), table.name)
    at = datetime(2011, 6, 7, tzinfo=UTC)  # 06/2400Z
    assert first == Region(11226, at, -22.0, 36.0, 80.0, spots=8, length_deg=10.0, zurich_class="Dao")
    assert [one.number for one in others] == [11227, 11228, 11232, 11233]


def test_the_fixed_columns_of_the_group_record() -> None:
    table = TABLES / "usaf-noaa-groups-2010-10.txt"
    if not table.is_file():
        pytest.skip("no table ../shared/real/tables/usaf-noaa-groups-2010-10.txt")
    found = read_regions(table.read_text(encoding="ascii"), table.name)
    assert len(found) == len(table.read_text(encoding="ascii").split("\n\n")) - 1  # an empty line after each
    assert found[0] == Region(11112, datetime(2010, 10, 10, 12, tzinfo=UTC), -18.0, 202.0, area_msh=50.0)
    assert found[-1].time_utc == datetime(2010, 11, 5, 12, tzinfo=UTC)  # its day is padded by a blank


def test_places_hold_at_the_end_of_the_day_before_also_across_the_year() -> None:
    (one,) = read_regions(summary(), "table")
    assert one.time_utc == datetime(2011, 1, 1, tzinfo=UTC)


# AR 10000 was reached on 14 June 2002, from memory of the summaries.
@pytest.mark.parametrize(
    ("issued", "written", "whole"),
    [("2002 May 01", "9930", 9930), ("2002 Jul 01", "0012", 10012), ("2002 Jul 01", "9991", 9991),
     ("2024 Jul 01", "3730", 13730), ("2024 Jul 01", "13730", 13730)],
)  # fmt: skip
def test_a_number_of_four_digits_is_made_whole(issued: str, written: str, whole: int) -> None:
    (one,) = read_regions(summary(issued=issued, valid="01", row=ROW.replace("1226", written)), "table")
    assert one.number == whole


def test_a_day_without_spots_has_no_regions() -> None:
    assert read_regions(summary(row="None"), "table") == ()


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (summary(row="1226 S22W52"), "line 5: '1226 S22W52' has not the columns"),
        (summary(valid="12"), "places of day 12, but issued on 2011-01-01"),
        (summary(issued="2011 Jxx 01"), "no date of issue"),
        (summary(issued="2011 Jan 32"), "no date"),
        ("day,group\n2011-01-01,3\n", "begins with 'day,group', no table of regions"),
        ("", "begins with nothing"),
        ("20101010.500   11112 A      0   52\n", "line 1: .* has not the record's fixed columns"),
        ("19101010.500    6912 6      0   52    0   50 0.852 115.5 202.0 -18.0 -54.0\n", "numbers of its own"),
        ("20101010.500   11112 A      0   52    0   50 0.852 115.5 202.0   nan -54.0\n", "latitude nan"),
    ],
)
def test_anything_else_is_refused_with_its_line(text: str, told: str) -> None:
    with pytest.raises(FactsError, match=told):
        read_regions(text, "table")


RECORD = "20101010.500   11112 A      0   52    0   50 0.852 115.5 202.0 -18.0 -54.0\n"


@pytest.mark.parametrize("whole", [summary(), RECORD], ids=["summary", "record"])
def test_damage_is_refused_in_one_line_or_read_and_nothing_else(whole: str) -> None:
    """Letters exchanged at random, from a fixed seed: a region that is read has a place on the Sun."""
    chosen, read, refused = random.Random(7), list[Region](), 0
    for _ in range(1500):
        letters = list(whole)
        for _ in range(chosen.randint(1, 4)):
            letters[chosen.randrange(len(letters))] = chosen.choice("0123456789 .-einfaNS\n*")
        before = len(read)
        with suppress(FactsError):
            read += read_regions("".join(letters), "table")
        refused += len(read) == before
    assert all(abs(one.latitude_deg) <= 90.0 and 0.0 <= one.carrington_longitude_deg < 360.0 for one in read)
    assert min(refused, len(read)) > 100
