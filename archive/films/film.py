"""A finished film: the MP4, its AV1 twin, its poster still, its list of frames and a small loop for messages."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, field
from datetime import UTC
from io import BytesIO
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from archive.disk import Folder
from archive.errors import FactsError, FolderError, clear_refusal
from archive.films.encoder import Coding, Loop, Progress, encode_mp4, has_av1, replacing
from archive.films.frames import Load, film_frames
from archive.films.timeline import FrameSpec, Sighting, daily_timeline
from archive.model.choices import FilmStyle

__all__ = [
    "FilmDisc",
    "FilmFiles",
    "FilmHead",
    "check_film_name",
    "film_content",
    "make_daily_film",
    "make_film",
    "put_film",
]


# The loop is meant for messages, which carry a few megabytes at most: a small frame, twice as fast, the newest
# part of a long film, and a ceiling on its bit rate.
_LOOP_SIZE_PX = 480
_LOOP_EVERY = 2
_LOOP_LONGEST_S = 20
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
class FilmHead:
    """What holds for a whole film. `disc` is None where the frames show a flat map; `more` goes into the list."""

    style: FilmStyle
    size_px: int
    disc: FilmDisc | None
    frames_per_second: int = 25
    more: Mapping[str, object] = field(default_factory=dict)


@dataclass(frozen=True)
class FilmFiles:
    """What was written, all with one stem, and how long and large the film is; `av1` where the encoder has it."""

    mp4: Path
    poster: Path
    frames_json: Path
    loop: Path
    av1: Path | None
    frames: int
    size_px: int


def check_film_name(out: Path) -> None:
    """Raise where a film may not be written under this name.

    Raises
    ------
    FactsError
        The name does not end in ``.mp4``, or is a folder's.
    FolderError
        Its folder is missing, or one of the files of the film would replace something else than an earlier film.
    """
    if out.is_dir():
        raise FactsError(f"{out}: is a folder; name the film in it, such as {out / 'sun.mp4'}")
    if out.suffix != ".mp4":
        raise FactsError(f"{out}: a film's name ends in .mp4, in small letters; write {out.stem}.mp4")
    if not out.parent.is_dir():
        raise FolderError(f"{out}: folder {out.parent} does not exist; make it first, or choose another")
    place, names = Folder(out.parent), _names(out)
    in_the_way = [path for path in names if place.exists(path.name)]
    if in_the_way and not _is_list_of_frames(place, names[2].name):
        raise FolderError(
            f"{', '.join(map(str, in_the_way))}: would be replaced by the film (with its poster, list of frames, "
            f"loop and AV1 twin), but comes from no earlier film; move it away, or choose another name than {out.name}"
        )


def _names(out: Path) -> tuple[Path, Path, Path, Path, Path]:
    """Film, poster, list of frames, loop, AV1 twin."""
    loop, av1 = (out.with_name(f"{out.stem}-{kind}.mp4") for kind in ("loop", "av1"))
    return out, out.with_suffix(".jpg"), out.with_suffix(".json"), loop, av1


def _is_list_of_frames(place: Folder, name: str) -> bool:
    """Tell whether a JSON file lists a film's frames as this program does."""
    try:
        listed = json.loads(place.read(name))
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
    """Write a film that shows each observation in turn, captioned; see `make_film`.

    Parameters
    ----------
    load
        See `film_frames`; every disc it returns lies as `disc` says.
    size_px
        Side of the film.
    """
    specs = daily_timeline(sightings, frames_per_second=frames_per_second)
    head = FilmHead("daily", size_px, disc.resized(size_px), frames_per_second)
    return make_film(specs, film_frames(specs, load, size_px=size_px), out, head=head, on_progress=on_progress)


def make_film(
    specs: Sequence[FrameSpec],
    frames: Iterable[NDArray[np.uint8]],
    out: Path,
    *,
    head: FilmHead,
    place: Folder | None = None,
    on_progress: Progress | None = None,
) -> FilmFiles:
    """Write a film with its poster, its list of frames, its loop and, where the encoder has it, its AV1 twin.

    Parameters
    ----------
    frames
        One for each of `specs`, as `film_frames` or `painted_frames` yield them.
    out
        The film's path, ending in ``.mp4``; beside it come ``.jpg``, ``.json``, ``-loop.mp4`` and ``-av1.mp4``.
    place
        The folder in which it lies, by which links are judged where it is part of an archive.
    on_progress
        Called with the frames done and their total.

    Raises
    ------
    FactsError
        Without any sighting.
    ArchiveError
        The encoder failed, or the system refuses. Whenever this raises, all files stay as they were.
    """
    place = place or Folder(out.parent)
    mp4, poster, frames_json, loop, av1 = _names(out)
    made = FilmFiles(mp4, poster, frames_json, loop, av1 if has_av1() else None, len(specs), head.size_px)
    with clear_refusal(out), ExitStack() as whole:  # all change together, once all are ready
        parts = {
            path: whole.enter_context(replacing(place, path.name)) for path in (poster, loop, made.av1, mp4) if path
        }
        encode_mp4(
            parts[mp4],
            _saving_poster(iter(frames), specs, place, parts[poster].name),
            frames_per_second=head.frames_per_second,
            frames_total=len(specs),
            coding=Coding(_key_frame_every(specs, head.frames_per_second)),
            av1=parts.get(av1),
            loop=_loop(parts[loop], len(specs), head.frames_per_second),
            on_progress=on_progress,
        )
        place.write(frames_json.name, _frames_listed(specs, head).encode())
    if made.av1 is None:
        place.remove(av1.name)  # of an earlier film, by an encoder that had it
    return made


