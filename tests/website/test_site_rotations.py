"""The pages of Carrington rotations: which map shows a group, and where the map's axes stand."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from pathlib import Path

import pytest

from archive.website.content import Content
from archive.website.followed import Seen
from website.invented import L0_DEG, build_site
from website.invented import content as invented_content
from website.read_pages import Links, page_text

PAGE = "rotations/2312/index.html"
# Meeus, Astronomical Algorithms, chapter 29: the mean length of a synodic rotation.
SYNODIC_DAYS = 27.2752316


def _seen(content: Content, *, rotation: int, l0_deg: float, meridian_deg: float) -> Seen:
    entry = content.entries[0]
    sun = replace(entry.observation.sun, carrington_rotation=rotation, l0_deg=l0_deg)
    group = content.groups[0].sightings[0].group
    longitude_deg = (l0_deg + meridian_deg) % 360.0
    return Seen(
        replace(entry, observation=replace(entry.observation, sun=sun)),
        group,
        False,
        latitude_deg=0.0,
        longitude_deg=longitude_deg,
        meridian_deg=meridian_deg,
    )


@pytest.mark.parametrize("l0_deg", [0.5, 30.0, 180.0, 330.0, 359.5])
@pytest.mark.parametrize("meridian_deg", [-80.0, -31.0, 0.0, 31.0, 80.0])
def test_a_group_is_on_the_map_of_the_rotation_in_which_it_passes_the_meridian(
    content: Content, l0_deg: float, meridian_deg: float
) -> None:
    # Time is carried on or back to the passage, and the turns of 360 degrees until then are counted.
    seen = _seen(content, rotation=2312, l0_deg=l0_deg, meridian_deg=meridian_deg)
    days_to_passage = -meridian_deg * SYNODIC_DAYS / 360.0
    turns = 2312 + (360.0 - l0_deg) / 360.0 + days_to_passage / SYNODIC_DAYS
    assert seen.map_rotation == math.floor(turns + 1e-9)


def test_the_rings_stand_on_the_axes_of_the_map(site: Path) -> None:
    html = (site / PAGE).read_text()
    # The axes as drawn: units along x a degree of longitude, and along y a degree of latitude.
    at = {words: (float(x), float(y)) for x, y, words in re.findall(r'<text x="([-\d.]+)" y="([-\d.]+)">([^<]+)', html)}
    per_longitude = (at["300°"][0] - at["60°"][0]) / 240.0
    per_latitude = (at["S30°"][1] - at["N30°"][1]) / 60.0
    rings = {
        name: (float(x), float(y))
        for name, x, y in re.findall(r'aria-label="Group ([\d-]+)"><circle cx="([\d.]+)" cy="([\d.]+)"', html)
    }
    x, y = rings["2312-1"]
    # Nearest to the meridian it stood at 14.4 degrees east; until it passed there, its longitude grew by the law of
    # Howard, Gilman & Gilman (1984) against Carrington's 14.1844 degrees a day (IAU).
    rate = 14.522 - 2.84 * math.sin(math.radians(12.3)) ** 2
    grown_deg = (rate - 14.1844) * 14.4 / (rate - 360.0 / 365.2422)
    assert grown_deg == pytest.approx(0.22, abs=0.01)
    assert (x - at["60°"][0]) / per_longitude + 60.0 == pytest.approx(L0_DEG - 14.4 + grown_deg, abs=0.03)
    assert 30.0 - (y - at["N30°"][1]) / per_latitude == pytest.approx(12.3, abs=0.1)


def test_a_group_past_the_seam_is_on_the_map_of_the_last_rotation(site: Path) -> None:
    # L0 is 340.6 and the group 34 degrees west of it: at longitude 14.8, which passed in the rotation before; it was at
    # 14.1 then, for its parallel turns by 0.26 degrees a day faster than Carrington's longitudes.
    assert "2312-2" not in page_text(site, PAGE)
    assert "2312-2 3 June S08.1° 14.1°" in page_text(site, "rotations/2311/index.html")


def test_the_page_gives_dates_share_files_and_days(site: Path) -> None:
    text = page_text(site, PAGE)
    assert "27 May to 23 June 2026" in text
    assert "The map shows 47 % of the surface; hatched areas were not observed." in text
    targets = Links((site / PAGE).read_text()).targets
    assert {"map.png", "map.fits", "../2311/index.html", "../../days/2026-06-05/index.html"} <= set(targets)
    assert (site / "rotations/2312/map.fits").read_bytes().startswith(b"SIMPLE")
    assert "No picture in this rotation" in page_text(site, "rotations/2311/index.html")


def test_a_film_of_the_rotation_is_played_there_whatever_its_style(content: Content, tmp_path: Path) -> None:
    made = content.films[0]
    films = [
        replace(made, stem="rotation-2312-smooth", rotation=2312),
        replace(made, stem="rotation-23120", rotation=23120),
        replace(made, stem="last-days", rotation=None),
    ]
    build_site(replace(content, films=films), tmp_path / "site")
    tags = Links((tmp_path / "site" / PAGE).read_text()).tags
    videos = [attrs["src"] for tag, attrs in tags if tag == "source" and attrs.get("type") == "video/mp4"]
    assert videos == ["../../films/rotation-2312-smooth.mp4"]


def test_the_list_has_the_newest_first_with_the_size_of_each_map(site: Path) -> None:
    images = [attrs for tag, attrs in Links((site / "rotations/index.html").read_text()).tags if tag == "img"]
    assert [image["src"] for image in images] == ["2312/map.png", "2311/map.png"]
    assert {(image["width"], image["height"], image["loading"]) for image in images} == {("1440", "720", "lazy")}


def test_without_maps_the_list_says_so_and_days_link_to_none(tmp_path: Path) -> None:
    build_site(replace(invented_content(tmp_path / "derived"), rotations=()), tmp_path / "site")
    assert "No map yet" in page_text(tmp_path / "site", "rotations/index.html")
    day = (tmp_path / "site/days/2026-06-03/index.html").read_text()
    assert not [target for target in Links(day).targets if "rotations/2" in target]


def test_a_day_links_to_its_rotation(site: Path) -> None:
    targets = Links((site / "days/2026-06-03/index.html").read_text()).targets
    assert "../../rotations/2312/index.html" in targets
