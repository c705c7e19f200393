"""How well spots tell the way up, over many drawn and real weeks; the figures are printed.

Reduced unless the environment variable NORTHLIMB_STUDY is `full`.
"""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

import numpy as np
import pytest
from studies.archived_weeks import solved_in_archive
from studies.evolving_weeks import evolving_week, evolving_year
from studies.real_weeks import REAL, real_fortnight, two_groups_up
from studies.weeks import Week, drawn_week, hard_week, turned_at_random

from archive.model.angles import difference_deg
from archive.orientation.spots import SpotSolution, solve_spots

pytestmark = pytest.mark.study

FULL = os.environ.get("NORTHLIMB_STUDY") == "full"
WEEKS, FORTNIGHTS, HARD_WEEKS = (100, 40, 200) if FULL else (1, 1, 7)  # 7 are one of each kind
# Not those that the constants of the tracks were chosen on (2000 to 2299, and from 5000 on).
EVOLVING_WEEKS = range(1000) if FULL else range(6)
EVOLVING_YEARS = range(100, 108)  # from 0 to 7 the limit of tilt was chosen on
WRONG_SIGMAS = 4.0
# The figures wanted are judged on the full study. Of the reduced one's few weeks a single undecided or evolving one
# moves a share by a tenth and an rms by a third: it is held to none confidently wrong, and to rough figures.
ALLOWED_SHARE = 0.0 if FULL else 0.25
ALLOWED_RMS = 1.0 if FULL else 1.6
LEAST_SPREAD = 0.7 if FULL else 0.4
WRONG_DEG = 1.0
# At B0 = 0 north and south may be exchanged, which is the mirrored picture turned: only the mount can tell. The
# parallels must bow by more than a centroid's error before spots can: about 0.5 B0 for a spot seen from -40 to 40 deg.
TELLING_B0_DEG = 1.0


@dataclass(frozen=True)
class Outcome:
    """One picture's reading against the truth; None where nothing is believed. `kind` is that of its week."""

    kind: str
    error_deg: float | None
    sigma_deg: float
    right_mirror: bool
    several_groups: bool = True

    @property
    def confidently_wrong(self) -> bool:
        if self.error_deg is None:
            return False
        far = abs(self.error_deg) > max(WRONG_SIGMAS * self.sigma_deg, WRONG_DEG)
        return far or not self.right_mirror


@dataclass(frozen=True)
class Figures:
    """Of the pictures of a family. `spread` is the robust spread of error over stated error."""

    oriented_share: float
    rms_deg: float
    confidently_wrong: int
    spread: float


def outcome(kind: str, reading: SpotSolution | None, north_deg: float, *, mirrored: bool) -> Outcome:
    if reading is None or not reading.is_reliable:
        return Outcome(kind, None, 0.0, True)
    error_deg = difference_deg(reading.north_angle_deg, north_deg)
    return Outcome(kind, error_deg, reading.sigma_deg, reading.mirrored == mirrored)


def solved(weeks: Iterable[Week], *, mirroring: Literal["known", "unknown"] = "unknown") -> list[Outcome]:
    """Solve each week from its spots."""
    found = []
    for week in weeks:
        readings = solve_spots(week.pictures, mirrored=week.mirrored if mirroring == "known" else None)
        found += [
            outcome(week.kind, reading, north_deg, mirrored=week.mirrored)
            for reading, north_deg in zip(readings, week.north_angles_deg, strict=True)
        ]
    return found


def with_tilt(weeks: Iterable[Week]) -> list[Week]:
    return [week for week in weeks if abs(week.pictures[0].b0_deg) >= TELLING_B0_DEG]


def figures(family: str, outcomes: Sequence[Outcome]) -> Figures:
    """Sum up and print; the error of a wrongly mirrored picture means nothing and is left out of the rms."""
    oriented = [one for one in outcomes if one.error_deg is not None]
    pairs = [(one.error_deg, one.sigma_deg) for one in oriented if one.error_deg is not None and one.right_mirror]
    errors_deg, sigmas_deg = np.array(pairs).reshape(-1, 2).T
    wrong = [one for one in outcomes if one.confidently_wrong]
    found = Figures(
        oriented_share=len(oriented) / len(outcomes),
        rms_deg=float(np.sqrt(np.mean(errors_deg**2))) if pairs else 0.0,
        confidently_wrong=len(wrong),
        spread=robust_spread(errors_deg / sigmas_deg) if pairs else float("nan"),
    )
    print(
        f"\n{family}: {len(outcomes)} pictures, {100 * found.oriented_share:.1f} % oriented, "
        f"rms {found.rms_deg:.3f} deg, {len(wrong)} confidently wrong, error/sigma spread {found.spread:.2f}"
    )
    for kind, count in sorted(Counter(one.kind for one in outcomes).items()):
        told = sum(one.kind == kind for one in oriented)
        print(f"    {kind}: {told} of {count} oriented, {sum(one.kind == kind for one in wrong)} wrong")
    return found


def robust_spread(values: np.ndarray) -> float:
    return float(1.4826 * np.median(np.abs(values - np.median(values))))


@pytest.fixture(scope="module")
def weeks() -> list[Week]:
    return [drawn_week(number) for number in range(WEEKS)]


@pytest.fixture(scope="module")
def drawn(weeks: list[Week]) -> list[Outcome]:
    return solved(weeks)


