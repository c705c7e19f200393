"""Pictures of which only name and time matter."""

from __future__ import annotations

from datetime import UTC, datetime

from archive.films.caption import draw_caption
from archive.films.caption_words import caption_lines
from archive.films.layout import film_layout
from archive.model.observation import Disc, Observation, Orientation, PictureFile
from archive.sun.view import sun_view

__all__ = ["captioned", "picture_of"]

_NORTH_UP = Orientation("solved", 0.0, False, 0.2)
_SUN = sun_view(datetime(2026, 6, 3, 9, 15, tzinfo=UTC), latitude_deg=0.0, longitude_deg=0.0)


def picture_of(name: str, time_utc: datetime) -> Observation:
    """An observation of that time whose north is known."""
    file, disc = PictureFile("x.png", "0" * 64, 1024, 1024, 8), Disc(511.5, 511.5, 460.8, 0.0, 0.1)
    return Observation(name, time_utc, "Quay", "Doorstep", "white", file, disc, _NORTH_UP, _SUN)


def captioned(side_px):
    """An overlay of the caption alone, in a square frame."""
    rows = film_layout("square", side_px).caption
    return lambda frame, spec: draw_caption(frame, caption_lines(spec), rows)
