"""The charts, read as a reader does: places on the paper against the figures written along the axes."""

from __future__ import annotations

import re
import time
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest

from archive.model.group import GroupRotation
from archive.model.times import days_since_1970
from archive.website.chart_axes import NARROW, WIDE, Size, time_ticks, value_axis
from archive.website.chart_svg import Colour
from archive.website.charts import (
    Counted,
    Curve,
    Drawn,
    Life,
    Seen,
    Turned,
    activity_chart,
    butterfly_chart,
    is_long,
    latitude_chart,
    rotation_row,
    turning_chart,
)
from archive.website.content import Content
from archive.website.render import static_files
from website.invented import ALL_SPOTS, OWN_LAW, build_site
from website.read_pages import Links, page_text

PAGE = "charts/index.html"
START = days_since_1970(datetime(2026, 6, 3, 12, tzinfo=UTC))
Point = tuple[float, float]


def _days(offsets: list[float], *, relative_number: float = 20.0) -> tuple[Counted, ...]:
    return tuple(Counted(START + offset, relative_number, 10.0 * offset) for offset in offsets)


def _activity(offsets: list[float]) -> Drawn:
    days = _days(offsets)
    return activity_chart(days, (days[0].time_days, days[-1].time_days), "words")


def _texts(svg: str) -> dict[str, Point]:
    """Return where each text of a chart stands; of words written twice the last."""
    drawn = ElementTree.fromstring(svg)
    return {one.text or "": (float(one.attrib["x"]), float(one.attrib["y"])) for one in drawn.iter("text")}


def _lines(svg: str, colour: Colour) -> list[list[Point]]:
    """Return the lines of a colour as the points that they go through; a dot is a single point."""
    lines = []
    for path in ElementTree.fromstring(svg).iter("path"):
        if path.get("stroke") == f"var(--{colour.name.lower()})":
            for piece in path.attrib["d"].split("M")[1:]:
                numbers = [float(value) for value in re.findall(r"-?[\d.]+", piece.removesuffix("h0"))]
                lines.append(list(zip(numbers[::2], numbers[1::2], strict=True)))
    return lines


def _dots(svg: str, colour: Colour) -> list[Point]:
    return [line[0] for line in _lines(svg, colour) if len(line) == 1]


@pytest.mark.parametrize("size", ["wide", "narrow"])
def test_a_gap_in_time_is_a_gap(size: str) -> None:
    # Three days running, four without a picture, two running: two lines, of three and of two points, in each panel.
    svg = getattr(_activity([0, 1, 2, 7, 8]), size)
    assert sorted(len(line) for line in _lines(svg, Colour.QUIET) if len(line) > 1) == [2, 2, 3, 3]
    assert len(_dots(svg, Colour.ACCENT)) == 10


@pytest.mark.parametrize("size", ["wide", "narrow"])
def test_dots_stand_at_their_time_and_figure(size: str) -> None:
    svg = getattr(activity_chart(_days([0, 1, 3], relative_number=10.0), (START, START + 3), "words"), size)
    texts, dots = _texts(svg), _dots(svg, Colour.ACCENT)[:3]
    # From midnight of the 4th to that of the 5th is a day; the dots are of noon on 3, 4 and 6 June.
    labels = sorted((x, words) for words, (x, _) in texts.items() if "Jun" in words)
    day = _day_width(labels)
    assert dots[1][0] - dots[0][0] == pytest.approx(day, abs=0.11)
    assert dots[2][0] - dots[1][0] == pytest.approx(2 * day, abs=0.11)
    assert dots[0][0] - _x_of(labels, 3, day) == pytest.approx(day / 2, abs=0.15)
    # In the upper panel R = 10 lies halfway between the lines of 0 and 20. Both panels have a nought: that of the lower
    # is read last, so the upper one's place is told by the panel's own lines.
    heights = sorted({y for line in _lines(svg, Colour.RULE) if line[0][1] == line[1][1] for _, y in line})
    nought = max(y for y in heights if y < _texts(svg)["Area, millionths of the hemisphere"][1])
    twenty = min(heights)
    assert texts["20"][1] - twenty == pytest.approx(texts["0"][1] - max(heights), abs=0.15)
    assert [y for _, y in dots] == pytest.approx([(nought + twenty) / 2] * 3, abs=0.11)


