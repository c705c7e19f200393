"""A finished film: the MP4, its poster still, its list of frames and a small loop for messages."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from datetime import UTC
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from archive.errors import FactsError, FolderError, clear_refusal
from archive.films.encoder import Coding, Progress, encode_mp4, replacing
from archive.films.frames import Load, film_frames
from archive.films.timeline import FrameSpec, Sighting, daily_timeline

__all__ = ["FilmDisc", "FilmFiles", "check_film_name", "make_daily_film"]

# The loop is meant for messages, which carry a few megabytes at most: a small frame, short holds, the newest
# pictures of a long film, and a ceiling on its bit rate.
_LOOP_SIZE_PX = 480
_LOOP_SIGHTINGS = 40
_LOOP_HOLD_S = 0.3
_LOOP_FADE_S = 0.2
_LOOP_LIMIT_BYTES = 2_000_000


@dataclass(frozen=True)
class FilmDisc:
    """The disc's centre and radius in a square picture with sides of `frame_px`."""

    x_px: float
    y_px: float
    radius_px: float
    frame_px: int = 1024

    def resized(self, frame_px: int) -> FilmDisc:
        """Return the disc after resampling; (0, 0) is the centre of the corner pixel, hence the halves."""
        scale = frame_px / self.frame_px
        return FilmDisc(
            (self.x_px + 0.5) * scale - 0.5, (self.y_px + 0.5) * scale - 0.5, self.radius_px * scale, frame_px
        )


@dataclass(frozen=True)
class FilmFiles:
    """What was written, all with one stem, and how long and large the film is."""

    mp4: Path
    poster: Path
    frames_json: Path
    loop: Path
    frames: int
    size_px: int


def check_film_name(out: Path) -> None:
    """Raise where a film may not be written under this name.

    Raises
    ------
    FactsError
        The name does not end in ``.mp4``, or is a folder's.
    FolderError
        Its folder is missing, or one of the four files of the film would replace something else than an earlier film.
    """
    if out.is_dir():
        raise FactsError(f"{out}: is a folder; name the film in it, such as {out / 'sun.mp4'}")
    if out.suffix != ".mp4":
        raise FactsError(f"{out}: a film's name ends in .mp4, in small letters; write {out.stem}.mp4")
    if not out.parent.is_dir():
        raise FolderError(f"{out}: folder {out.parent} does not exist; make it first, or choose another")
    names = _four_names(out)
    in_the_way = [path for path in names if path.exists() or path.is_symlink()]
    if in_the_way and not _is_list_of_frames(names[2]):
        raise FolderError(
            f"{', '.join(map(str, in_the_way))}: would be replaced by the film (with its poster, list of frames and "
            f"loop), but comes from no earlier film; move it away, or choose another name than {out.name}"
        )


def _four_names(out: Path) -> tuple[Path, Path, Path, Path]:
    """Film, poster, list of frames, loop."""
    return out, out.with_suffix(".jpg"), out.with_suffix(".json"), out.with_name(f"{out.stem}-loop.mp4")


def _is_list_of_frames(path: Path) -> bool:
    """Tell whether a JSON file lists a film's frames as this program does."""
    try:
        listed = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError):
        return False
    return isinstance(listed, dict) and {"frames", "disc", "style"} <= listed.keys()


