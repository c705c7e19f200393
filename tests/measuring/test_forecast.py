"""Where groups will be: against a month of an observatory's table, and the law of rotation."""

from __future__ import annotations

from collections import defaultdict

import numpy as np
import pytest
from test_following import kislovodsk_rows

from archive.measuring.forecast import expected_groups, expected_returns
from archive.model.group import Group, GroupRotation, Sighting
from archive.model.observation import SpotGroup


def _group(name: str, *places: tuple[float, float, float], latitude_deg: float = 0.0, area_msh: float = 300.0) -> Group:
    """A group at times (days) with meridian distance and Carrington longitude."""
    seen = tuple(
        Sighting(f"{day:g}", day, SpotGroup((), area_msh, 0.0, latitude_deg, longitude, meridian))
        for day, meridian, longitude in places
    )
    return Group(name, seen)


def test_groups_of_a_month_are_where_the_table_has_them_a_day_and_three_days_later() -> None:
    """Kislovodsk's table of October 2010; its days are some hours more or less than a day apart."""
    of_number: dict[str, list[Sighting]] = defaultdict(list)
    for one, number in kislovodsk_rows():
        of_number[number].append(one)
    off: dict[int, list[float]] = {1: [], 3: []}
    for number, seen in of_number.items():
        group = Group(number, tuple(sorted(seen, key=lambda one: one.time_days)))
        for now in group.sightings:
            (ahead,) = expected_groups([group], now.observation_id)
            for later in group.sightings:
                days = later.time_days - now.time_days
                for step, expected_deg in ((1, ahead.tomorrow_deg), (3, ahead.in_three_days_deg)):
                    if abs(days - step) < 0.3:
                        at_deg = ahead.meridian_deg + (expected_deg - ahead.meridian_deg) / step * days
                        off[step].append(later.position.meridian_deg - at_deg)
    assert len(off[1]) > 30
    assert np.median(np.abs(off[1])) < 1.0  # groups grow and decay by a degree a day
    assert np.median(np.abs(off[3])) < 2.0


# Rates: Howard, Gilman & Gilman (1984), 14.522 deg/day at the equator, and the Earth's mean motion, 0.9856 deg/day.
def test_a_group_at_the_equator_moves_by_the_law() -> None:
    group = _group("2312-1", (0.0, 50.0, 100.0))
    (one,) = expected_groups([group], "0")
    assert one.tomorrow_deg == pytest.approx(50.0 + 14.522 - 0.9856, abs=0.01)
    assert one.in_three_days_deg == pytest.approx(50.0 + 3.0 * (14.522 - 0.9856), abs=0.01)


def test_a_large_group_beyond_the_limb_is_due_after_half_a_rotation() -> None:
    """From 80 degrees west to 75 degrees east of the meridian are 205 degrees of the synodic rotation."""
    gone, small = _group("2312-1", (0.0, 80.0, 100.0)), _group("2312-2", (0.0, 80.0, 60.0), area_msh=20.0)
    assert expected_returns([gone, small], -5.0) == ()  # further ahead than is told
    (due,) = expected_returns([gone, small], 3.0)
    assert due.name == "2312-1"
    assert due.time_days == pytest.approx(205.0 / (14.522 - 0.9856), abs=0.01)
    assert 0.2 < due.sigma_days < 0.5
    assert expected_returns([gone, small], 20.0) == ()
    back = Group("2313-1", _group("2313-1", (15.2, -75.0, 100.0)).sightings, return_of="2312-1")
    assert expected_returns([gone, small, back], 15.5) == ()


def test_a_well_known_rate_of_its_own_goes_before_the_law() -> None:
    plain = _group("2312-1", (0.0, 0.0, 100.0))
    for sigma, rate in ((0.1, 14.0), (1.0, 14.522)):
        group = Group(plain.name, plain.sightings, rotation=GroupRotation(14.0, sigma, 0.0, 6))
        (one,) = expected_groups([group], "0")
        assert one.tomorrow_deg == pytest.approx(rate - 0.9856, abs=0.01)
