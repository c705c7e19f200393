"""Grid, axis and group names over the disc, as SVG in the pixels of the disc's frame."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from math import hypot, inf

from archive.model.constants import DISC_SIDE_PX
from archive.website.addresses import Here, graticule_file, group_page
from archive.website.content import DiscLabel, Graticule, Line, Overlay

__all__ = ["DiscName", "OverlayView", "graticule_svg", "overlay_view", "svg_path"]

# A name stands above its group, else below or beside it, at the first of these distances where it lies on no spot and
# no other name. It is as large as on a telephone, where letters are larger beside the disc.
_NAMES_AWAY_PX = (34.0, 50.0, 70.0, 95.0, 125.0, 160.0, 200.0)
_LETTER_WIDTH_PX, _NAME_HEIGHT_PX = 19.0, 38.0
_ROUND_A_SPOT_PX = 3.0
_NEAR_PX = 0.12
# On the plate, which is black by day and night: light enough beside the disc, dark enough upon it by its dark seam.
_SEAM, _INK, _MAIN_INK = "#000", "#d9d4c8", "#f0b050"


@dataclass(frozen=True)
class DiscName:
    """A group's name at its place; `href` is empty where the group has no page."""

    name: str
    x: str
    y: str
    href: str


@dataclass(frozen=True)
class OverlayView:
    """What a page lays over a disc: the file of the grid, the axis as path data, the groups' names.

    `ahead` are the groups' ways in the days to come as path data, and where they are after each: empty on older discs.
    """

    grid: str
    axis: str
    names: tuple[DiscName, ...]
    ahead: str = ""
    ahead_at: tuple[tuple[float, float], ...] = ()


def overlay_view(overlay: Overlay | None, here: Here, *, group_pages: Collection[str]) -> OverlayView | None:
    """Return what a page at `here` lays over a disc."""
    if overlay is None:
        return None
    return OverlayView(
        grid=here.to(graticule_file(overlay.b0_deg)),
        axis="".join(map(svg_path, overlay.axis)),
        names=tuple(
            DiscName(
                label.words or label.name,
                f"{label.x_px:.1f}",
                f"{label.y_px:.1f}",
                here.to(group_page(label.name)) if label.name in group_pages else "",
            )
            for label in _apart(overlay.labels, overlay.spots)
        ),
        ahead="".join(map(svg_path, overlay.ahead)),
        ahead_at=tuple(at for way in overlay.ahead for at in way[1:]),
    )


def graticule_svg(graticule: Graticule) -> bytes:
    """Return a grid as an SVG file of its own, to be laid over the disc at the disc's size."""
    words = "".join(
        f'<text x="{one.x_px + 4:.1f}" y="{one.y_px - 4:.1f}">{one.name}</text>' for one in graticule.numbers
    )
    fine, main = (
        "".join(svg_path(_fewer_points(line)) for line in lines) for lines in (graticule.lines, graticule.main)
    )
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="-0.5 -0.5 {DISC_SIDE_PX} {DISC_SIDE_PX}" '
        f'width="{DISC_SIDE_PX}" height="{DISC_SIDE_PX}" fill="none">'
        f"<style>text{{font-size:18px}}@media(max-width:600px){{text{{font-size:34px}}}}</style>"
        f'<defs><path id="fine" d="{fine}"/><path id="main" d="{main}"/></defs>'
        f'<g stroke="{_SEAM}" stroke-opacity="0.35" stroke-width="2.6"><use href="#fine"/><use href="#main"/></g>'
        f'<use href="#fine" stroke="{_INK}" stroke-opacity="0.8"/>'
        f'<use href="#main" stroke="{_MAIN_INK}" stroke-width="1.6"/>'
        f'<g fill="#fff" stroke="{_SEAM}" stroke-opacity="0.6" stroke-width="3" paint-order="stroke" '
        f'font-family="serif">{words}</g></svg>\n'
    ).encode()


def _fewer_points(line: Line) -> Line:
    """Leave out points that are where the chords of the others are.

    An arc as smooth as these is farthest from its chord about its middle, so that only the point there is looked at.
    """
    kept, last = [0], len(line) - 1
    for end in range(2, last + 1):
        if _away_px(line[(kept[-1] + end) // 2], line[kept[-1]], line[end]) >= _NEAR_PX:
            kept.append(end - 1)
    return tuple(line[number] for number in (*kept, last))


def _away_px(point: tuple[float, float], start: tuple[float, float], end: tuple[float, float]) -> float:
    """Return how far a point is from the line through two others."""
    across, down = end[0] - start[0], end[1] - start[1]
    aside = abs(across * (point[1] - start[1]) - down * (point[0] - start[0]))
    length = hypot(across, down)
    return aside / length if length > 0.0 else hypot(point[0] - start[0], point[1] - start[1])


def svg_path(line: Line) -> str:
    """Write a line as path data, tenths of a pixel."""
    return "M" + "L".join(f"{x:.1f},{y:.1f}" for x, y in line)


def _apart(labels: Sequence[DiscLabel], spots: Sequence[tuple[float, float, float]]) -> list[DiscLabel]:
    """Return names moved to where they lie on no spot and no other name, or on as little as can be."""
    placed: list[DiscLabel] = []
    for label in sorted(labels, key=lambda one: (one.x_px, one.name)):
        placed.append(_least_in_the_way(label, placed, spots))
    return placed


def _least_in_the_way(
    label: DiscLabel, placed: Sequence[DiscLabel], spots: Sequence[tuple[float, float, float]]
) -> DiscLabel:
    """Return the label at the first of its places that are as good as any; one at which it lies on nothing ends it."""
    best, fewest = label, inf
    for away_px in _NAMES_AWAY_PX:
        for one in _around(label, away_px):
            lies_on = _lies_on(one, placed, spots)
            if lies_on == 0:
                return one
            if lies_on < fewest:
                best, fewest = one, lies_on
    return best


def _around(label: DiscLabel, away_px: float) -> Iterator[DiscLabel]:
    beside_px = away_px - _NAME_HEIGHT_PX / 2.0 + _width_px(label) / 2.0
    ways = ((0.0, -away_px), (0.0, away_px), (beside_px, 0.0), (-beside_px, 0.0))
    return (DiscLabel(label.name, label.x_px + right, label.y_px + down) for right, down in ways)


def _lies_on(label: DiscLabel, names: Sequence[DiscLabel], spots: Sequence[tuple[float, float, float]]) -> int:
    wide_px, high_px = _width_px(label) / 2.0, _NAME_HEIGHT_PX / 2.0
    covered = 0
    for x_px, y_px, radius_px in spots:
        right, down = max(abs(x_px - label.x_px) - wide_px, 0.0), max(abs(y_px - label.y_px) - high_px, 0.0)
        covered += hypot(right, down) < radius_px + _ROUND_A_SPOT_PX
    outside = not wide_px < label.x_px < DISC_SIDE_PX - wide_px or not high_px < label.y_px < DISC_SIDE_PX - high_px
    return covered + outside + sum(_collide(label, other) for other in names)


def _width_px(label: DiscLabel) -> float:
    return _LETTER_WIDTH_PX * len(label.words or label.name)


def _collide(one: DiscLabel, other: DiscLabel) -> bool:
    wide_px = (_width_px(one) + _width_px(other)) / 2.0
    return abs(one.x_px - other.x_px) < wide_px and abs(one.y_px - other.y_px) < _NAME_HEIGHT_PX
