"""Zones of sites, against the tz database's own rules and well-known cities."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from archive.records.new_archive import far_zones
from archive.records.settings import Settings, SiteSettings
from archive.records.zones import computer_zone, near_offsets, nearest_zone, off_mean_time_hours, offset_at

JUNE, DECEMBER = (datetime(2026, month, 3, 12, tzinfo=UTC) for month in (6, 12))


@pytest.mark.parametrize(
    ("latitude_deg", "longitude_deg", "zone_name"),
    [
        (51.5, -0.1, "Europe/London"),
        (-36.9, 174.8, "Pacific/Auckland"),
        (1.9, -157.4, "Pacific/Kiritimati"),
        (22.5, 88.4, "Asia/Kolkata"),
        (40.7, -74.0, "America/New_York"),
        (-62.2, -58.9, "Antarctica/Palmer"),
    ],
)
def test_the_nearest_zone_is_that_of_the_chief_city(latitude_deg: float, longitude_deg: float, zone_name: str) -> None:
    assert nearest_zone(latitude_deg, longitude_deg, offset=None, at=JUNE) == zone_name


def test_the_offsets_of_several_near_zones_are_known() -> None:
    """Delhi is nearer to Kathmandu, 5 h 45 min ahead, than to Kolkata, 5 h 30 min ahead."""
    assert {timedelta(hours=5.5), timedelta(hours=5.75)} <= set(near_offsets(28.6, 77.2, at=JUNE))


def test_only_zones_of_the_offset_asked_for_count() -> None:
    for hours in (-5, 0, 1, 2, 5.75, 12, 14):
        offset = timedelta(hours=hours)
        found = nearest_zone(48.0, 11.0, offset=offset, at=JUNE)
        assert found is not None
        assert offset_at(found, JUNE) == offset
    assert nearest_zone(48.0, 11.0, offset=timedelta(hours=7.25), at=JUNE) is None


def test_clocks_against_mean_time() -> None:
    assert off_mean_time_hours("UTC", 174.8, at=JUNE) == pytest.approx(-174.8 / 15)
    assert off_mean_time_hours("Pacific/Auckland", 174.8, at=DECEMBER) == pytest.approx(13 - 174.8 / 15)
    assert off_mean_time_hours("Pacific/Kiritimati", -157.4, at=JUNE) == pytest.approx(14 + 157.4 / 15 - 24)


def test_every_zone_of_the_database_is_near_its_own_city() -> None:
    """Else an honest observer would be warned; the farthest is 3 hours, in the west of China's one zone."""
    from archive.records.zones import _cities

    assert len(_cities()) > 300
    far = {name: off_mean_time_hours(name, longitude, at=DECEMBER) for name, _, longitude in _cities()}
    assert {name for name, hours in far.items() if abs(hours) > 3.0} <= {"Antarctica/Casey", "Antarctica/Troll"}


def test_the_computers_zone_is_that_of_the_environment(monkeypatch: pytest.MonkeyPatch) -> None:
    for given, zone_name in (("Asia/Tokyo", "Asia/Tokyo"), (":Europe/Paris", "Europe/Paris"), ("nowhere", None)):
        monkeypatch.setenv("TZ", given)
        assert computer_zone() == zone_name
    monkeypatch.delenv("TZ")
    assert computer_zone() is None or offset_at(computer_zone() or "", JUNE) == JUNE.astimezone().utcoffset()


@pytest.mark.parametrize(
    ("zone_name", "longitude_deg", "hours", "own"),
    [("UTC", 174.8, "12 hours behind", "Pacific/Auckland"), ("Asia/Tokyo", -1.3, "9 hours ahead of", "Europe/London"),
     ("Europe/London", -1.3, "", ""), ("UTC", 11.0, "", "")],
)  # fmt: skip
def test_a_zone_far_from_the_site_is_told(zone_name: str, longitude_deg: float, hours: str, own: str) -> None:
    latitude_deg = -36.9 if longitude_deg > 90 else 52.1
    site = SiteSettings(name="Quay", latitude_deg=latitude_deg, longitude_deg=longitude_deg)
    settings = Settings(
        title="Sun", observer="A. Teal", time_zone=zone_name, sites=(site,), instruments=({"name": "D"},)
    )
    found = far_zones(settings)
    assert len(found) == bool(hours)
    assert all(hours in line and own in line for line in found)
