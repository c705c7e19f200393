"""How often real pictures are said to be of another hour: dated right, never; dated wrong by a day or two, mostly.

Pictures of `../shared/real` (their README names the sources), solar north up. The figures are printed. Reduced unless
the environment variable NORTHLIMB_STUDY is `full`.
"""

from __future__ import annotations

import os
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from studies.weeks import Taken, spotted

from archive.model.constants import SYNODIC_DEG_PER_DAY
from archive.orientation.clock_check import clock_error_hours
from archive.orientation.spots import SpottedPicture
from archive.sun.view import sun_view

pytestmark = pytest.mark.study

FULL = os.environ.get("NORTHLIMB_STUDY") == "full"
REAL = Path(__file__).parents[3] / "shared" / "real"
REACH_DAYS = 5.5
WRONG_HOURS = (26.0, -50.0)
TRIES = 2 if FULL else 1


def real_pictures() -> list[SpottedPicture]:
    folders = ["hmi-2010-10", "hmi-2024-07", "mdi-2010"] if FULL else ["hmi-2024-07"]
    found = []
    for path in sorted(path for folder in folders for path in (REAL / folder).glob("*.jpg")):
        time = datetime.strptime(path.stem, "%Y%m%dT%H%M%SZ").replace(tzinfo=UTC)
        sun = sun_view(time, latitude_deg=0.0, longitude_deg=0.0)
        found.append(spotted(Taken(np.asarray(Image.open(path)), time, sun, None)))
    return found


def dated_late_by(picture: SpottedPicture, hours: float) -> SpottedPicture:
    days = hours / 24.0
    l0_deg = (picture.l0_deg - SYNODIC_DEG_PER_DAY * days) % 360.0
    return replace(picture, time_days=picture.time_days + days, l0_deg=l0_deg)


@pytest.mark.skipif(not REAL.is_dir(), reason="the folder of real pictures (shared/real) is not here")
def test_a_right_time_is_not_doubted_and_a_wrong_day_mostly_is() -> None:
    rng = np.random.default_rng(20)
    pictures = [one for one in real_pictures() if len(one.right)]
    doubted, right, missed, asked = 0, 0, 0, 0
    for one in pictures:
        near = [
            (other, 0.0) for other in pictures if other is not one and abs(other.time_days - one.time_days) < REACH_DAYS
        ]
        if len(one.right) < 2 or len(near) < 3:
            continue
        for _ in range(TRIES):
            few = [near[place] for place in rng.choice(len(near), 3, replace=False)]
            asked += 1
            doubted += clock_error_hours(one, few, mirrored=False) is not None
        for hours in WRONG_HOURS:
            found = clock_error_hours(dated_late_by(one, hours), near, mirrored=False)
            right += found is not None and abs(found + hours) <= 6.0
            missed += found is None
    wrong = len(WRONG_HOURS) * asked // TRIES
    print(
        f"\n{asked} real pictures dated right, {doubted} doubted; {wrong} dated wrong: {right} told, {missed} not told"
    )
    assert doubted == 0
    assert right + missed == wrong
    assert right > 0.55 * wrong