@pytest.mark.parametrize("size", ["wide", "narrow"])
def test_a_change_of_instrument_is_marked_between_its_days(size: str) -> None:
    days = _days([0, 1, 4, 5])
    svg = getattr(activity_chart(days, (START, START + 5), "words", changes=[START + 2.5]), size)
    uprights = [
        path
        for path in ElementTree.fromstring(svg).iter("path")
        if path.attrib.get("stroke-dasharray") and path.attrib["stroke"] == Colour.QUIET.value
    ]
    assert len(uprights) == 2  # a panel each
    dots = [x for x, _ in _dots(svg, Colour.ACCENT)]
    for path in uprights:
        (x, bottom), (again, top) = [tuple(map(float, place.split())) for place in path.attrib["d"][1:].split("L")]
        assert x == again == pytest.approx((dots[1] + dots[2]) / 2, abs=0.2)
        assert top < bottom


def test_the_charts_tell_which_instrument_took_over(content: Content, tmp_path: Path) -> None:
    first, *rest = content.entries
    entries = [replace(first, observation=replace(first.observation, instrument="paper tube")), *rest]
    build_site(replace(content, entries=entries), tmp_path / "site")
    text = page_text(tmp_path / "site", PAGE)
    assert "A dashed line marks a change of instrument: 80 mm refractor from 3 June 2026." in text


def _day_width(labels: list[tuple[float, str]]) -> float:
    (left, first), (right, second) = labels[:2]
    return (right - left) / (int(second.split()[0]) - int(first.split()[0]))


def _x_of(labels: list[tuple[float, str]], day: int, day_width: float) -> float:
    x, words = labels[0]
    return x + (day - int(words.split()[0])) * day_width


def test_one_day_alone_stands_in_the_middle_of_a_week() -> None:
    svg = str(_activity([0]).wide)
    ((x, _), _) = _dots(svg, Colour.ACCENT)
    ends = [x for line in _lines(svg, Colour.RULE) if line[0][1] == line[1][1] for x, _ in line]
    assert x == pytest.approx((min(ends) + max(ends)) / 2, abs=0.11)


def test_many_years_show_the_means_of_their_months() -> None:
    # Four days a month with R 0 and 40 in turn: every mean is 20. A year is missing, and the line with it.
    times = [
        days_since_1970(datetime(year, month, day, tzinfo=UTC))
        for year in (2020, 2022)
        for month in range(1, 13)
        for day in (2, 9, 16, 23)
    ]
    days = tuple(Counted(at, 40.0 * (number % 2), None) for number, at in enumerate(times))
    assert is_long((times[0], times[-1]))
    svg = str(activity_chart(days, (times[0], times[-1]), "words").wide)
    first, second = _lines(svg, Colour.INK)
    assert (len(first), len(second)) == (12, 12)
    # A thousand times nought does not tell the scale: the line lies halfway between the dots of 0 and of 40.
    dots = [y for _, y in _dots(svg, Colour.ACCENT)]
    assert [y for _, y in (*first, *second)] == pytest.approx([(min(dots) + max(dots)) / 2] * 24, abs=0.11)


def test_a_day_that_was_not_counted_is_marked_below_zero(content: Content, tmp_path: Path) -> None:
    svg = str(activity_chart(_days([0, 1, 3]), (START, START + 3), "words", uncounted=[START + 2]).wide)
    (mark,) = [line for line in _lines(svg, Colour.QUIET) if line[0][0] == line[1][0]]
    dots = sorted(x for x, _ in _dots(svg, Colour.ACCENT)[:3])
    assert mark[0][0] == pytest.approx((dots[1] + dots[2]) / 2, abs=0.2)
    assert min(y for _, y in mark) > max(y for _, y in _dots(svg, Colour.ACCENT)[:3])
    without = replace(content.entries[0], observation=replace(content.entries[0].observation, counts=None, groups=None))
    build_site(replace(content, entries=[without, *content.entries[1:]]), tmp_path / "site")
    assert "A short mark below zero is a day whose spots were not counted" in page_text(tmp_path / "site", PAGE)