@pytest.fixture(scope="module")
def turned_weeks(weeks: list[Week]) -> list[Week]:
    return [turned_at_random(week, number) for number, week in enumerate(weeks)]


@pytest.fixture(scope="module")
def turned(turned_weeks: list[Week]) -> list[Outcome]:
    return solved(turned_weeks)


@pytest.fixture(scope="module")
def real() -> list[Outcome]:
    if not REAL.is_dir():
        return []
    fortnights = [real_fortnight(number) for number in range(FORTNIGHTS)]
    several = [up for fortnight in fortnights for up in two_groups_up(fortnight)]
    return [replace(one, several_groups=up) for one, up in zip(solved(fortnights), several, strict=True)]


@pytest.fixture(scope="module")
def hard() -> list[Outcome]:
    return solved(hard_week(number) for number in range(HARD_WEEKS))


def test_weeks_of_an_altaz_mount_are_oriented(drawn: list[Outcome]) -> None:
    found = figures("alt-azimuth weeks", drawn)
    assert found.oriented_share >= 0.97 - ALLOWED_SHARE
    assert found.rms_deg <= 0.25 * ALLOWED_RMS
    assert found.confidently_wrong == 0


def test_weeks_of_freely_turned_pictures_are_oriented(turned_weeks: list[Week], turned: list[Outcome]) -> None:
    """Where the Sun is tilted enough; without tilt nothing wrong may be believed."""
    found = figures("freely turned weeks, B0 from 1 deg", solved(with_tilt(turned_weeks)))
    assert found.oriented_share >= 0.90 - ALLOWED_SHARE
    assert found.rms_deg <= 0.4 * ALLOWED_RMS
    assert figures("freely turned weeks, any B0", turned).confidently_wrong == 0


def test_a_known_mirroring_orients_freely_turned_pictures_at_any_tilt(turned_weeks: list[Week]) -> None:
    found = figures("freely turned weeks, any B0, mirroring known", solved(turned_weeks, mirroring="known"))
    assert found.oriented_share >= 0.90 - ALLOWED_SHARE
    assert found.rms_deg <= 0.4 * ALLOWED_RMS
    assert found.confidently_wrong == 0


@pytest.mark.skipif(not REAL.is_dir(), reason="the folder of real pictures (shared/real) is not here")
def test_real_fortnights_are_oriented(real: list[Outcome]) -> None:
    """HMI continuum pictures of October 2010 and July 2024, turned, mirrored, shifted and scaled by known amounts."""
    assert figures("real fortnights, all pictures", real).confidently_wrong == 0
    found = figures("real fortnights, two or more groups up", [one for one in real if one.several_groups])
    assert found.oriented_share >= 0.95 - ALLOWED_SHARE
    assert found.rms_deg <= 0.5 * ALLOWED_RMS


def test_weeks_of_spots_that_evolve_are_oriented_and_hardly_any_wrongly() -> None:
    """Spots that grow, decay, split and emerge, pictures turned freely, any tilt: harder than the Sun mostly is.

    Of weeks 6000 to 6199 three quarters of 1,101 pictures are oriented: of those whose tilt is 2 deg and more 87 %,
    of the others 18 %, whose mirroring only other weeks tell. Two were wrong, in angle, by
    4 and 5 errors.
    """
    outcomes = solved(evolving_week(number) for number in EVOLVING_WEEKS)
    found = figures("evolving weeks, each turned", outcomes)
    assert found.oriented_share >= 0.70 - ALLOWED_SHARE
    assert found.confidently_wrong <= 0.005 * len(outcomes)
    assert found.spread >= LEAST_SPREAD


@pytest.mark.skipif(not FULL, reason="years are solved in the full study; tests/whole has one of known solutions")
def test_years_of_spots_that_evolve_are_oriented(tmp_path: Path) -> None:
    """Each by one instrument, so that weeks without tilt take the mirroring of the others; week by week as archived.

    Of years 0 to 7, 26 weeks in each solved as a whole, 91 % of 1,149 pictures were oriented, and 77 % where nothing
    was carried over; of those below 2 deg of tilt 89 % and 34 %. No week took a wrong mirroring; one picture was wrong.
    """
    outcomes = []
    for number in EVOLVING_YEARS:
        weeks = evolving_year(number)
        readings = solved_in_archive(weeks, tmp_path / str(number))
        outcomes += [
            outcome(week.kind, reading, north_deg, mirrored=week.mirrored)
            for week, of_week in zip(weeks, readings, strict=True)
            for reading, north_deg in zip(of_week, week.north_angles_deg, strict=True)
        ]
    found = figures("evolving years, each picture turned", outcomes)
    assert found.oriented_share >= 0.80
    assert found.confidently_wrong <= 0.005 * len(outcomes)
    assert found.spread >= LEAST_SPREAD


def test_what_spots_cannot_tell_is_not_told(hard: list[Outcome]) -> None:
    assert figures("hard weeks", hard).confidently_wrong == 0


def test_stated_errors_are_honest(
    drawn: list[Outcome], turned: list[Outcome], real: list[Outcome], hard: list[Outcome]
) -> None:
    found = figures("all weeks", [*drawn, *turned, *real, *hard])
    assert LEAST_SPREAD <= found.spread <= 1.4
