"""What is drawn over a film's frames beside the disc: caption, marks of north and east, the Earth, credit line."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from archive.films.annotations import AnnotationsAt
from archive.films.caption import INK, draw_caption, draw_label, draw_row
from archive.films.caption_words import caption_lines, title_lines
from archive.films.drawing import draw_annotations
from archive.films.frames import Overlay
from archive.films.job import FilmJob
from archive.films.layout import Box, Layout, TextRow
from archive.films.strip import draw_strip, strip_picture
from archive.films.timeline import FrameSpec

__all__ = ["film_overlay"]

_NORTH, _EAST = "N", "E"  # the same in every language, as in the data
_MARK_RADII = 1.055  # from the disc's centre to the middle of N and E
_DIMMED = 0.28  # the first picture behind a title


def film_overlay(
    job: FilmJob,
    annotations: AnnotationsAt,
    *,
    specs: Sequence[FrameSpec],
    earth_radius_px: float,
    has_disc: bool,
    with_strip: bool,
) -> Overlay:
    """Return the function that draws over each frame of a film.

    Parameters
    ----------
    job : FilmJob
    annotations : callable
        Grid, axis and names at a time.
    specs : sequence of FrameSpec
        All frames.
    earth_radius_px : float
        The Earth in the scale of the film.
    has_disc : bool
        Whether the frames show the whole disc, which N and E are marked beside.
    with_strip : bool
        Whether they have a timeline strip.
    """
    layout, options, imprint = job.layout, job.options, job.imprint
    first, last = specs[0].time_utc, specs[-1].time_utc
    strip = strip_picture(job.chosen, first, last, box=layout.strip, reach_days=options.reach_days)

    def overlay(frame: NDArray[np.uint8], spec: FrameSpec) -> None:
        if spec.is_title:
            _draw_title(frame, job, layout)
            return
        draw_annotations(frame, annotations(spec.time_utc))
        if with_strip:
            draw_strip(frame, strip, spec, box=layout.strip, first=first, last=last)
        zone_name = imprint.zone_name if options.clock == "local" else "UTC"
        lines = caption_lines(spec, kind=options.caption, zone_name=zone_name, words=job.words)
        draw_caption(frame, lines, layout.caption)
        if options.marks and has_disc:
            _draw_marks(frame, layout)
        if options.earth:
            _draw_earth(frame, layout.earth, earth_radius_px, job.words.earth_to_scale)
        _draw_credit(frame, job)

    return overlay


def _draw_marks(frame: NDArray[np.uint8], layout: Layout) -> None:
    """Write N above the disc and E to its left."""
    x_px, y_px = layout.disc_centre_px
    away_px = _MARK_RADII * layout.disc.radius_px
    draw_label(frame, _NORTH, x_px=x_px, y_px=y_px - away_px)
    draw_label(frame, _EAST, x_px=x_px - away_px, y_px=y_px)


def _draw_earth(frame: NDArray[np.uint8], row: TextRow, radius_px: float, words: str) -> None:
    """Draw the Earth as a small grey disc, and its words beside it."""
    box, side_px = row.box, 2 * int(np.ceil(radius_px)) + 3
    height, gap = box.bottom - box.top, row.font_px // 2
    x_px = box.right - radius_px - 1 if row.from_right else box.left + radius_px + 1
    y_px = box.top + 0.55 * height if side_px < 2 * height else box.bottom - radius_px - 1
    rows = np.arange(max(0, int(y_px) - side_px), min(frame.shape[0], int(y_px) + side_px))
    columns = np.arange(max(0, int(x_px) - side_px), min(frame.shape[1], int(x_px) + side_px))
    distance = np.hypot(columns[None, :] - x_px, rows[:, None] - y_px)
    cover = np.clip(radius_px + 0.5 - distance, 0.0, 1.0)[:, :, None]
    part = frame[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]
    part[:] = np.rint(part * (1 - cover) + INK * cover).astype(np.uint8)
    taken = int(np.ceil(2 * radius_px)) + gap
    left = box._replace(right=box.right - taken) if row.from_right else box._replace(left=box.left + taken)
    draw_row(frame, words, row._replace(box=left))


def _draw_credit(frame: NDArray[np.uint8], job: FilmJob) -> None:
    if job.options.credit:
        draw_row(frame, job.options.credit, job.layout.credit)


def _draw_title(frame: NDArray[np.uint8], job: FilmJob, layout: Layout) -> None:
    """Draw a title over the picture, which is dimmed."""
    frame[:] = np.rint(frame * np.float32(_DIMMED)).astype(np.uint8)
    lines = title_lines(job.imprint.archive_title, job.imprint.film_title, job.imprint.observer)
    font_px = round(0.05 * layout.unit_px)
    top = round(0.42 * layout.height_px)
    margin = round(0.08 * layout.width_px)
    for number, line in enumerate(lines):
        size_px = round(font_px * (1.0 if number == 0 else 0.62))
        bottom = top + round(1.5 * size_px)
        box = Box(margin, top, layout.width_px - margin, bottom)
        draw_row(frame, line, TextRow(box, size_px), ink=INK)
        top = bottom
    _draw_credit(frame, job)
