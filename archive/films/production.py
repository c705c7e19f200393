"""A film from its discs to its files: the time line, the frames and the list of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, replace
from itertools import chain, repeat
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
from numpy.typing import NDArray

from archive.films.animation import animation_specs
from archive.films.eclipse_timeline import eclipse_timeline
from archive.films.film import FilmDisc, FilmHead, film_content, make_film
from archive.films.job import FilmJob, FilmOptions
from archive.films.styles import Frames, film_canvas, map_window, render_frames
from archive.films.timeline import FrameSpec, daily_timeline, smooth_timeline
from archive.model.choices import FilmStyle
from archive.model.observation import Observation

__all__ = ["FRAMES_PER_SECOND", "PACE_S", "film_of", "plan_animation", "plan_film", "timeline_of"]

FRAMES_PER_SECOND = 25
# Seconds of film for a day (smooth) or an observation; a daily second is 0.6 held and 0.4 of cross-fade.
PACE_S: dict[FilmStyle, float] = {"daily": 1.0, "smooth": 2.0, "corotating": 1.0}
_HELD_SHARE = 0.6
_TITLE_S = 2.0


def film_of(job: FilmJob, style: FilmStyle, name: str, *discs: bytes) -> dict[str, bytes]:
    """Return the files of a film, as `film_content` gives them; made in a folder of its own, for the encoder needs one.

    Parameters
    ----------
    job : FilmJob
        Without its discs.
    style : {"daily", "smooth", "corotating"}
    name : str
        The film's, for messages.
    *discs : bytes
        FITS, in the order of `job.chosen`.
    """
    whole = replace(job, discs=dict(zip((one.id for one in job.chosen), discs, strict=True)))
    with TemporaryDirectory(prefix="northlimb-film-") as folder:
        specs, frames, head = plan_film(whole, style)
        return film_content(make_film(specs, frames, Path(folder) / name, head=head))


def plan_animation(
    job: FilmJob, style: FilmStyle, *, painters: int = 1
) -> tuple[Sequence[FrameSpec], Frames, FilmHead, NDArray[np.uint8]]:
    """Return frames and head of an animated picture, as `plan_film`, and the disc's own tones."""
    specs = animation_specs(timeline_of(job.chosen, style, job.options))
    window = map_window(job) if style == "corotating" else None
    frames = render_frames(job, style, specs, painters=painters)
    return specs, frames, _head(job, style), film_canvas(job, window)[1].table


def plan_film(job: FilmJob, style: FilmStyle, *, painters: int = 1) -> tuple[Sequence[FrameSpec], Frames, FilmHead]:
    """Return the time line, the frames (painted by so many threads) and the head of a film."""
    specs = timeline_of(job.chosen, style, job.options)
    return specs, render_frames(job, style, specs, painters=painters), _head(job, style)


def _head(job: FilmJob, style: FilmStyle) -> FilmHead:
    layout = job.layout
    disc = FilmDisc(*layout.disc_centre_px, layout.disc.radius_px)
    window = map_window(job) if style == "corotating" else None
    more = {} if window is None else {"map": asdict(window)}
    shown_disc = disc if window is None else None
    return FilmHead(style, layout.width_px, layout.height_px, shown_disc, FRAMES_PER_SECOND, more, job.rights)


def timeline_of(chosen: Sequence[Observation], style: FilmStyle, options: FilmOptions) -> tuple[FrameSpec, ...]:
    """Return the time line of a film of these observations."""
    if options.eclipse:
        steps = eclipse_timeline(chosen, style, frames_per_second=FRAMES_PER_SECOND, pace_s=options.pace_s)
        return _with_ends(steps, options)
    pace_s = options.pace_s or PACE_S[style]
    if style == "smooth":
        specs = smooth_timeline(
            chosen, frames_per_second=FRAMES_PER_SECOND, day_s=pace_s, reach_days=options.reach_days
        )
        return _with_ends(specs, options)
    held_s = round(_HELD_SHARE * pace_s * FRAMES_PER_SECOND) / FRAMES_PER_SECOND
    specs = daily_timeline(chosen, frames_per_second=FRAMES_PER_SECOND, hold_s=held_s, fade_s=pace_s - held_s)
    return _with_ends(specs, options)


def _with_ends(specs: tuple[FrameSpec, ...], options: FilmOptions) -> tuple[FrameSpec, ...]:
    """Return a time line with the title before it and its last frame held, as far as they are asked for."""
    title = repeat(replace(specs[0], is_title=True), round(_TITLE_S * FRAMES_PER_SECOND) if options.title_card else 0)
    held = repeat(specs[-1], round(options.hold_s * FRAMES_PER_SECOND))
    return tuple(replace(spec, index=index) for index, spec in enumerate(chain(title, specs, held)))
