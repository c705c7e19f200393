"""A finished film: the MP4, its AV1 version, poster, list of frames and a short clip for sharing."""

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
from archive.films.timeline import FrameSpec
from archive.model.choices import FilmStyle

__all__ = [
    "FilmDisc",
    "FilmFiles",
    "FilmHead",
    "check_film_name",
    "film_content",
    "listed_frames",
    "make_film",
    "put_film",
]


# The short clip is for messengers with a limit of a few megabytes: a small frame, double speed, only the newest part of
# a long film, and a maximum bit rate.
FILM_ENDINGS = (".mp4", ".webp", ".gif")
_LOOP_SIZE_PX = 480  # its shorter side
_LOOP_EVERY = 2
_LOOP_MAX_S = 20
_LOOP_MAX_BYTES = 2_000_000


@dataclass(frozen=True)
class FilmDisc:
    """The disc's centre and radius in a film's frames."""

    x_px: float
    y_px: float
    radius_px: float


@dataclass(frozen=True)
class FilmHead:
    """Properties of a whole film. `disc` is None for a flat map; `more` is added to the list of frames, and `rights`
    (observer, licence, contact) to that and to the films' own facts.
    """

    style: FilmStyle
    width_px: int
    height_px: int
    disc: FilmDisc | None
    frames_per_second: float = 25
    more: Mapping[str, object] = field(default_factory=dict)
    rights: Mapping[str, str] = field(default_factory=dict)

    @property
    def encoded_px(self) -> tuple[int, int]:
        """Width and height as they are encoded: even."""
        return self.width_px + self.width_px % 2, self.height_px + self.height_px % 2


@dataclass(frozen=True)
class FilmFiles:
    """Files of a film, all with one stem, its number of frames and size; `av1` is None if the encoder lacks AV1."""

    mp4: Path
    poster: Path
    frames_json: Path
    loop: Path
    av1: Path | None
    frames: int
    width_px: int
    height_px: int


def check_film_name(out: Path) -> None:
    """Refuse a name under which no film can be written, as MP4 or animated picture.

    Raises
    ------
    FactsError
        The name has another ending, or is a folder.
    FolderError
        Its folder is missing, or a file of the film would replace a file that is not part of an earlier film.
    """
    if out.is_dir():
        raise FactsError(f"{out}: is a folder; name a file in it, such as {out / 'sun.mp4'}")
    if out.suffix not in FILM_ENDINGS:
        raise FactsError(f"{out}: the film's name must end in .mp4, .webp or .gif, in lower case; write {out.stem}.mp4")
    if not out.parent.is_dir():
        raise FolderError(f"{out}: folder {out.parent} does not exist; create it first, or choose another")
    folder = Folder(out.parent)
    names = _names(out) if out.suffix == ".mp4" else (out, out.with_suffix(".json"))
    in_the_way = [path for path in names if folder.exists(path.name)]
    if in_the_way and not _is_list_of_frames(folder, out.with_suffix(".json").name):
        raise FolderError(
            f"{', '.join(map(str, in_the_way))}: would be overwritten by the film (with its poster, list of frames, "
            f"short clip and AV1 version), but is not part of an earlier film; move it, or choose "
            f"another name than {out.name}"
        )


def _names(out: Path) -> tuple[Path, Path, Path, Path, Path]:
    """Return the paths of film, poster, list of frames, short clip and AV1 version."""
    loop, av1 = (out.with_name(f"{out.stem}-{kind}.mp4") for kind in ("loop", "av1"))
    return out, out.with_suffix(".jpg"), out.with_suffix(".json"), loop, av1


def _is_list_of_frames(folder: Folder, name: str) -> bool:
    """Return whether a file is a list of frames written by this program."""
    try:
        listed = json.loads(folder.read(name))
    except (OSError, ValueError, RecursionError):
        return False
    return isinstance(listed, dict) and {"frames", "disc", "style"} <= listed.keys()


def make_film(
    specs: Sequence[FrameSpec],
    frames: Iterable[NDArray[np.uint8]],
    out: Path,
    *,
    head: FilmHead,
    folder: Folder | None = None,
    on_progress: Progress | None = None,
) -> FilmFiles:
    """Write a film with its poster, list of frames, short clip and, if the encoder supports it, AV1 version.

    Parameters
    ----------
    frames
        One for each of `specs`, as `film_frames` or `painted_frames` yield them.
    out
        The film's path, ending in ``.mp4``; beside it are written ``.jpg``, ``.json``, ``-loop.mp4`` and ``-av1.mp4``.
    folder
        Its folder; within an archive, the archive's, so that links are checked.
    on_progress
        Called with the frames done and their total.

    Raises
    ------
    FactsError
        There are no sightings.
    ArchiveError
        The encoder failed, or the system refuses. No file has changed then.
    """
    folder = folder or Folder(out.parent)
    mp4, poster, frames_json, loop, av1 = _names(out)
    rate = round(head.frames_per_second)
    made = FilmFiles(mp4, poster, frames_json, loop, av1 if has_av1() else None, len(specs), *head.encoded_px)
    with clear_refusal(out), ExitStack() as whole:  # all files are renamed together, once all are complete
        parts = {
            path: whole.enter_context(replacing(folder, path.name)) for path in (poster, loop, made.av1, mp4) if path
        }
        encode_mp4(
            parts[mp4],
            _saving_poster(iter(frames), specs, folder, parts[poster].name),
            frames_per_second=rate,
            frames_total=len(specs),
            coding=Coding(_key_frame_every(specs, rate)),
            av1=parts.get(av1),
            loop=_loop(parts[loop], len(specs), head),
            rights=head.rights,
            on_progress=on_progress,
        )
        folder.write(frames_json.name, listed_frames(specs, head).encode())
    if made.av1 is None:
        folder.remove(av1.name)  # of an earlier film, by an encoder with AV1
    return made


