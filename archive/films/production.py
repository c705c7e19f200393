"""A film from its discs to its files: the time line, the frames and the list of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, replace
from pathlib import Path
from tempfile import TemporaryDirectory

from archive.films.eclipse_timeline import eclipse_timeline
from archive.films.film import FilmDisc, FilmHead, film_content, make_film
from archive.films.job import FilmJob, FilmOptions
from archive.films.styles import Frames, map_window, render_frames
from archive.films.timeline import FrameSpec, daily_timeline, smooth_timeline
from archive.model.choices import FilmStyle
from archive.model.observation import Observation

__all__ = ["FRAMES_PER_SECOND", "PACE_S", "film_of", "plan_film", "timeline_of"]

FRAMES_PER_SECOND = 25
# Seconds of film for a day (smooth) or an observation; a daily second is 0.6 held and 0.4 of cross-fade.
PACE_S: dict[FilmStyle, float] = {"daily": 1.0, "smooth": 2.0, "corotating": 1.0}
_HELD_SHARE = 0.6


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


def plan_film(job: FilmJob, style: FilmStyle, *, painters: int = 1) -> tuple[Sequence[FrameSpec], Frames, FilmHead]:
    """Return the time line, the frames (painted by so many threads) and the head of a film."""
    frame = job.frame
    disc = FilmDisc(frame.centre_px, frame.centre_px, frame.radius_px, frame.size_px)
    specs = timeline_of(job.chosen, style, job.options)
    frames = render_frames(job, style, specs, painters=painters)
    if style != "corotating":
        return specs, frames, FilmHead(style, frame.size_px, disc, FRAMES_PER_SECOND, rights=job.rights)
    window = map_window(job)
    more = {} if window is None else {"map": asdict(window)}
    head = FilmHead(style, frame.size_px, disc if window is None else None, FRAMES_PER_SECOND, more, job.rights)
    return specs, frames, head


def timeline_of(chosen: Sequence[Observation], style: FilmStyle, options: FilmOptions) -> tuple[FrameSpec, ...]:
    """Return the time line of a film of these observations."""
    if options.eclipse:
        return eclipse_timeline(chosen, style, frames_per_second=FRAMES_PER_SECOND, pace_s=options.pace_s)
    pace_s = options.pace_s or PACE_S[style]
    if style == "smooth":
        return smooth_timeline(chosen, frames_per_second=FRAMES_PER_SECOND, day_s=pace_s, reach_days=options.reach_days)
    held_s = round(_HELD_SHARE * pace_s * FRAMES_PER_SECOND) / FRAMES_PER_SECOND
    return daily_timeline(chosen, frames_per_second=FRAMES_PER_SECOND, hold_s=held_s, fade_s=pace_s - held_s)
