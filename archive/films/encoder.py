"""Encoding of frames to MP4 files, H.264 and AV1, with the encoder that imageio-ffmpeg installs."""

from __future__ import annotations

import os
import re
import subprocess
import sys
import tempfile
import threading
from collections.abc import Callable, Generator, Iterable, Iterator, Mapping, Sequence
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass
from functools import cache
from itertools import chain
from pathlib import Path
from queue import Full, Queue
from types import MappingProxyType
from typing import IO

import numpy as np
from numpy.typing import NDArray

from archive.disk import TEMPORARY_SUFFIX, Folder
from archive.errors import ArchiveError, clear_refusal

__all__ = ["Coding", "Loop", "Progress", "encode_mp4", "has_av1", "replacing", "run_encoder", "write_mp4"]

Progress = Callable[[int, int], None]

# What every browser plays: 8-bit 4:2:0, even sides, ITU-R BT.709 at limited range. The conversion is explicit
# and the result tagged: otherwise colours differ from player to player (measured: the output options leave
# primaries and transfer untagged, `setparams` sets them all).
_TAGS = "setparams=color_primaries=bt709:color_trc=bt709:colorspace=bt709:range=tv"
_FILTERS = (
    "pad=ceil(iw/2)*2:ceil(ih/2)*2,"
    "scale=in_range=pc:out_color_matrix=bt709:out_range=tv:flags=accurate_rnd+full_chroma_int,"
    f"format=yuv420p,{_TAGS}"
)
# One thread (two were no faster while frames are being made) and no processor-specific rounding, so that the bytes
# do not depend on the computer. Key frames only at the given interval, none at scene cuts.
_X264 = "-x264-params threads=1:lookahead-threads=1:scenecut=0:cpu-independent=1"
# No versions, no dates: bitexact output, and (H.264) without the encoder's version string (an SEI unit, type 6).
_BITEXACT = "-map_metadata -1 -fflags +bitexact -flags:v +bitexact".split()
_FACTS = {"observer": "artist", "licence": "copyright", "contact": "comment"}  # as the file's own facts are called
_NO_VERSION_STRING = ["-bsf:v", "filter_units=remove_types=6"]
_AV1 = "libsvtav1"
_LOOP_KEY_FRAME_EVERY = 250  # a short clip is not searched
# A fixed number of threads: the result must not depend on the computer.
_SVT = ["-c:v", _AV1, "-preset", "8", "-svtav1-params", "lp=2"]

_FRAMES_AHEAD = 4  # 3 MB each
_PIPE_BYTES = 1 << 20


@dataclass(frozen=True)
class Coding:
    """Key frame interval and rate options of the encoder.

    A key frame every `key_frame_every` frames lets a player seek there without decoding from the start; it also
    changes the coding noise, which is visible while a frame is held. `rate` holds encoder options. Measured on real
    spots, smooth, 1024 px, 27 days: 10.0 MB at 20 (92 % of the contrast of the finest detail kept), 7.4 MB at 22 (86
    %), 5.6 MB at 24 (78 %); the preset `medium` 8.2 MB at 22 (96 %) in twice the time. AV1 4.6 MB at 32 (84 %), 3.1 MB
    at 38 (77 %).
    """

    key_frame_every: int
    rate: str = "-crf 22"
    av1_rate: str = "-crf 36"


@dataclass(frozen=True)
class Loop:
    """A small, faster version of a film: each `every`-th frame from `first_frame` on, with its own rate options."""

    path: Path
    width_px: int
    height_px: int
    first_frame: int
    every: int
    rate: str


def write_mp4(
    path: Path,
    frames: Iterable[NDArray[np.uint8]],
    *,
    frames_per_second: int,
    frames_total: int,
    on_progress: Progress | None = None,
) -> None:
    """Write `frames` as a film; until it is complete, an existing file at `path` is kept.

    Parameters
    ----------
    frames
        uint8, shape (H, W, 3), sRGB. Odd sides are padded with black at the right and the bottom.
    frames_total
        The number of frames.
    on_progress
        Called with the frames done and `frames_total` after each frame.

    Raises
    ------
    ArchiveError
        The encoder failed; the message ends with its first line.
    ValueError
        There are no frames, not `frames_total`, or not all of one shape.
    """
    with clear_refusal(path), replacing(Folder(path.parent), path.name) as part:
        encode_mp4(
            part,
            frames,
            frames_per_second=frames_per_second,
            frames_total=frames_total,
            on_progress=on_progress,
        )


