"""Overlay of a disc on the site: the heliographic grid, the axis, the labels of groups."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import cache

import numpy as np
from numpy.typing import NDArray

from archive.disc.aligned import STANDARD_FRAME
from archive.disc.graticule import axis_lines, disc_pixels, grid_lines
from archive.model.forecast import ExpectedGroup
from archive.model.group import shown_name
from archive.model.observation import NamedGroup, Observation
from archive.sun.heliographic import to_disc
from archive.website.content import Content, DiscLabel, Entry, Graticule, Line, Overlay

__all__ = ["graticule_at", "overlay", "with_ways_ahead"]

_GRID_STEP_DEG = 10
_NUMBERED_DEG = (-60, -30, 30, 60)
_POINTS_EVERY = 2  # of the grid's one-degree points: chords leave the curve by 0.07 px at most


def overlay(observation: Observation) -> Overlay | None:
    """Return the overlay of an observation's disc; None where north is not known.

    The grid is that of B0 to a tenth of a degree, so that days share it: at most 0.4 px off.
    """
    if not observation.orientation.is_known:
        return None
    b0_deg = round(observation.sun.b0_deg, 1) + 0.0
    groups = observation.groups or ()
    return Overlay(b0_deg, _axis(b0_deg), _labels(groups, observation.sun.b0_deg), _spots(groups))


@cache
def _axis(b0_deg: float) -> tuple[Line, ...]:
    return tuple(_line(points) for points in axis_lines(STANDARD_FRAME, b0_deg))


def graticule_at(b0_deg: float) -> Graticule:
    """Return the grid of a disc whose B0 is this."""
    found = grid_lines(STANDARD_FRAME, b0_deg, step_deg=_GRID_STEP_DEG)
    return Graticule(
        b0_deg,
        lines=tuple(_line(one.points_px) for one in found if one.at_deg != 0.0),
        main=tuple(_line(one.points_px) for one in found if one.at_deg == 0.0),
        numbers=_numbers(b0_deg),
    )


def _line(points_px: NDArray[np.float64]) -> Line:
    # The last point too, or lines would end short of the limb.
    last = [] if (len(points_px) - 1) % _POINTS_EVERY == 0 else points_px[-1:].tolist()
    return tuple(map(tuple, points_px[::_POINTS_EVERY].tolist() + last))


def _numbers(b0_deg: float) -> tuple[DiscLabel, ...]:
    """Return degrees along the central meridian and the equator, as the trade writes them."""
    latitudes = [(f"{'S' if at < 0 else 'N'}{abs(at)}", float(at), 0.0) for at in _NUMBERED_DEG]
    meridians = [(f"{'E' if at < 0 else 'W'}{abs(at)}", 0.0, float(at)) for at in _NUMBERED_DEG]
    return _facing_us([*latitudes, *meridians], b0_deg)


def _labels(groups: Sequence[NamedGroup], b0_deg: float) -> tuple[DiscLabel, ...]:
    placed = [(one.name, one.group.latitude_deg, one.group.central_meridian_distance_deg) for one in groups]
    labels = _facing_us(
        [
            (name, latitude_deg, meridian_deg)
            for name, latitude_deg, meridian_deg in placed
            if name is not None and latitude_deg is not None and meridian_deg is not None
        ],
        b0_deg,
    )
    words = {one.name: shown_name(one.name, one.official_name) for one in groups if one.name and one.official_name}
    return tuple(replace(label, words=words.get(label.name, "")) for label in labels)


def _spots(groups: Sequence[NamedGroup]) -> tuple[tuple[float, float, float], ...]:
    """Return where the spots of groups are, each as large as it is where nothing foreshortens it."""
    centre_px, radius_px = STANDARD_FRAME.centre_px, STANDARD_FRAME.radius_px
    # A spot of an area in millionths of the hemisphere is a circle of this radius on the Sun. One by one: they are few.
    return tuple(
        (
            round(centre_px + radius_px * spot.right, 1),
            round(centre_px - radius_px * spot.up, 1),
            round(radius_px * (2e-6 * spot.area_msh) ** 0.5, 1),
        )
        for one in groups
        for spot in one.group.spots
    )


def with_ways_ahead(content: Content) -> Content:
    """Return the content with the ways of the groups in the days to come laid over the disc that shows them now."""
    shown = [n for n, entry in enumerate(content.entries) if any(_is_from(entry, one) for one in content.expected[:1])]
    if not shown:
        return content
    entry = content.entries[shown[-1]]
    if entry.overlay is None:
        return content
    ways = tuple(_way_ahead(one, entry.observation.sun.b0_deg) for one in content.expected)
    entries = list(content.entries)
    entries[shown[-1]] = replace(entry, overlay=replace(entry.overlay, ahead=tuple(way for way in ways if way)))
    return replace(content, entries=entries)


def _is_from(entry: Entry, expected: ExpectedGroup) -> bool:
    """Return whether a group is expected from where this picture shows it; others of the day show it elsewhere."""
    shown = ((one.name, one.group.central_meridian_distance_deg) for one in entry.observation.groups or ())
    return (expected.name, expected.meridian_deg) in shown


def _way_ahead(one: ExpectedGroup, b0_deg: float) -> Line:
    """Return where a group is now and after one, two and three days, as far as it stays on this side."""
    each_deg = one.tomorrow_deg - one.meridian_deg
    meridians_deg = one.meridian_deg + each_deg * np.arange(4)
    west, north, mu = to_disc(np.full(4, one.latitude_deg), meridians_deg, b0_deg=b0_deg)
    x_px, y_px = disc_pixels(STANDARD_FRAME, west, north)
    return tuple(
        (round(x, 1), round(y, 1))
        for x, y, towards in zip(x_px.tolist(), y_px.tolist(), mu.tolist(), strict=True)
        if towards > 0.0
    )


def _facing_us(named: Sequence[tuple[str, float, float]], b0_deg: float) -> tuple[DiscLabel, ...]:
    """Return names at their latitudes and central meridian distances, deg, but for those on the far side."""
    if not named:
        return ()
    names, latitudes_deg, meridians_deg = zip(*named, strict=True)
    west, north, mu = to_disc(np.array(latitudes_deg), np.array(meridians_deg), b0_deg=b0_deg)
    x_px, y_px = disc_pixels(STANDARD_FRAME, west, north)
    rows = zip(names, x_px.tolist(), y_px.tolist(), mu.tolist(), strict=True)
    return tuple(DiscLabel(name, x, y) for name, x, y, towards in rows if towards > 0.0)