def film_content(made: FilmFiles) -> dict[str, bytes]:
    """Return the content of a film's files by suffix after the stem."""
    folder, files = Folder(made.mp4.parent), (made.mp4, made.poster, made.frames_json, made.loop, made.av1)
    return {
        path.name.removeprefix(made.mp4.stem): folder.read(path.name, most_bytes=None)
        for path in files
        if path is not None
    }


def put_film(content: Mapping[str, bytes], out: Path, *, folder: Folder | None = None) -> FilmFiles:
    """Write the files of a film made by another process (`film_content`).

    Raises
    ------
    FolderError
        The system refuses; no file has changed.
    """
    folder = folder or Folder(out.parent)
    parts: dict[str, str] = {}
    with clear_refusal(out), ExitStack() as whole:  # all files are renamed together, once all are complete
        for ending, data in content.items():
            parts[ending] = folder.write_part(f"{out.stem}{ending}", data)
            whole.callback(folder.remove, parts[ending])  # in case the next one fails
        # The list of frames is replaced first, as in `make_film`.
        for ending in sorted(content, key=lambda ending: ending != ".json"):
            folder.rename(parts[ending], f"{out.stem}{ending}")
        folder.sync()
    mp4, poster, frames_json, loop, av1 = _names(out)
    if "-av1.mp4" not in content:
        folder.remove(av1.name)  # of an earlier film, by an encoder with AV1
    listed = json.loads(content[".json"])
    av1_there = av1 if "-av1.mp4" in content else None
    size_px = listed["width_px"], listed["height_px"]
    return FilmFiles(mp4, poster, frames_json, loop, av1_there, len(listed["frames"]), *size_px)


def _loop(path: Path, frames: int, head: FilmHead) -> Loop:
    """Return the short clip's settings: constant quality with a maximum rate that keeps it within its size limit."""
    longest = round(_LOOP_MAX_S * head.frames_per_second * _LOOP_EVERY)
    first = max(0, frames - longest)
    length_s = -(-(frames - first) // _LOOP_EVERY) / head.frames_per_second
    # A tenth is reserved for the container and for overshoot of the rate control.
    kilobits = int(0.9 * 8 * _LOOP_MAX_BYTES / 1000 / length_s)
    rate = f"-crf 24 -maxrate {kilobits}k -bufsize {kilobits}k"
    shrunk = _LOOP_SIZE_PX / min(head.encoded_px)
    width_px, height_px = (2 * round(side_px * shrunk / 2) for side_px in head.encoded_px)
    return Loop(path, width_px, height_px, first, _LOOP_EVERY, rate)


def _key_frame_every(specs: Sequence[FrameSpec], frames_per_second: int) -> int:
    """Return the key frame interval: a second, or the interval of held days if that is near.

    With a key frame at the start of each hold a player can seek from day to day, and a held picture does not change
    (measured: key frames every second changed it by 1 level on average during a hold).
    """
    later = (spec.index for spec in specs if spec.kind == "observed" and spec.observations != specs[0].observations)
    second_hold = next(later, len(specs))
    if second_hold > frames_per_second * 3 // 2 or second_hold < frames_per_second // 2:
        return frames_per_second
    return second_hold


def _saving_poster(
    frames: Iterator[NDArray[np.uint8]], specs: Sequence[FrameSpec], folder: Folder, poster: str
) -> Iterator[NDArray[np.uint8]]:
    """Yield all frames, and save the last observed one as a JPEG."""
    from PIL import Image

    last = max(spec.index for spec in specs if spec.kind == "observed")
    for frame, spec in zip(frames, specs, strict=True):
        if spec.index == last:
            # Full colour resolution, because a still is viewed longer than a frame.
            still = BytesIO()
            Image.fromarray(frame).save(still, format="JPEG", quality=90, subsampling=0, optimize=True)
            folder.remove(poster)
            with folder.create(poster) as stream:
                stream.write(still.getvalue())
        yield frame


def listed_frames(specs: Sequence[FrameSpec], head: FilmHead) -> str:
    """Return the list of frames as JSON, for other programs; sizes as encoded, so even."""
    width_px, height_px = head.encoded_px
    disc = head.disc and {name: round(getattr(head.disc, name), 4) for name in ("x_px", "y_px", "radius_px")}
    facts = {
        "style": head.style,
        "frames_per_second": head.frames_per_second,
        "width_px": width_px,
        "height_px": height_px,
        "disc": disc,
        **head.more,
        **head.rights,
    }
    frames = [
        {
            "index": spec.index,
            "time_utc": f"{spec.time_utc.astimezone(UTC):%Y-%m-%dT%H:%M:%SZ}",
            "kind": spec.kind,
            "observations": list(spec.observations),
            **({"title": True} if spec.is_title else {}),
        }
        for spec in specs
    ]
    # One line per frame: readable, and easy to compare.
    lines = ",\n".join(json.dumps(frame) for frame in frames)
    return json.dumps(facts)[:-1] + ', "frames": [\n' + lines + "\n]}\n"