def test_over_years_cells_of_latitude_and_time_fill_with_the_area_of_spots() -> None:
    # A group of 60 millionths on every counted day of a rotation, one of 12 on a quarter of them: means of 60 and 3.
    days = [START + day for day in range(8)]
    seen = [Seen(day, 15.5, 60.0) for day in days] + [Seen(day, -9.0, 12.0) for day in days[:2]]
    row = rotation_row(START)
    assert {rotation_row(day) for day in days} == {row}
    svg = str(butterfly_chart(seen, {row: len(days)}, (START - 600, START + 600), "words").wide)
    texts, cells = _texts(svg), _lines(svg, Colour.ACCENT)
    south, north = sorted(cells, key=lambda line: -line[0][1])
    lift = (texts["S15°"][1] - texts["N15°"][1]) / 30.0
    middle = texts["0°"][1] - 10.5 * 0.76 / 2
    assert (middle - north[0][1]) / lift == pytest.approx(15.0, abs=0.2)  # the cell from 14 to 16
    assert (middle - south[0][1]) / lift == pytest.approx(-9.0, abs=0.2)
    widths = [float(one) for one in re.findall(r'stroke="var\(--accent\)" stroke-width="([\d.]+)"', svg)]
    assert widths[0] < widths[1] == pytest.approx(2.0 * lift, abs=0.11)


def test_the_published_smoothed_number_is_drawn_over_years_only() -> None:
    published = [(START - 300.0 + 30.0 * month, 20.0 + month) for month in range(20)]
    for span, drawn in (((START - 300.0, START + 300.0), True), ((START, START + 3.0), False)):
        svg = str(activity_chart(_days([0, 1, 3]), span, "words", smoothed=published).wide)
        dotted = [path for path in ElementTree.fromstring(svg).iter("path") if path.attrib["stroke"] == "var(--ink)"]
        assert any(path.attrib.get("stroke-dasharray") for path in dotted) is drawn


def test_a_group_is_a_stroke_at_its_latitude_as_wide_as_it_is_large() -> None:
    lives = (Life(START, START + 4, 15.0, 50.0), Life(START + 1, START + 3, -30.0, 700.0))
    svg = str(latitude_chart(lives, (START, START + 4), "words").wide)
    texts = _texts(svg)
    north, south = _lines(svg, Colour.ACCENT)
    lift = texts["0°"][1] - texts["S15°"][1]
    assert north[0][1] - south[0][1] == pytest.approx(texts["N15°"][1] - texts["S30°"][1], abs=0.11)
    assert north[0][1] - south[0][1] == pytest.approx(3 * lift, abs=0.31)
    assert (south[1][0] - south[0][0]) / (north[1][0] - north[0][0]) == pytest.approx(0.5, abs=0.002)
    widths = re.findall(r'stroke="var\(--accent\)" stroke-width="([\d.]+)"', svg)
    assert float(widths[0]) < float(widths[1])


