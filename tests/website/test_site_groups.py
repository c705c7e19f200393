"""The pages of sunspot groups: the trade's notation, crops that hold the group, links that lead somewhere."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from archive.disc.aligned import STANDARD_FRAME
from archive.language import days_and_months, format_date_range
from archive.model.constants import DISC_RADIUS_PX, DISC_SIDE_PX
from archive.model.observation import Counts, NamedGroup, Spot, SpotGroup
from archive.model.rotation_law import RotationLaw
from archive.website.content import Content
from archive.website.followed import followed_groups
from archive.website.formatting import format_latitude, format_meridian_distance
from archive.website.group_rows import group_row
from archive.website.pages import Link
from archive.website.rotation_laws import law_formula
from website.invented import ALL_SPOTS, OWN_LAW, UNKNOWN, InventedContent, build_site, picture_bytes, with_groups
from website.read_pages import Links, page_text

FIRST, SECOND = "groups/2312-1/index.html", "groups/2312-2/index.html"
DAY = "days/2026-06-03/index.html"


@pytest.mark.parametrize(
    ("latitude_deg", "west_deg", "words"),
    [(-22, 52, "S22W52"), (18, 35, "N18W35"), (8, -7, "N08E07")],
)
def test_places_are_written_as_the_trade_writes_them(latitude_deg: float, west_deg: float, words: str) -> None:
    # NOAA/USAF region summary of 7 June 2011, regions 1226, 1228, 1232. That west is positive, its longitudes tell:
    # from E07 to W52 they grow from 337 to 036 degrees.
    assert format_latitude(latitude_deg, 0) + format_meridian_distance(west_deg, 0) == words


def test_places_keep_two_digits_and_have_no_negative_zero() -> None:
    assert [format_latitude(value) for value in (8.04, -0.04, -12.35)] == ["N08.0", "N00.0", "S12.3"]


def test_spans_of_days_name_month_and_year_once() -> None:
    june, july, next_year = date(2026, 6, 28), date(2026, 7, 3), date(2027, 1, 2)
    assert format_date_range(june, june) == "28 June 2026"
    assert format_date_range(date(2026, 6, 3), june) == "3 to 28 June 2026"
    assert format_date_range(june, july) == "28 June to 3 July 2026"
    assert format_date_range(july, next_year) == "3 July 2026 to 2 January 2027"
    assert days_and_months(june, july) == "28 June to 3 July"


def test_the_law_is_the_formula_as_printed() -> None:
    # 14.522 - 2.84 sin^2, Howard, Gilman & Gilman (1984); sin^2 of 30 degrees is 1/4.
    assert ALL_SPOTS.rate_deg_per_day(30.0) == pytest.approx(14.522 - 2.84 / 4)
    assert ALL_SPOTS.rate_deg_per_day(-30.0) == ALL_SPOTS.rate_deg_per_day(30.0)
    # Snodgrass & Ulrich (1990): 14.713 - 2.396 sin^2 - 1.787 sin^4.
    doppler = RotationLaw("Doppler features", 14.713, -2.396, -1.787)
    assert doppler.rate_deg_per_day(90.0) == pytest.approx(14.713 - 2.396 - 1.787)
    assert law_formula(doppler) == "14.71 − 2.40 sin<sup>2</sup> φ − 1.79 sin<sup>4</sup> φ"
    assert law_formula(OWN_LAW).replace("\N{NO-BREAK SPACE}", " ") == "14.40 ± 0.05 − (2.50 ± 0.60) sin<sup>2</sup> φ"


def test_the_published_discs_lie_in_the_standard_frame() -> None:
    assert (DISC_SIDE_PX, DISC_RADIUS_PX) == (STANDARD_FRAME.size_px, pytest.approx(STANDARD_FRAME.radius_px))


def _crops(site: Path, path: str) -> list[tuple[str, list[float]]]:
    """Return the picture and the view box of every crop of a page."""
    html = (site / path).read_text(encoding="utf-8")
    found = re.findall(r'viewBox="([^"]+)"><foreignObject width="1024" height="1024">.*?<img src="([^"]+)"', html)
    return [(src, [float(value) for value in box.split()]) for box, src in found]


def test_a_crop_holds_the_spots_where_the_pictures_pixels_are(content: InventedContent, tmp_path: Path) -> None:
    # A spot is painted into a real disc by array indices: 0.5 radii to the right and 0.25 up from the frame's centre.
    entry = content.entries[0]
    pixels = np.full((1024, 1024), 255, dtype=np.uint8)
    column = round(STANDARD_FRAME.centre_px + 0.5 * STANDARD_FRAME.radius_px)
    row = round(STANDARD_FRAME.centre_px - 0.25 * STANDARD_FRAME.radius_px)
    pixels[row - 4 : row + 5, column - 4 : column + 5] = 0
    disc = content.add_blob(picture_bytes(Image.fromarray(pixels), "JPEG", quality=95))
    entry = replace(entry, pictures=replace(entry.pictures, disc=disc))
    group = SpotGroup((Spot(0.5, 0.25, 50.0, 10.0),), 50.0, 10.0, 12.0, 310.0, -30.0)
    entries = [with_groups(entry, [NamedGroup("2312-1", group)], counts=Counts(1, 1, 11.0)), *content.entries[1:]]
    sightings = (replace(content.groups[0].sightings[0], group=group),)
    build_site(
        replace(content, entries=entries, groups=(replace(content.groups[0], sightings=sightings),)), tmp_path / "s"
    )
    ((src, (left, top, width, height)),) = _crops(tmp_path / "s", FIRST)
    with Image.open(tmp_path / "s/groups/2312-1" / src) as picture:
        cut = np.asarray(picture.convert("L").crop((round(left), round(top), round(left + width), round(top + height))))
    rows, columns = np.nonzero(cut < 128)
    assert width == height
    assert 0 < rows.size < cut.size / 2  # a spot on a bright disc
    assert (columns.mean(), rows.mean()) == pytest.approx((width / 2, height / 2), abs=1.5)


def test_the_days_of_a_group_stand_at_one_scale_a_picture_a_day(site: Path) -> None:
    crops = _crops(site, FIRST)
    # Of the two pictures of 3 June the sharper is the day's own.
    assert [src for src, _ in crops] == ["../../days/2026-06-02/0915Z-disc.jpg", "../../days/2026-06-03/1415Z-disc.jpg"]
    assert len({box[2] for _, box in crops}) == 1
    images = [attrs for tag, attrs in Links((site / FIRST).read_text()).tags if tag == "img"]
    assert {image["loading"] for image in images} == {"lazy"}
    assert images[1]["alt"] == "Group 2312-1 on 3 June 2026 at 14:15 UTC, N12 E14: 4 spots"


def test_a_picture_that_does_not_lie_north_up_is_not_cut(content: Content, tmp_path: Path) -> None:
    # A place by hand may stand in a picture whose north is not known; the spots' places in it are not.
    first = replace(content.entries[0], observation=replace(content.entries[0].observation, orientation=UNKNOWN))
    build_site(replace(content, entries=[first, *content.entries[1:]]), tmp_path / "site")
    assert [src for src, _ in _crops(tmp_path / "site", FIRST)] == ["../../days/2026-06-03/1415Z-disc.jpg"]
    assert "N12.3°" in page_text(tmp_path / "site", FIRST)


def test_the_table_of_the_day_links_to_the_groups_and_marks_the_hand(site: Path) -> None:
    hrefs = Links((site / DAY).read_text()).targets
    assert "../../groups/2312-1/index.html" in hrefs
    text = page_text(site, DAY)
    assert "2312-1 N12.3° ± 0.4° 326.2° ± 0.4° E14.4°" in text
    assert "2312-2 by hand S08.1°" in text
    assert "Groups and spots are the observer’s own count." in text


def test_the_largest_group_of_a_day_comes_first(content: Content, tmp_path: Path) -> None:
    entry, group = content.entries[0], content.groups[0].sightings[0].group
    small, large = (
        NamedGroup("2312-1", replace(group, area_msh=5.0)),
        NamedGroup("2312-2", replace(group, area_msh=9.0)),
    )
    entries = [with_groups(entry, [small, large], counts=Counts(2, 8, 28.0)), *content.entries[1:]]
    build_site(replace(content, entries=entries), tmp_path / "site")
    text = page_text(tmp_path / "site", "days/2026-06-02/index.html")
    assert text.index("2312-2 N12.3°") < text.index("2312-1 N12.3°")


def test_groups_of_a_picture_without_north_have_area_and_spots_but_no_position(
    content: Content, tmp_path: Path
) -> None:
    lost = SpotGroup((Spot(0.1, 0.2, 30.0, 6.0),) * 3, 90.0, 18.0)
    entries = [
        *content.entries[:3],
        with_groups(content.entries[3], [NamedGroup(None, lost)], counts=Counts(1, 3, 13.0)),
    ]
    build_site(replace(content, entries=entries), tmp_path / "site")
    text = page_text(tmp_path / "site", "days/2026-06-05/index.html")
    assert "no name – – – 90 3" in text
    assert "North is not known, so the groups cannot be located or named." in text


def test_errors_are_never_written_as_nothing() -> None:
    group = SpotGroup((), 1.0, 0.0, 1.0, 2.0, 3.0, 0.004, None)
    row = group_row(group, Link("x", ""), stated=False)
    assert (row.latitude_error, row.longitude_error) == ("± 0.1°", "")


def test_a_group_is_shown_with_its_rate_beside_the_laws(site: Path) -> None:
    text = page_text(site, FIRST).replace("\N{NO-BREAK SPACE}", " ")
    assert "This group 14.37 ± 0.15" in text
    # At N12.3: 14.522 - 2.84 sin^2(12.3 deg) = 14.522 - 2.84 * 0.04538.
    assert re.search(r"Law: all spots Howard, Gilman & Gilman \(1984\) 14\.39", text)
    assert "Law: this archive 14.29" in text
    assert "Largest area millionths of the solar hemisphere, on 3 June 2026 240" in text
    assert "Seen on in 3 pictures 2 days" in text
    assert "Earlier names no longer used 2312-7" in text


def test_a_group_seen_too_shortly_says_so(site: Path) -> None:
    assert "Seen on too few days to measure its rotation." in page_text(site, SECOND)


def test_returns_link_both_ways_and_to_no_page_that_is_not_there(site: Path) -> None:
    text = page_text(site, FIRST)
    assert "Probable return of via the far side 2311-4" in text
    assert "Probably returned as via the far side 2312-2" in text
    assert not [href for href in Links((site / FIRST).read_text()).targets if "2311-4" in href]
    assert "../2312-1/index.html" in Links((site / SECOND).read_text()).targets


def test_the_list_draws_each_life_to_scale(site: Path) -> None:
    html = (site / "groups/index.html").read_text()
    first, last = (
        float(value)
        for value in re.search(r'<path d="M([\d.]+),6H([\d.]+)M[^"]+"/></svg>2 to 3 June', html).groups()  # type: ignore[union-attr]
    )
    # 14 days from 2 June 0 h over 240 units; 09:15 on 2 June, 14:15 on 3 June, seconds aside.
    assert first == pytest.approx(240 / 14 * (9.25 / 24), abs=0.06)
    assert last == pytest.approx(240 / 14 * (1 + 14.25 / 24), abs=0.06)
    assert "Rotation 2312" in page_text(site, "groups/index.html")


@pytest.mark.parametrize("counted", [True, False])
def test_a_list_without_groups_says_why(content: Content, tmp_path: Path, counted: bool) -> None:
    entries = [
        replace(entry, observation=replace(entry.observation, groups=() if counted else None, counts=None))
        for entry in content.entries
    ]
    build_site(replace(content, entries=entries, groups=()), tmp_path / "site")
    words = "No sunspot group has been tracked yet" if counted else "No picture has been searched for spots yet."
    assert words in page_text(tmp_path / "site", "groups/index.html")
    assert ("No sunspot group on this disc." in page_text(tmp_path / "site", DAY)) is counted


def test_a_group_of_one_sighting_has_its_page(content: Content, tmp_path: Path) -> None:
    only = replace(content.groups[1], sightings=content.groups[1].sightings[:1], return_of=None)
    build_site(replace(content, groups=(only,)), tmp_path / "site")
    text = page_text(tmp_path / "site", SECOND)
    assert "3 June 2026" in text
    assert "first group" in text
    assert "latest group" in text
    # The other group of these days has no page now, and its name stands without a link.
    assert "2312-1" in page_text(tmp_path / "site", DAY)
    assert not [href for href in Links((tmp_path / "site" / DAY).read_text()).targets if "2312-1" in href]


def test_groups_come_in_order_of_their_first_sighting(content: Content) -> None:
    backwards = replace(content, groups=content.groups[::-1], entries=list(content.entries)[::-1])
    assert [group.name for group in followed_groups(backwards)] == ["2312-1", "2312-2"]
    assert [seen.observation.id for seen in followed_groups(backwards)[0].seen] == sorted(
        seen.observation_id for seen in content.groups[0].sightings
    )
