"""A season of freely turned pictures: weeks that show their mirroring settle it for those that leave it open."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from archive.disk import Folder
from archive.model.measured import Measured, Spots
from archive.model.observation import Disc
from archive.orientation.spots import SpotSolution, solve_spots
from archive.records.record import PictureEntry, Record
from archive.records.settings import InstrumentSettings
from archive.stages.candidates import Candidate
from archive.stages.evidence import orientation_of
from archive.stages.solving import Solutions, solve_instruments
from archive.store import Store
from archive.sun.view import sun_view

MONDAY = datetime(2026, 1, 5, 11, tzinfo=UTC)
FILE = "2026/2026-01-05/1100Z.png"
WEEKS, OPEN = 30, 20
SUN = replace(sun_view(MONDAY, latitude_deg=52.1, longitude_deg=-1.3), b0_deg=0.5)
MIRRORED = SpotSolution(30.0, 0.4, True, 1e6, mirroring_odds=1e6)
LEFT_OPEN = SpotSolution(150.0, 0.4, False, 2.0, 30.0, True, mirroring_odds=2.0)
SETTLED = SpotSolution(30.5, 0.4, True, 1e8)


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store(Folder(tmp_path).below(".northlimb")) as opened:
        yield opened


@pytest.fixture(scope="module")
def season() -> list[Candidate]:
    """Two pictures a week, so that each block is a week without neighbours of others."""
    times = [MONDAY + timedelta(days=14 * week + day) for week in range(WEEKS) for day in (0, 1)]
    measured = Measured(1000, 1000, 8, Disc(500.0, 500.0, 420.0, 0.0, 0.1), None, Spots((0.1,), (0.2,), (90.0,)))
    instrument = InstrumentSettings(name="Any", mount="unknown")
    return [
        Candidate(
            f"{time:%Y-%m-%dT%H%MZ}",
            Record(time=time, site="Quay", instrument="Any", picture=PictureEntry(file=FILE, sha256="0" * 64)),
            instrument,
            measured,
            SUN,
            up=True,
        )
        for time in times
    ]


def solved(store: Store, season: list[Candidate], shown: dict[int, SpotSolution]) -> Solutions:
    """Solve with what the spots of each week are said to show: MIRRORED where nothing else is."""
    for week in range(WEEKS):
        members = season[2 * week : 2 * week + 2]
        number = (members[0].record.time - datetime(1970, 1, 5, tzinfo=UTC)) // timedelta(days=7)
        digests, name = [one.spots_digest for one in members], f"{members[0].instrument.name}/None/{number}-0"
        store.put(solve_spots, name, [digests, None], (shown.get(week, MIRRORED),) * 2)
        store.put(solve_spots, f"{name}/carried", [digests, True], (SETTLED,) * 2)
    return solve_instruments(store, season)


def test_an_open_week_takes_the_mirroring_of_those_around(store: Store, season: list[Candidate]) -> None:
    found = solved(store, season, {OPEN: LEFT_OPEN})
    one = season[2 * OPEN]
    orientation = orientation_of(one.record, one.instrument, one.measured, one.sun, found.evidence[one.id])
    assert (orientation.status, orientation.mirrored, orientation.north_angle_deg) == ("solved", True, 30.5)
    assert "mirrored as in other weeks" in orientation.evidence[0].note
    assert orientation.alternative is not None
    assert (orientation.alternative.north_angle_deg, orientation.alternative.mirrored) == (150.0, False)


def test_a_part_of_the_archive_knows_what_all_showed(store: Store, season: list[Candidate]) -> None:
    solved(store, season, {OPEN: LEFT_OPEN})
    few = season[2 * OPEN : 2 * OPEN + 2]
    alone = solve_instruments(store, few, asked={few[0].id})
    reading = alone.evidence[few[0].id].reading
    assert reading is not None
    assert (reading.is_reliable, reading.mirrored) == (True, True)


def test_a_flip_is_told_and_nothing_carried_across_it(store: Store, season: list[Candidate]) -> None:
    flipped = replace(MIRRORED, mirrored=False)
    found = solved(store, season, {OPEN: LEFT_OPEN, OPEN + 2: flipped})
    remark = found.evidence[season[2 * OPEN + 4].id].remark
    assert remark is not None
    assert "unlike those of the weeks around" in remark
    reading = found.evidence[season[2 * OPEN].id].reading
    assert reading is not None
    assert not reading.is_reliable


def test_another_instrument_carries_nothing(store: Store, season: list[Candidate]) -> None:
    other = InstrumentSettings(name="Other", mount="unknown")
    mixed = [replace(one, instrument=other) if number // 2 == OPEN else one for number, one in enumerate(season)]
    reading = solved(store, mixed, {OPEN: LEFT_OPEN}).evidence[season[2 * OPEN].id].reading
    assert reading is not None
    assert not reading.is_reliable
