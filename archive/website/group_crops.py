"""A group's days side by side: its part of each published disc, at one scale.

The disc itself is shown, cut by the view box of an SVG, so that no further pictures are made or sent; an image inside
a foreign object can load lazily, which an SVG image cannot.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from archive.language import day_and_month, format_day, format_time, gettext, ngettext
from archive.model.constants import DISC_RADIUS_PX, DISC_SIDE_PX
from archive.model.observation import SpotGroup
from archive.website.addresses import Here, day_page, picture_files
from archive.website.followed import Seen
from archive.website.formatting import format_latitude, format_meridian_distance, number
from archive.website.observation_view import light_pictures

__all__ = ["Crop", "crop_scale", "group_crops"]

# Of the half side, in radii: less is a blur, more is the whole disc again.
_LEAST, _MOST = 0.06, 0.4
_MARGIN = 1.3


@dataclass(frozen=True)
class Crop:
    """A group's part of a disc; `view_box` is in pixels of the disc's picture, which is square with side `side_px`."""

    src: str
    view_box: str
    side_px: int
    alt: str
    href: str
    words: str
    remark: str
    light: str
    sizes: str


def group_crops(days: Sequence[Seen], name: str, here: Here) -> tuple[Crop, ...]:
    """Cut the group out of each day's disc; a picture that does not lie north up is passed over."""
    half = _half_side(days)
    return tuple(_crop(seen, name, here, half=half) for seen in days if seen.observation.orientation.is_known)


def crop_scale(days: Sequence[Seen]) -> str:
    """Say how large the squares are."""
    return gettext("{n} of the disc’s radius", n=number(2.0 * _half_side(days), 2))


def _crop(seen: Seen, name: str, here: Here, *, half: float) -> Crop:
    right, up = _centre(seen.group)
    left_px = DISC_SIDE_PX / 2 + (right - half) * DISC_RADIUS_PX
    top_px = DISC_SIDE_PX / 2 - (up + half) * DISC_RADIUS_PX
    side_px = 2.0 * half * DISC_RADIUS_PX
    observation = seen.observation
    day = observation.day
    position = f"{format_latitude(seen.latitude_deg, 0)} {format_meridian_distance(seen.meridian_deg, 0)}"
    return Crop(
        src=here.to(picture_files(observation).disc),
        view_box=f"{left_px:.1f} {top_px:.1f} {side_px:.1f} {side_px:.1f}",
        side_px=DISC_SIDE_PX,
        alt=ngettext(
            "Group {group} on {day} at {time}, {position}: {n} spot",
            "Group {group} on {day} at {time}, {position}: {n} spots",
            len(seen.group.spots),
            group=name,
            day=format_day(day),
            time=format_time(observation.time_utc, day=day),
            position=position,
        ),
        href=here.to(day_page(day)),
        words=day_and_month(day),
        remark=position,
        light=light_pictures(seen.entry, here),
        sizes=f"{DISC_SIDE_PX}px",
    )


def _half_side(days: Sequence[Seen]) -> float:
    """Half the side, in radii of the disc, of the square that holds the group on each of its days."""
    return min(max([_LEAST, *(_reach(seen.group) for seen in days)]) * _MARGIN, _MOST)


def _reach(group: SpotGroup) -> float:
    right, up = _centre(group)
    # A spot of A MSH in the disc's middle covers 2 pi R^2 A / 10^6: its radius is the root of 2 A / 10^6 disc radii.
    return max(
        (max(abs(spot.right - right), abs(spot.up - up)) + math.sqrt(2e-6 * spot.area_msh) for spot in group.spots),
        default=_LEAST,
    )


def _centre(group: SpotGroup) -> tuple[float, float]:
    """Return the middle of the square about all spots, to the right and up, in radii."""
    rights, ups = [spot.right for spot in group.spots], [spot.up for spot in group.spots]
    if not rights:
        return 0.0, 0.0
    return (min(rights) + max(rights)) / 2.0, (min(ups) + max(ups)) / 2.0