@contextmanager
def replacing(folder: Folder, name: str) -> Iterator[Path]:
    """Yield a temporary file to write to; on success it is renamed to `name`, on failure removed."""
    part = f".{name}{TEMPORARY_SUFFIX}"
    folder.remove(part)  # an orphaned encoder may still be writing to that file
    with folder.create(part):  # so that the encoder, which opens it by name, does not follow a link
        pass
    try:
        yield folder.path / part
        folder.sync_file(part)
        folder.rename(part, name)
    finally:
        folder.remove(part)


def encode_mp4(
    path: Path,
    frames: Iterable[NDArray[np.uint8]],
    *,
    frames_per_second: int,
    frames_total: int,
    coding: Coding | None = None,
    av1: Path | None = None,
    loop: Loop | None = None,
    rights: Mapping[str, str] = MappingProxyType({}),
    on_progress: Progress | None = None,
) -> None:
    """Write `frames` straight to `path`, as `write_mp4` does through a temporary name.

    With `av1` the film is also written there in AV1, several times smaller (see `has_av1`), and with `loop` a short
    clip, both from the same frames. `rights` (observer, licence, contact) become facts of each.
    """
    stream = iter(frames)
    first = next(stream, None)
    if first is None:
        raise ValueError("a film needs at least one frame")
    source = f"-f rawvideo -pix_fmt rgb24 -s {first.shape[1]}x{first.shape[0]} -r {frames_per_second} -i pipe:0".split()
    chosen = coding or Coding(frames_per_second)
    with closing(_prefetched(chain([first], stream))) as ahead:
        checked = _checked(ahead, first.shape, frames_total, on_progress)
        facts = [word for name, words in rights.items() for word in ("-metadata", f"{_FACTS[name]}={words}")]
        run_encoder([*source, *_outputs(path, av1, chosen, loop, facts)], checked, path)


@cache
def has_av1() -> bool:
    """Return whether the installed encoder writes AV1."""
    from imageio_ffmpeg import get_ffmpeg_exe

    listed = subprocess.run([get_ffmpeg_exe(), "-loglevel", "error", "-encoders"], capture_output=True, check=False)
    return f" {_AV1} ".encode() in listed.stdout


def _outputs(
    path: Path, av1: Path | None, coding: Coding, loop: Loop | None = None, facts: Sequence[str] = ()
) -> list[str]:
    """Return the encoder's arguments for a film, its AV1 version and its short clip."""
    outputs = [("null", [*_h264(coding), *facts, *_target(path)])]
    if av1 is not None:
        smaller = [*_SVT, *coding.av1_rate.split(), "-g", str(coding.key_frame_every), *_BITEXACT]
        outputs.append(("null", [*smaller, *facts, *_target(av1)]))
    if loop is not None:
        picked = (
            f"select='gte(n,{loop.first_frame})*not(mod(n-{loop.first_frame},{loop.every}))',setpts=N/FRAME_RATE/TB"
        )
        small = f"scale={loop.width_px}:{loop.height_px}:flags=area+accurate_rnd,{_TAGS}"
        coded = _h264(Coding(_LOOP_KEY_FRAME_EVERY, loop.rate))
        outputs.append((f"{picked},{small}", [*coded, *facts, *_target(loop.path)]))
    graph = [f"[0:v]{_FILTERS},split={len(outputs)}" + "".join(f"[in{number}]" for number in range(len(outputs)))]
    graph += [f"[in{number}]{filters}[out{number}]" for number, (filters, _) in enumerate(outputs)]
    coders = [word for number, (_, words) in enumerate(outputs) for word in ("-map", f"[out{number}]", *words)]
    return ["-filter_complex", ";".join(graph), *coders]


def _h264(coding: Coding) -> list[str]:
    options = f"-c:v libx264 -preset veryfast {_X264} -g {coding.key_frame_every} {coding.rate}".split()
    return [*options, *_BITEXACT, *_NO_VERSION_STRING]


