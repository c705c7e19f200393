"""Which days are compared, and that a carried disc is made once."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from scenes.discs import Spot, draw_disc, place_on_picture

from archive.disc.aligned import STANDARD_FRAME
from archive.disc.carried import Standpoint
from archive.disc.tone import flatten_disc
from archive.execution.progress import silent
from archive.model.observation import Observation, Orientation
from archive.records.disc_files import fits_bytes
from archive.stages.comparison import turned_disc, with_turned_back
from archive.website import Content, Entry, Pictures, SiteInfo
from whole.film_scenes import EPOCH, STANDARD_SCENE, darkness_centre, observed

UNKNOWN = Orientation("unknown", None, None, None)


def _content(root: Path, observations: Sequence[Observation]) -> Content:
    quiet = draw_disc(STANDARD_SCENE)
    for one in observations:
        folder = root / ".northlimb" / "discs" / one.id
        folder.mkdir(parents=True, exist_ok=True)
        (folder / "disc.fits").write_bytes(fits_bytes(quiet, []))
    nothing = Pictures("", "", "", "", "")
    return Content(SiteInfo("The Sun", "A. Teal"), [Entry(one, nothing) for one in observations])


def _pairs(root: Path, observations: Sequence[Observation]) -> dict[str, str]:
    compared = with_turned_back(root, _content(root, observations), on_progress=silent)
    return {
        entry.observation.id[8:10]: entry.turned_back.to_observation[8:10]
        for entry in compared.entries
        if entry.turned_back is not None
    }


def _day(number: float, **changes: object) -> Observation:
    return replace(observed(EPOCH + timedelta(days=number)), **changes)


def test_a_day_is_compared_with_the_last_of_its_band_whose_north_is_known(tmp_path: Path) -> None:
    days = [
        _day(0),
        _day(1, orientation=UNKNOWN),
        _day(2, band="h-alpha"),
        _day(3),
        _day(3.1, band="h-alpha"),  # the day's main picture is the white one
        _day(4, band="h-alpha"),
    ]
    assert _pairs(tmp_path, days) == {"04": "01", "05": "03"}


def test_after_more_than_a_week_nothing_is_left_to_compare(tmp_path: Path) -> None:
    assert _pairs(tmp_path, [_day(0), _day(7.5), _day(14.4)]) == {"15": "08"}


def test_a_carried_disc_is_made_once_and_again_when_either_view_changes(tmp_path: Path) -> None:
    days = [_day(0), _day(1)]
    picture = tmp_path / ".northlimb" / "discs" / days[1].id / "turned-back.jpg"
    _pairs(tmp_path, days)
    os.utime(picture, ns=(0, 0))
    _pairs(tmp_path, days)
    assert picture.stat().st_mtime_ns == 0
    later = replace(days[0], time_utc=days[0].time_utc + timedelta(minutes=20))
    _pairs(tmp_path, [later, days[1]])
    assert picture.stat().st_mtime_ns > 0
    with Image.open(picture) as kept:
        assert kept.size == (1024, 1024)


@pytest.mark.parametrize("b0_deg", [-7.2, 7.2])
def test_a_surface_is_turned_by_the_law_whatever_the_tilt(b0_deg: float) -> None:
    """Howard, Gilman & Gilman (1984), all spots: 14.522 - 2.84 sin^2 deg a day, sidereal."""
    places = [(25.0, 20.0), (-30.0, 5.0), (5.0, 45.0)]
    scene = replace(STANDARD_SCENE, b0_deg=b0_deg, spots=tuple(Spot(*place, 2.0) for place in places))
    seen_at, at = Standpoint(2.0, b0_deg, 100.0), Standpoint(0.0, b0_deg + 1.0, 126.4)
    turned = turned_disc(flatten_disc(draw_disc(scene), STANDARD_FRAME), seen_at, at).mean(axis=2)
    before = replace(STANDARD_SCENE, b0_deg=b0_deg + 1.0)
    for latitude, longitude in places:
        # Two days of what spots turn faster than the Carrington frame, by definition 14.1844 deg a day.
        drift = 2.0 * (14.522 - 2.84 * np.sin(np.radians(latitude)) ** 2 - 14.1844)
        x, y, _ = place_on_picture(before, latitude, longitude + 100.0 - drift - 126.4)
        found = darkness_centre(turned, x, y)
        assert np.hypot(found[0] - x, found[1] - y) < 0.4