def film_content(made: FilmFiles) -> dict[str, bytes]:
    """The files of a film by what follows its stem."""
    place, files = Folder(made.mp4.parent), (made.mp4, made.poster, made.frames_json, made.loop, made.av1)
    return {
        path.name.removeprefix(made.mp4.stem): place.read(path.name, most_bytes=None)
        for path in files
        if path is not None
    }


def put_film(content: Mapping[str, bytes], out: Path, *, size_px: int, place: Folder | None = None) -> FilmFiles:
    """Write a film that was made elsewhere (`film_content`).

    Raises
    ------
    FolderError
        The system refuses; all files stay as they were.
    """
    place = place or Folder(out.parent)
    parts: dict[str, str] = {}
    with clear_refusal(out), ExitStack() as whole:  # all change together, once all are ready
        for ending, data in content.items():
            parts[ending] = place.write_part(f"{out.stem}{ending}", data)
            whole.callback(place.remove, parts[ending])  # where the next one is refused
        # The list of frames changes first, as where a film is made here.
        for ending in sorted(content, key=lambda ending: ending != ".json"):
            place.rename(parts[ending], f"{out.stem}{ending}")
        place.sync()
    mp4, poster, frames_json, loop, av1 = _names(out)
    if "-av1.mp4" not in content:
        place.remove(av1.name)  # of an earlier film, by an encoder that had it
    frames = len(json.loads(content[".json"])["frames"])
    return FilmFiles(mp4, poster, frames_json, loop, av1 if "-av1.mp4" in content else None, frames, size_px)


def _loop(path: Path, frames: int, frames_per_second: int) -> Loop:
    """How the loop is written: even quality below a rate that keeps it within its limit of size."""
    longest = _LOOP_LONGEST_S * frames_per_second * _LOOP_EVERY
    first = max(0, frames - longest)
    length_s = -(-(frames - first) // _LOOP_EVERY) / frames_per_second
    # A tenth is left for the container and for the encoder's rate control overshooting.
    kilobits = int(0.9 * 8 * _LOOP_LIMIT_BYTES / 1000 / length_s)
    rate = f"-crf 24 -maxrate {kilobits}k -bufsize {kilobits}k"
    return Loop(path, _LOOP_SIZE_PX, first, _LOOP_EVERY, rate)


def _key_frame_every(specs: Sequence[FrameSpec], frames_per_second: int) -> int:
    """Return how often a film needs a key frame: each second, or as near as holds of whole days allow.

    With the key frames on the first frame of each hold a player jumps from day to day, and a held picture
    stands still (measured: key frames each second changed it by 1 level on average in the midst of a hold).
    """
    later = (spec.index for spec in specs if spec.kind == "observed" and spec.observations != specs[0].observations)
    second_hold = next(later, len(specs))
    if second_hold > frames_per_second * 3 // 2 or second_hold < frames_per_second // 2:
        return frames_per_second
    return second_hold


def _saving_poster(
    frames: Iterator[NDArray[np.uint8]], specs: Sequence[FrameSpec], place: Folder, poster: str
) -> Iterator[NDArray[np.uint8]]:
    """Hand on all frames, and save the last observed one as a JPEG."""
    from PIL import Image

    last = max(spec.index for spec in specs if spec.kind == "observed")
    for frame, spec in zip(frames, specs, strict=True):
        if spec.index == last:
            # Full colour resolution: a still is looked at longer than a frame.
            still = BytesIO()
            Image.fromarray(frame).save(still, format="JPEG", quality=90, subsampling=0, optimize=True)
            place.remove(poster)
            with place.create(poster) as stream:
                stream.write(still.getvalue())
        yield frame


def _frames_listed(specs: Sequence[FrameSpec], head: FilmHead) -> str:
    """Return the list of frames that other programs may read, as JSON; sides as encoded, so even."""
    side_px = head.size_px + head.size_px % 2
    disc = head.disc and {name: round(getattr(head.disc, name), 4) for name in ("x_px", "y_px", "radius_px")}
    facts = {
        "style": head.style,
        "frames_per_second": head.frames_per_second,
        "width_px": side_px,
        "height_px": side_px,
        "disc": disc,
        **head.more,
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
    return json.dumps(facts)[:-1] + ', "frames": [\n' + lines + "\n]}\n"
