"""Which days are compared, and that a carried disc is made once."""

from __future__ import annotations

import io
from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest
from derived import rows
from PIL import Image
from scenes.discs import Spot, draw_disc, place_on_picture

from archive.disc.aligned import STANDARD_FRAME
from archive.disc.derotation import ViewGeometry
from archive.disc.tone import flatten_disc
from archive.model.observation import Observation, Orientation
from archive.records.disc_files import fits_bytes
from archive.stages.archive import Archive, opened_archive
from archive.stages.comparison import with_derotated
from archive.stages.comparison_picture import derotated_disc, derotated_picture
from archive.stages.discs import keep_disc
from archive.store import NO_BLOB, DamagedBlobError
from archive.website.content import Content, DerotatedDisc, Entry, Pictures, SiteInfo
from whole.conftest import new_archive
from whole.film_scenes import EPOCH, STANDARD_SCENE, darkness_centre, observed

UNKNOWN = Orientation("unknown", None, None, None)


@pytest.fixture
def archive(tmp_path: Path) -> Iterator[Archive]:
    new_archive(tmp_path / "my-sun")
    with opened_archive(tmp_path / "my-sun") as opened:
        yield opened


def _compared(archive: Archive, observations: Sequence[Observation]) -> dict[str, DerotatedDisc]:
    disc = archive.store.add_blob(fits_bytes(draw_disc(STANDARD_SCENE), []))
    for one in observations:
        keep_disc(archive, one.id, disc, disc)
    pictures = Pictures(NO_BLOB, NO_BLOB, NO_BLOB, NO_BLOB)
    content = Content(SiteInfo("The Sun", "A. Teal"), [Entry(one, pictures) for one in observations])
    entries = with_derotated(archive, content, {one.id: disc for one in observations}).entries
    archive.store.commit()
    return {entry.observation.id: entry.derotated for entry in entries if entry.derotated is not None}


def _pairs(archive: Archive, observations: Sequence[Observation]) -> dict[str, str]:
    return {name[8:10]: one.to_observation[8:10] for name, one in _compared(archive, observations).items()}


def _day(number: float, **changes: object) -> Observation:
    return replace(observed(EPOCH + timedelta(days=number)), **changes)


def test_a_day_is_compared_with_the_last_of_its_band_whose_north_is_known(archive: Archive) -> None:
    days = [
        _day(0),
        _day(1, orientation=UNKNOWN),
        _day(2, band="h-alpha"),
        _day(3),
        _day(3.1, band="h-alpha"),  # the day's main picture is the white one
        _day(4, band="h-alpha"),
    ]
    assert _pairs(archive, days) == {"04": "01", "05": "03"}


def test_after_more_than_a_week_nothing_is_left_to_compare(archive: Archive) -> None:
    assert _pairs(archive, [_day(0), _day(7.5), _day(14.4)]) == {"15": "08"}


def test_a_carried_disc_is_made_once_and_again_when_either_view_changes(archive: Archive) -> None:
    days = [_day(0), _day(1)]
    compared = _compared(archive, days)
    kept = rows(archive.root, derotated_picture)
    assert list(kept) == [days[1].id]
    assert _compared(archive, days) == compared
    assert rows(archive.root, derotated_picture) == kept
    later = replace(days[0], time_utc=days[0].time_utc + timedelta(minutes=20))
    after = _compared(archive, [later, days[1]])
    assert rows(archive.root, derotated_picture) != kept
    before, now = (found[days[1].id].picture for found in (compared, after))
    assert before != now
    with Image.open(io.BytesIO(archive.store.read_blob(now))) as picture:
        assert picture.size == (512, 512)  # half the side: what pages show without a script
    with pytest.raises(DamagedBlobError):  # what nothing holds any more is gone
        archive.store.read_blob(before)


@pytest.mark.parametrize("b0_deg", [-7.2, 7.2])
def test_a_surface_is_turned_by_the_law_whatever_the_tilt(b0_deg: float) -> None:
    """Howard, Gilman & Gilman (1984), all spots: 14.522 - 2.84 sin^2 deg a day, sidereal."""
    places = [(25.0, 20.0), (-30.0, 5.0), (5.0, 45.0)]
    scene = replace(STANDARD_SCENE, b0_deg=b0_deg, spots=tuple(Spot(*place, 2.0) for place in places))
    seen_at, at = ViewGeometry(2.0, b0_deg, 100.0), ViewGeometry(0.0, b0_deg + 1.0, 126.4)
    turned = derotated_disc(flatten_disc(draw_disc(scene), STANDARD_FRAME), STANDARD_FRAME, seen_at, at).mean(axis=2)
    before = replace(STANDARD_SCENE, b0_deg=b0_deg + 1.0)
    for latitude, longitude in places:
        # Two days of what spots turn faster than the Carrington frame, by definition 14.1844 deg a day.
        drift = 2.0 * (14.522 - 2.84 * np.sin(np.radians(latitude)) ** 2 - 14.1844)
        x, y, _ = place_on_picture(before, latitude, longitude + 100.0 - drift - 126.4)
        found = darkness_centre(turned, x, y)
        assert np.hypot(found[0] - x, found[1] - y) < 0.4
