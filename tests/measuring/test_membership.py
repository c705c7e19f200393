"""Spots followed from picture to picture: which group each is of. Places are made by the published rotation law."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest
from scenes.sun_days import carrington_drift_deg_per_day

from archive.measuring.membership import members_of_groups
from archive.measuring.placing import log_odds
from archive.measuring.spotted_discs import DiscSpots, Member, SpottedDisc, placed_spots, stated_disc
from archive.sun.heliographic import to_disc

LATITUDE_DEG = 12.0
L0_DEG = 200.0


def spot(day: float, longitude_deg: float, *, area_msh: float = 60.0, latitude_deg: float = LATITUDE_DEG) -> Member:
    """A spot that was at this longitude, counted from the central meridian of day 5, when day was 0."""
    drift = carrington_drift_deg_per_day(latitude_deg)
    return Member(
        day,
        latitude_deg,
        (L0_DEG + longitude_deg + drift * day) % 360.0,
        longitude_deg + 13.2 * (day - 5.0),
        area_msh,
        0.02,
        drift,
        float(np.cos(np.radians(latitude_deg))),
    )


def numbers(*discs: SpottedDisc | Sequence[Member]) -> list[list[int]]:
    """Group numbers of spots, a list a picture; pictures a day apart unless they are given whole."""
    whole = [
        disc if isinstance(disc, SpottedDisc) else SpottedDisc(float(n), tuple(disc)) for n, disc in enumerate(discs)
    ]
    return members_of_groups(whole).numbers


def daily(*longitudes_deg: Sequence[float]) -> list[list[Member]]:
    return [[spot(float(day), each) for each in own] for day, own in enumerate(longitudes_deg)]


def test_spots_stay_in_their_groups_though_these_come_near_each_other() -> None:
    """Alone, the last picture would be one group."""
    days = daily([0.0, -16.0], [0.0, -4.0, -16.0], [0.0, -4.0, -12.0, -16.0], [0.0, -4.0, -12.0, -16.0])
    assert numbers(*days)[-1] == [0, 0, 1, 1]
    first, *_, last = [members_of_groups([SpottedDisc(3.0, tuple(days[n]))]).numbers[0] for n in (0, 3)]
    assert first == [0, 1]
    assert len(set(last)) == 1


def test_a_spot_that_is_lost_for_a_day_is_of_its_group_again() -> None:
    assert numbers(*daily([0.0, -12.0], [0.0], [0.0, -12.0]))[2] == numbers(*daily([0.0, -12.0]))[0]


def test_followers_emerge_east_of_a_young_leader_and_not_of_an_old_one() -> None:
    leader, follower = spot(0.0, 0.0), spot(0.0, -10.0)
    assert log_odds(follower, [leader], age_days=0.5) > 0.0 > log_odds(follower, [leader], age_days=8.0)
    ahead = spot(0.0, 10.0)
    assert log_odds(ahead, [leader], age_days=0.5) < 0.0


def test_what_lengthens_a_long_group_is_another_and_what_is_within_it_is_not() -> None:
    group = [spot(0.0, 0.0), spot(0.0, -11.0)]
    assert log_odds(spot(0.0, -5.0), group, age_days=6.0) > 3.0
    assert log_odds(spot(0.0, -18.0), group, age_days=6.0) < -1.0


@pytest.mark.parametrize(("latitude_deg", "poleward"), [(20.0, 1.0), (-20.0, -1.0)])
def test_followers_lie_poleward_of_their_leader(latitude_deg: float, poleward: float) -> None:
    leader = spot(0.0, 0.0, latitude_deg=latitude_deg)
    toward_pole, toward_equator = (
        log_odds(spot(0.0, -8.0, latitude_deg=latitude_deg + sign * poleward * 2.0), [leader], age_days=0.0)
        for sign in (1.0, -1.0)
    )
    assert toward_pole > toward_equator + 2.0


def test_a_track_ends_after_two_pictures_that_should_have_shown_it() -> None:
    assert numbers([spot(0.0, 0.0)], [], [spot(2.0, 0.0)]) == [[0], [], [0]]
    assert numbers([spot(0.0, 0.0)], [], [], [spot(3.0, 0.0)]) == [[0], [], [], [1]]


def test_pictures_that_could_not_have_shown_a_group_do_not_end_it() -> None:
    """Two of a coarse telescope, and two clouded days without any."""
    coarse = [SpottedDisc(day, (), least_msh=100.0) for day in (1.0, 2.0)]
    first, again = SpottedDisc(0.0, (spot(0.0, 0.0),)), SpottedDisc(3.0, (spot(3.0, 0.0),))
    assert numbers(first, *coarse, again) == [[0], [], [], [0]]
    assert numbers(first, again) == [[0], [0]]


def test_a_group_near_the_limb_is_not_missed() -> None:
    """It rises at 76 degrees, and the next two pictures are of the same hour."""
    rising = [SpottedDisc(at, own) for at, own in ((0.0, (spot(0.0, -10.0),)), (0.02, ()), (0.03, ()))]
    assert numbers(*rising, SpottedDisc(1.0, (spot(1.0, -10.0),))) == [[0], [], [], [0]]


def test_groups_that_an_observer_parts_or_joins_stay_so_on_the_following_days() -> None:
    plain = daily([0.0, -5.0], [0.0, -5.0], [0.0, -5.0])
    assert numbers(*plain)[2] == [0, 0]
    parted = stated_disc(1.0, plain[1], [spot(1.0, 0.0), spot(1.0, -5.0)], [None, None])
    first, _, last = numbers(SpottedDisc(0.0, tuple(plain[0])), parted, SpottedDisc(2.0, tuple(plain[2])))
    assert first == [0, 0]
    assert last[0] != last[1]

    apart = daily([0.0, -16.0], [0.0, -16.0], [0.0, -16.0])
    assert numbers(*apart)[2] == [0, 1]
    joined = stated_disc(1.0, apart[1], [spot(1.0, -8.0, area_msh=120.0)], [None])
    *_, last = numbers(SpottedDisc(0.0, tuple(apart[0])), joined, SpottedDisc(2.0, tuple(apart[2])))
    assert last[0] == last[1]


def test_a_name_that_an_observer_gives_holds_for_the_following_days() -> None:
    plain = daily([0.0, -16.0], [0.0, -16.0], [0.0, -16.0])
    named = stated_disc(1.0, plain[1], [spot(1.0, 0.0), spot(1.0, -16.0)], ["AR 1117", None])
    found = members_of_groups([SpottedDisc(0.0, tuple(plain[0])), named, SpottedDisc(2.0, tuple(plain[2]))])
    first, second, third = found.numbers
    assert [found.names.get(number) for number in first] == [None, None]
    assert [found.names.get(number) for number in second] == ["AR 1117", None]
    assert second == third
    assert first[1] == second[1]


def test_a_stated_group_without_a_spot_of_its_own_is_followed_by_its_place() -> None:
    faint = stated_disc(0.0, [], [spot(0.0, 0.0)], [None])
    assert numbers(faint, SpottedDisc(1.0, (spot(1.0, 0.5),))) == [[0], [0]]


def test_what_an_observer_does_not_call_a_group_is_none() -> None:
    disc = stated_disc(0.0, [spot(0.0, 0.0), spot(0.0, -60.0)], [spot(0.0, 0.0)], [None])
    assert len(disc.spots) == 1


def test_spots_are_placed_as_the_geometry_of_the_disc_has_them() -> None:
    west, north, _ = to_disc(np.array([10.0, -25.0]), np.array([30.0, -50.0]), b0_deg=6.0)
    ((first, second), none) = placed_spots(
        [
            DiscSpots(3.0, west, north, (50.0, 20.0), 6.0, 350.0, 0.5),
            DiscSpots(4.0, np.zeros(0), np.zeros(0), (), 6.0, 340.0, 0.5),
        ]
    )
    assert none == ()
    assert placed_spots([]) == []
    assert (first.latitude_deg, first.longitude_deg, first.meridian_deg) == pytest.approx((10.0, 20.0, 30.0))
    assert (second.latitude_deg, second.longitude_deg, second.area_msh) == pytest.approx((-25.0, 300.0, 20.0))
    assert second.variance_deg2 > first.variance_deg2