def _target(path: Path) -> list[str]:
    """Return output arguments: `file:` protects colons and dashes in the name; the index comes first in the file."""
    return ["-movflags", "+faststart", "-f", "mp4", f"file:{path.absolute()}"]


def run_encoder(arguments: Sequence[str], frames: Iterable[NDArray[np.uint8]], path: Path) -> None:
    """Run the encoder; raise with its first message where it fails."""
    from imageio_ffmpeg import get_ffmpeg_exe

    command = [get_ffmpeg_exe(), "-loglevel", "error", "-nostats", "-y", *arguments]
    # Messages go to a file: an unread pipe would fill up and block the encoder.
    with tempfile.TemporaryFile() as messages:
        if _run(command, frames, messages):
            name = path.name.removeprefix(".").removesuffix(TEMPORARY_SUFFIX)
            raise ArchiveError(f"{name}: film not written; encoder message: {_first_line(messages)}")


def _run(command: list[str], frames: Iterable[NDArray[np.uint8]], messages: IO[bytes]) -> int:
    """Run the encoder over `frames` and return its exit status; it never outlives this call."""
    # Without this the AV1 encoder prints its version.
    quiet = {**os.environ, "SVT_LOG": "1"}
    process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.DEVNULL, stderr=messages, env=quiet)
    assert process.stdin is not None
    _enlarge_buffer(process.stdin)
    try:
        for frame in frames:
            if not _written(process.stdin, np.ascontiguousarray(frame).data):
                break  # the encoder has ended; its exit status and messages tell why
        process.communicate()  # closes its input and waits
        return process.returncode
    finally:
        process.kill()
        process.communicate()


def _enlarge_buffer(pipe: IO[bytes]) -> None:
    """Enlarge the pipe's buffer where possible: a frame passes in a few writes instead of fifty."""
    if sys.platform != "linux":
        return
    import fcntl

    with suppress(OSError):
        fcntl.fcntl(pipe, fcntl.F_SETPIPE_SZ, _PIPE_BYTES)


def _written(pipe: IO[bytes], data: memoryview) -> bool:
    """Write to the encoder and return whether that succeeded."""
    try:
        pipe.write(data)
    except OSError:
        return False
    return True


def _prefetched(frames: Iterator[NDArray[np.uint8]]) -> Generator[NDArray[np.uint8], None, None]:
    """Yield the frames; a thread makes the next few while the encoder reads one.

    Exceptions of the thread are raised here.
    """
    queue: Queue[NDArray[np.uint8] | BaseException | None] = Queue(_FRAMES_AHEAD)
    stopped = threading.Event()

    def put(item: NDArray[np.uint8] | BaseException | None) -> bool:
        while not stopped.is_set():
            with suppress(Full):
                queue.put(item, timeout=0.1)
                return True
        return False

    def make() -> None:
        try:
            for frame in frames:
                if not put(frame):
                    return
            put(None)
        except BaseException as failure:
            put(failure)

    thread = threading.Thread(target=make, daemon=True)
    thread.start()
    try:
        while (item := queue.get()) is not None:
            if isinstance(item, BaseException):
                raise item
            yield item
    finally:
        stopped.set()
        thread.join()


def _checked(
    frames: Iterable[NDArray[np.uint8]],
    shape: tuple[int, ...],
    frames_total: int,
    on_progress: Progress | None,
) -> Iterator[NDArray[np.uint8]]:
    """Yield the frames after checking shape and number, and report progress."""
    done = 0
    for frame in frames:
        if frame.shape != shape or frame.shape[2:] != (3,) or frame.dtype != np.uint8:
            raise ValueError(f"frame {done} is {frame.dtype} {frame.shape}, not uint8 (H, W, 3) like the first")
        yield frame
        done += 1
        if on_progress is not None:
            on_progress(done, frames_total)
    if done != frames_total:
        raise ValueError(f"{done} frames, but frames_total is {frames_total}")


def _first_line(messages: IO[bytes]) -> str:
    """Return the encoder's first message, the cause of the others."""
    messages.seek(0)
    lines = messages.read().decode("utf-8", "replace").split("\n")
    # Without the encoder's module name and memory address.
    return re.sub(r"^(\[[^]]* @ 0x[0-9a-f]+\] ?)+", "", lines[0]).strip() or "nothing"
