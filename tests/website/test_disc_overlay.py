"""What lies over a disc, as files and marks of a page."""

from __future__ import annotations

from dataclasses import replace
from xml.etree import ElementTree

import numpy as np

from archive.website.addresses import Here, graticule_file
from archive.website.content import DiscLabel, Graticule, Overlay
from archive.website.disc_overlay import graticule_svg, overlay_view
from archive.website.zoom import earth_arcsec

GRATICULE = Graticule(
    -3.4,
    lines=(((0.0, 0.0), (10.0, 20.04)),),
    main=(((511.5, 50.0), (511.5, 900.0)),),
    numbers=(DiscLabel("N30", 511.5, 280.0),),
)
AXIS = (((511.5, 50.7), (511.5, 30.0)),)
PAGE = Here("days/2026-06-03/index.html")


def _names(*labels: DiscLabel, pages: tuple[str, ...] = ()) -> dict[str, tuple[float, float]]:
    view = overlay_view(Overlay(-3.4, AXIS, labels), PAGE, group_pages=pages)
    assert view is not None
    return {one.name: (float(one.x), float(one.y)) for one in view.names}


def test_names_stand_above_their_groups_and_out_of_each_other_s_way() -> None:
    assert _names(DiscLabel("2312-1", 300.0, 400.0)) == {"2312-1": (300.0, 366.0)}
    names = _names(DiscLabel("2312-1", 300.0, 400.0), DiscLabel("2312-2", 340.0, 410.0))
    assert names["2312-1"][1] < 400.0 < 410.0 < names["2312-2"][1]


def test_names_lie_on_no_spot_and_on_no_other_name() -> None:
    """On drawn Suns of up to twelve groups, with letters as large as on a telephone: 36 of the disc's 1024 pixels."""
    seeded = np.random.default_rng(7)
    crossed = total = 0
    for _ in range(60):
        labels, spots = [], []
        for number in range(int(seeded.integers(1, 13))):
            x, y = seeded.uniform(150.0, 870.0, 2)
            labels.append(DiscLabel(f"2312-{number + 1}", x, y))
            for _ in range(int(seeded.integers(1, 7))):
                spots.append((x + seeded.normal(0.0, 22.0), y + seeded.normal(0.0, 7.0), seeded.uniform(2.0, 18.0)))
        view = overlay_view(Overlay(-3.4, AXIS, tuple(labels), tuple(spots)), PAGE, group_pages=())
        assert view is not None
        boxes = [(float(one.x), float(one.y), 0.5 * 36.0 * len(one.name) / 2.0, 13.0) for one in view.names]
        total += len(boxes)
        for number, (x, y, wide, high) in enumerate(boxes):
            on_spot = any(
                np.hypot(max(abs(sx - x) - wide, 0.0), max(abs(sy - y) - high, 0.0)) < radius
                for sx, sy, radius in spots
            )
            on_name = any(
                abs(x - ox) < wide + other and abs(y - oy) < 2.0 * high for ox, oy, other, _ in boxes[:number]
            )
            crossed += on_spot or on_name
    assert total > 300
    assert crossed == 0


def test_a_name_is_a_link_only_where_its_group_has_a_page() -> None:
    labels = (DiscLabel("2312-1", 300.0, 400.0), DiscLabel("2312-2", 600.0, 400.0))
    view = overlay_view(Overlay(-3.4, AXIS, labels), PAGE, group_pages={"2312-2"})
    assert view is not None
    assert [one.href for one in view.names] == ["", "../../groups/2312-2/index.html"]
    assert overlay_view(None, PAGE, group_pages=()) is None


def test_the_grid_is_a_whole_svg_in_the_disc_s_pixels_shared_by_tilt() -> None:
    assert [graticule_file(b0_deg) for b0_deg in (-3.4, 0.0, 7.2)] == [
        "grids/s03.4.svg",
        "grids/n00.0.svg",
        "grids/n07.2.svg",
    ]
    svg = ElementTree.fromstring(graticule_svg(GRATICULE).decode())
    # (0, 0) is the centre of the top-left pixel, so the frame begins half a pixel before it.
    assert svg.attrib["viewBox"] == "-0.5 -0.5 1024 1024"
    paths = [element.attrib["d"] for element in svg.iter("{http://www.w3.org/2000/svg}path")]
    assert paths == ["M0.0,0.0L10.0,20.0", "M511.5,50.0L511.5,900.0"]
    assert b"http" not in graticule_svg(GRATICULE).replace(b"http://www.w3.org/2000/svg", b"")


def test_the_earth_is_as_wide_as_twice_the_solar_parallax() -> None:
    """IAU 1976: 8.794148 arcsec; and from the radii, 6378.137 km at 149597870.7 km."""
    assert round(earth_arcsec(1.0), 3) == round(2 * 6378.137 / 149597870.7 * 206264.806, 3) == 17.588
    assert earth_arcsec(1.0167) < earth_arcsec(0.9833)


def test_a_grid_s_curves_are_drawn_to_a_tenth_of_a_pixel_with_few_points() -> None:
    angles = np.linspace(0.0, np.pi, 200)
    curve = tuple(zip(511.5 + 400.0 * np.cos(angles), 511.5 - 90.0 * np.sin(angles), strict=True))
    svg = ElementTree.fromstring(graticule_svg(replace(GRATICULE, lines=(curve,))).decode())
    data = next(svg.iter("{http://www.w3.org/2000/svg}path")).attrib["d"]
    points = np.array([place.split(",") for place in data.removeprefix("M").split("L")], dtype=float)
    assert len(points) < 70
    # Its heights between the points that stay, read along x.
    between = np.interp([x for x, _ in curve[20:-20]], points[::-1, 0], points[::-1, 1])
    assert np.abs(between - [y for _, y in curve[20:-20]]).max() < 0.3