def make_daily_film(
    sightings: Sequence[Sighting],
    load: Load,
    out: Path,
    *,
    disc: FilmDisc,
    size_px: int = 1024,
    frames_per_second: int = 25,
    on_progress: Progress | None = None,
) -> FilmFiles:
    """Write a film that shows each observation in turn, with its poster, its list of frames and its loop.

    Parameters
    ----------
    load
        See `film_frames`; every disc it returns lies as `disc` says.
    out
        The film's path, ending in ``.mp4``; beside it come ``.jpg``, ``.json`` and ``-loop.mp4``.
    size_px
        Side of the film.
    on_progress
        Called with the frames done and their total, the loop's included.

    Raises
    ------
    FactsError
        Without any sighting.
    ArchiveError
        The encoder failed, or the system refuses. Whenever this raises, all four files stay as they were.
    """
    specs = daily_timeline(sightings, frames_per_second=frames_per_second)
    loop_specs = _loop_timeline(sightings, frames_per_second)
    made = FilmFiles(*_four_names(out), len(specs), size_px)
    total = len(specs) + len(loop_specs)
    with clear_refusal(out), ExitStack() as whole:  # the four change together, once all are ready
        poster, mp4 = (whole.enter_context(replacing(path)) for path in (made.poster, made.mp4))
        frames = _saving_poster(film_frames(specs, load, size_px=size_px), specs, poster)
        encode_mp4(
            mp4,
            frames,
            frames_per_second=frames_per_second,
            frames_total=len(specs),
            coding=Coding(_first_of_second(specs)),
            on_progress=_shifted(on_progress, 0, total),
        )
        encode_mp4(
            whole.enter_context(replacing(made.loop)),
            film_frames(loop_specs, load, size_px=_LOOP_SIZE_PX),
            frames_per_second=frames_per_second,
            frames_total=len(loop_specs),
            coding=Coding(_first_of_second(loop_specs), _loop_rate(len(loop_specs) / frames_per_second)),
            on_progress=_shifted(on_progress, len(specs), total),
        )
        listed = _frames_listed(specs, disc.resized(size_px), frames_per_second)
        whole.enter_context(replacing(made.frames_json)).write_text(listed, encoding="utf-8", newline="\n")
    return made


def _loop_timeline(sightings: Sequence[Sighting], frames_per_second: int) -> tuple[FrameSpec, ...]:
    """Return the time line of the loop: the newest sightings, shown faster."""
    newest = sorted(sightings, key=lambda sighting: (sighting.time_utc, sighting.observation_id))
    return daily_timeline(
        newest[-_LOOP_SIGHTINGS:],
        frames_per_second=frames_per_second,
        hold_s=_LOOP_HOLD_S,
        fade_s=_LOOP_FADE_S,
    )


def _loop_rate(length_s: float) -> str:
    """Return rate options for the loop: even quality below a rate that keeps it within its limit of size."""
    # A tenth is left for the container and for the encoder's rate control overshooting.
    kilobits = int(0.9 * 8 * _LOOP_LIMIT_BYTES / 1000 / length_s)
    return f"-crf 24 -maxrate {kilobits}k -bufsize {kilobits}k"


def _first_of_second(specs: Sequence[FrameSpec]) -> int:
    """Return where the second observation's hold starts: so often does a daily film need a key frame.

    With the key frames on the first frame of each hold a player jumps from day to day, and a held picture
    stands still (measured: key frames each second changed it by 1 level on average in the midst of a hold).
    """
    later = (spec.index for spec in specs if spec.kind == "observed" and spec.observations != specs[0].observations)
    return next(later, len(specs))


def _saving_poster(
    frames: Iterator[NDArray[np.uint8]], specs: Sequence[FrameSpec], poster: Path
) -> Iterator[NDArray[np.uint8]]:
    """Hand on all frames, and save the last observed one, which ends every daily film, as a JPEG."""
    from PIL import Image

    for frame, spec in zip(frames, specs, strict=True):
        if spec is specs[-1]:
            # Full colour resolution: a still is looked at longer than a frame.
            Image.fromarray(frame).save(poster, format="JPEG", quality=90, subsampling=0, optimize=True)
        yield frame


def _shifted(on_progress: Progress | None, before: int, total: int) -> Progress | None:
    """Return a progress call for one part of the work that counts in the whole."""
    if on_progress is None:
        return None
    return lambda done, _: on_progress(before + done, total)


def _frames_listed(specs: Sequence[FrameSpec], disc: FilmDisc, frames_per_second: int) -> str:
    """Return the list of frames that other programs may read, as JSON; sides as encoded, so even."""
    side_px = disc.frame_px + disc.frame_px % 2
    head = {
        "style": "daily",
        "frames_per_second": frames_per_second,
        "width_px": side_px,
        "height_px": side_px,
        "disc": {name: round(getattr(disc, name), 4) for name in ("x_px", "y_px", "radius_px")},
    }
    frames = [
        {
            "index": spec.index,
            "time_utc": f"{spec.time_utc.astimezone(UTC):%Y-%m-%dT%H:%M:%SZ}",
            "kind": spec.kind,
            "observations": list(spec.observations),
        }
        for spec in specs
    ]
    # A line a frame: readable, and a change shows where it is.
    lines = ",\n".join(json.dumps(frame) for frame in frames)
    return json.dumps(head)[:-1] + ', "frames": [\n' + lines + "\n]}\n"
