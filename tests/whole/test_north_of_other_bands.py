"""North of an H-alpha picture from the spots that it shares with white-light pictures of its day."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest
from orientation.simulated_spots import simulated_pictures, three_groups, views_of
from studies.archived_weeks import candidate_of

from archive.disk import Folder
from archive.model.angles import difference_deg
from archive.model.measured import Spots
from archive.model.observation import Orientation
from archive.records.settings import InstrumentSettings
from archive.stages.candidates import Candidate
from archive.stages.evidence import orientation_of
from archive.stages.other_bands import with_other_bands
from archive.stages.solving import InstrumentEvidence, Solutions
from archive.store import Store

WHITE = InstrumentSettings(name="White", mount="unknown")
RED = InstrumentSettings(name="Red", mount="unknown", band="h-alpha")


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store(Folder(tmp_path).below(".northlimb")) as opened:
        yield opened


def oriented(store: Store, red: Candidate, white: list[Candidate], asked: tuple[str, ...] | None = None) -> Orientation:
    every = [*white, red]
    nothing = Solutions({one.id: InstrumentEvidence() for one in every}, {})
    evidence = with_other_bands(store, every, nothing, asked=asked).evidence[red.id]
    return orientation_of(red.record, red.instrument, red.measured, red.sun, evidence)


def pictures() -> tuple[list[Candidate], Candidate, float]:
    """White light on a day and the day after, stated; a mirrored H-alpha picture of 2 h later, and its north."""
    views = views_of(4, days=(0.0, 1.0, 0.08))
    white = simulated_pictures(three_groups(4), views[:2], mirrored=False)
    (red,) = simulated_pictures(three_groups(4), views[2:], mirrored=True, seed=2)
    stated = [candidate_of(f"white-{n}", white[n], WHITE, north_deg=views[n].north_deg) for n in (0, 1)]
    return stated, candidate_of("red", red, RED), views[2].north_deg


def with_filaments(red: Candidate) -> Candidate:
    """Add three dark features that white light does not show."""
    spots = red.measured.spots
    more = Spots((*spots.right, 0.6, -0.5, 0.1), (*spots.up, 0.1, 0.55, -0.7), (*spots.area_msh, 90.0, 200.0, 60.0))
    return replace(red, measured=replace(red.measured, spots=more))


def test_it_is_found_among_filaments_and_kept(store: Store) -> None:
    white, red, north_deg = pictures()
    red = with_filaments(red)
    for asked in (None, ()):
        found = oriented(store, red, white, asked)
        assert (found.status, found.mirrored) == ("solved", True)
        assert found.north_angle_deg is not None
        assert abs(difference_deg(found.north_angle_deg, north_deg)) < 1.0
        assert "white-light" in found.evidence[0].note


@pytest.mark.parametrize("amiss", ["unrelated", "too long before", "north unknown"])
def test_nothing_is_told(store: Store, amiss: str) -> None:
    white, red, _ = pictures()
    if amiss == "unrelated":
        spots = red.measured.spots
        moved = Spots(tuple(-0.7 * np.array(spots.right)), tuple(0.4 * np.array(spots.up)), spots.area_msh)
        red = replace(red, measured=replace(red.measured, spots=moved))
    if amiss == "too long before":
        late = red.record.model_copy(update={"time": red.record.time + timedelta(days=4)})
        red = replace(red, record=late)
    if amiss == "north unknown":
        white = [replace(one, record=one.record.model_copy(update={"north_angle_deg": None})) for one in white]
    assert oriented(store, red, white).status == "unknown"


def test_a_stated_mirroring_that_it_contradicts_is_remarked(store: Store) -> None:
    white, red, _ = pictures()
    red = replace(red, instrument=RED.model_copy(update={"mirrored": "no"}))
    nothing = Solutions({one.id: InstrumentEvidence() for one in [*white, red]}, {})
    evidence = with_other_bands(store, [*white, red], nothing, asked=None).evidence[red.id]
    assert evidence.reading is None
    assert evidence.remark is not None
    assert "only as a mirror image" in evidence.remark