@pytest.mark.parametrize("size", ["wide", "narrow"])
def test_rates_and_laws_are_read_off_at_their_figures(size: str) -> None:
    groups = (Turned(30.0, 13.6, 0.2), Turned(-15.0, 14.6, 0.1))
    curves = (Curve(ALL_SPOTS, Colour.QUIET, "6,2"), Curve(OWN_LAW, Colour.ACCENT, ""))
    svg = getattr(turning_chart(groups, curves, "words"), size)
    texts = _texts(svg)
    figures = sorted((float(words), y) for words, (_, y) in texts.items() if re.fullmatch(r"1\d\.\d+", words))
    (low, low_y), (high, high_y) = figures[0], figures[-1]
    # A text is hung so that its middle, not its foot, is at the figure; the lines across are at the figure itself.
    lines = sorted({line[0][1] for line in _lines(svg, Colour.RULE) if line[0][1] == line[1][1]})
    foot = low_y - lines[-1]

    def rate(y: float) -> float:
        return low + (low_y - foot - y) * (high - low) / (low_y - high_y)

    def latitude(x: float) -> float:
        return 15.0 * (x - texts["0°"][0]) / (texts["N15°"][0] - texts["0°"][0])

    dots = [(latitude(x), rate(y)) for x, y in _dots(svg, Colour.INK)]
    assert np.allclose(dots, [(30.0, 13.6), (-15.0, 14.6)], atol=0.05)
    (own,) = _lines(svg, Colour.ACCENT)
    middle = own[len(own) // 2]
    # The law's own formula: A at the equator, A + B / 4 at 30 degrees.
    assert (latitude(middle[0]), rate(middle[1])) == pytest.approx((0.0, 14.4), abs=0.02)
    nearest = min(own, key=lambda point: abs(latitude(point[0]) - 30.0))
    assert rate(nearest[1]) == pytest.approx(14.4 - 2.5 / 4, abs=0.02)
    bars = [line for line in _lines(svg, Colour.QUIET) if len(line) == 2]
    assert [rate(upper[1]) - rate(lower[1]) for lower, upper in bars] == pytest.approx([0.4, 0.2], abs=0.02)
    assert 'stroke-dasharray="6,2"' in svg


def test_nothing_is_drawn_outside_the_paper() -> None:
    groups = (Turned(55.0, 16.0, 0.4), Turned(-62.0, 12.0, 0.1))
    drawn = turning_chart(groups, (Curve(ALL_SPOTS, Colour.QUIET, "6,2"),), "words")
    for svg, size in ((drawn.wide, WIDE), (drawn.narrow, NARROW)):
        height = float(ElementTree.fromstring(svg).attrib["viewBox"].split()[3])
        points = [point for colour in Colour for line in _lines(svg, colour) for point in line]
        assert all(0 <= x <= size.width and 0 <= y <= height for x, y in points)


@pytest.mark.parametrize("size", [WIDE, NARROW], ids=["wide", "narrow"])
def test_dates_under_an_axis_are_true_and_not_too_many(size: Size) -> None:
    rng = np.random.default_rng(20260603)
    for span in (*range(7, 800, 5), *rng.uniform(800, 40000, 60)):
        first = float(rng.uniform(-5000, 30000))
        ticks = time_ticks(first, first + float(span), most=size.ticks)
        assert 2 <= len(ticks) <= size.ticks, span
        assert re.search(r"\d{4}$", ticks[0][1])
        for days, words in ticks:
            assert first <= days <= first + span
            at = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(days=days)
            year, month, day = _date(words)
            assert (month, day) == (at.month, at.day)
            assert year in (None, at.year)


def _date(words: str) -> tuple[int | None, int, int]:
    """Read what is written under an axis; the standard library knows the months in the C locale."""
    day, month, year = re.fullmatch(r"(?:(\d\d?) )?([A-Z][a-z]{2})?(?: ?(\d{4}))?", words).groups()  # type: ignore[union-attr]
    return int(year) if year else None, time.strptime(month or "Jan", "%b").tm_mon, int(day or 1)


@pytest.mark.parametrize(
    ("first", "last", "most", "written"),
    [
        # Steps of 1, 2, 2.5 and 5 times a power of ten, the smallest that leaves at most so many; as many decimals as
        # the step has.
        (0.0, 21.6, 5, ["0", "5", "10", "15", "20"]),
        (0.0, 108.0, 5, ["0", "25", "50", "75", "100"]),
        (0.0, 9720.0, 5, ["0", "2000", "4000", "6000", "8000"]),
        (13.1, 14.8, 7, ["13.25", "13.50", "13.75", "14.00", "14.25", "14.50", "14.75"]),
        (12.0, 19.0, 7, ["12", "13", "14", "15", "16", "17", "18", "19"]),
        (14.32, 14.36, 7, ["14.32", "14.33", "14.34", "14.35", "14.36"]),
        (-0.5, 0.5, 4, ["−0.50", "−0.25", "0.00", "0.25", "0.50"]),
    ],
)
def test_figures_along_an_axis_are_round(first: float, last: float, most: int, written: list[str]) -> None:
    axis = value_axis(first, last, most=most)
    assert [words for _, words in axis.ticks] == written
    assert [value for value, _ in axis.ticks] == pytest.approx([float(words.replace("−", "-")) for words in written])


def test_rates_that_are_all_alike_have_an_axis_all_the_same() -> None:
    svg = turning_chart((Turned(3.0, 14.5, 0.0),), (), "words").wide
    heights = [y for words, (_, y) in _texts(svg).items() if re.fullmatch(r"1\d\.\d", words)]
    ((_, y),) = _dots(svg, Colour.INK)
    assert len(heights) >= 3
    assert min(heights) < y < max(heights)


def test_a_chart_has_words_for_who_cannot_see_it_and_only_the_pages_colours() -> None:
    drawn = activity_chart(_days([0, 1]), (START, START + 1), 'R & "words"')
    for svg in (drawn.wide, drawn.narrow):
        chart = ElementTree.fromstring(svg)
        title, described = chart.attrib["aria-labelledby"].split()
        assert {title: "R and area of spots against time", described: 'R & "words"'} == {
            one.get("id"): one.text for one in chart if one.get("id")
        }
        allowed = {
            "d",
            "x",
            "y",
            "fill",
            "stroke",
            "stroke-width",
            "stroke-linecap",
            "stroke-dasharray",
            "font-size",
            "text-anchor",
        }
        drawing = [one for one in chart.iter() if one.tag in ("path", "text")]
        assert {name for one in drawing for name in one.attrib} <= allowed
        colours = {one.get(name) for one in drawing for name in ("fill", "stroke")} - {None, "none"}
        named = set(re.findall(r"--([\w-]+):", static_files()["static/style.css"].decode()))
        assert colours <= {f"var(--{name})" for name in named}
        assert len(colours) > 1


def test_behind_each_chart_stand_its_figures(site: Path) -> None:
    text = page_text(site, PAGE).replace("\N{NO-BREAK SPACE}", " ")
    assert "Day Groups Spots R Area 2 June 2026 1 4 14 180 3 June 2026 by hand 2 6 26 255" in text
    assert "2312-1 2 June 2026 3 June 2026 N12.3° 240" in text
    assert "2312-1 N12.3° 14.37 ± 0.15" in text
    assert "this archive: 14.40 ± 0.05 − (2.50 ± 0.60) sin2 φ fitted to 14 groups" in text.replace(
        "\N{NO-BREAK SPACE}", " "
    )
    tags = [tag for tag, _ in Links((site / PAGE).read_text()).tags]
    assert tags.count("details") == 3


def test_a_rate_hardly_known_stands_in_the_table_only(content: Content, tmp_path: Path) -> None:
    vague = replace(content.groups[0], rotation=GroupRotation(14.37, 0.9, 12.0, 3))
    build_site(replace(content, groups=(vague,)), tmp_path / "site")
    text = page_text(tmp_path / "site", PAGE)
    assert "0 groups and 2 laws of rotation." in text
    assert "14.37 ± 0.90" in text.replace("\N{NO-BREAK SPACE}", " ")


def test_with_nothing_to_draw_each_chart_says_why(content: Content, tmp_path: Path) -> None:
    build_site(replace(content, entries=(), groups=(), own_law=None, published_laws=()), tmp_path / "site")
    text = page_text(tmp_path / "site", PAGE)
    assert "No picture has been counted yet." in text
    assert "No sunspot group has been followed yet." in text
    assert "No rotation has been measured yet" in text
    assert "svg" not in {tag for tag, _ in Links((tmp_path / "site" / PAGE).read_text()).tags}


def test_a_spotless_archive_is_drawn_at_nought(content: Content, tmp_path: Path) -> None:
    entries = []
    for entry in content.entries:
        one = entry.observation
        counts = None if one.counts is None else replace(one.counts, groups=0, spots=0, relative_number=0.0)
        entries.append(replace(entry, observation=replace(one, counts=counts, groups=(), spot_area_msh=None)))
    build_site(replace(content, entries=entries, groups=()), tmp_path / "site")
    text = page_text(tmp_path / "site", PAGE)
    assert "R on 2 days, 2 to 3 June 2026: from 0 to 0." in text
    assert "2 June 2026 0 0 0 –" in text
    assert "north up: no spots" in (tmp_path / "site/days/2026-06-02/index.html").read_text()
