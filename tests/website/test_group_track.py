"""A group's track and life: where its dots stand on the drawn disc, and how high its stems are."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from archive.website.content import Content
from archive.website.followed import followed_groups
from archive.website.group_track import group_life, group_track
from website.read_pages import page_text


@pytest.mark.parametrize("b0_deg", [-7.25, 0.0, 6.1])
@pytest.mark.parametrize(("latitude_deg", "meridian_deg"), [(12.3, -30.1), (-31.0, 62.0), (0.0, 0.0), (8.0, 85.0)])
def test_a_dot_stands_where_turning_a_sphere_puts_it(
    content: Content, b0_deg: float, latitude_deg: float, meridian_deg: float
) -> None:
    seen = followed_groups(content)[0].seen[0]
    sun = replace(seen.observation.sun, b0_deg=b0_deg)
    entry = replace(seen.entry, observation=replace(seen.observation, sun=sun))
    track = group_track([replace(seen, entry=entry, latitude_deg=latitude_deg, meridian_deg=meridian_deg)])
    assert track is not None
    # Towards the Earth is x, west y, north z: a point at the disc's middle is turned west by its meridian distance,
    # north by its latitude, and the pole is then tipped towards us by B0 (scipy knows nothing of the Sun).
    point = Rotation.from_euler("yzy", [-latitude_deg, meridian_deg, b0_deg], degrees=True).apply([1.0, 0.0, 0.0])
    assert (track.dots[0].x, -track.dots[0].y) == pytest.approx(100 * point[1:], abs=0.06)


def test_the_track_goes_from_east_to_west_and_says_so(content: Content) -> None:
    track = group_track(followed_groups(content)[0].seen)
    assert track is not None
    rights = [dot.x for dot in track.dots]
    assert rights == sorted(rights)
    assert track.description == "From N12 E30 on 2 June to N12 E14 on 3 June."
    assert [name.words for name in track.names] == ["2 June", "3 June"]


def test_stems_are_as_high_as_the_areas(content: Content) -> None:
    life = group_life(followed_groups(content)[0].seen)
    assert (life.top, life.first, life.last) == ("250", "2 June", "3 June")
    found = re.findall(r"M([\d.]+),110V([\d.]+)", life.stems)
    times, heights = np.array(found, dtype=float).T
    # 180, 240 and 230 millionths under a line at 250; 09:15 on the first and 09:15, 14:15 on the second of two days.
    assert 110.0 - heights == pytest.approx(110.0 * np.array([180, 240, 230]) / 250.0, abs=0.06)
    assert times == pytest.approx(300.0 * np.array([9.255, 33.255, 38.255]) / 48.0, abs=0.1)


def test_both_have_words_for_who_cannot_see_them(site: Path) -> None:
    text = page_text(site, "groups/2312-1/index.html")
    assert "From N12 E30 on 2 June to N12 E14 on 3 June." in text
    assert "Area in 3 pictures, 2 to 3 June 2026: the largest 240 millionths on 3 June." in text
