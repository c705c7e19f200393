"""The full-size view of a picture: its scale, the Earth's size, and the direction of north."""

from __future__ import annotations

import math
from dataclasses import dataclass

from archive.language import gettext
from archive.model.constants import EARTH_DIAMETER_AT_1_AU_ARCSEC
from archive.model.observation import Observation
from archive.website.addresses import Here, picture_files
from archive.website.formatting import number

__all__ = ["ZoomView", "earth_arcsec", "zoom_view"]


@dataclass(frozen=True)
class ZoomView:
    """The whole picture in its original orientation, not resampled, in words and for the script that shows it.

    `north` leads counter-clockwise from the picture's up to solar north after un-mirroring, empty where not known;
    `x` and `y`, the disc's centre, are in the picture's pixels, `scale` and `earth` in arcseconds.
    """

    href: str
    words: str
    width: int
    height: int
    x: str
    y: str
    scale: str
    earth: str
    north: str
    mirrored: bool


def earth_arcsec(distance_au: float) -> float:
    """Return the Earth's diameter as it would be seen beside the Sun."""
    return EARTH_DIAMETER_AT_1_AU_ARCSEC / distance_au


def zoom_view(observation: Observation, here: Here) -> ZoomView:
    """Return the data of the full-size view."""
    picture, disc, orientation = observation.picture, observation.disc, observation.orientation
    earth = earth_arcsec(observation.sun.distance_au)
    # Half the Sun's width on half the disc's: arcseconds in a pixel.
    scale = observation.sun.semidiameter_arcsec / disc.radius_px if disc.radius_px > 0 else math.nan
    size = f"{picture.width_px} × {picture.height_px} px"
    return ZoomView(
        href=here.to(picture_files(observation).as_it_came),
        words=gettext(
            "{size}, {scale}″ per pixel; the Earth would be {earth} px wide",
            size=size,
            scale=number(scale, 2),
            earth=number(earth / scale, 1),
        ),
        width=picture.width_px,
        height=picture.height_px,
        x=f"{disc.x_px:.2f}",
        y=f"{disc.y_px:.2f}",
        scale=f"{scale:.5f}",
        earth=f"{earth:.2f}",
        north=f"{orientation.north_angle_deg:.3f}" if orientation.is_known else "",
        mirrored=bool(orientation.mirrored),
    )
