"""Frames to films in MP4 files, H.264 and AV1, through the encoder that imageio-ffmpeg brings along."""

from __future__ import annotations

import os
import re
import subprocess
import tempfile
import threading
from collections.abc import Callable, Generator, Iterable, Iterator, Sequence
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass
from functools import cache
from itertools import chain
from pathlib import Path
from queue import Full, Queue
from typing import IO

import numpy as np
from numpy.typing import NDArray

from archive.disk import TEMPORARY_SUFFIX, Folder
from archive.errors import ArchiveError, clear_refusal

__all__ = ["Coding", "Loop", "Progress", "encode_mp4", "has_av1", "replacing", "write_mp4"]

Progress = Callable[[int, int], None]

# What every browser plays: 8-bit 4:2:0, even sides, ITU-R BT.709 at limited range. The conversion is named
# and the result tagged: untagged, the film's tint shifts from player to player (measured: the output options
# leave the primaries and the transfer untagged, `setparams` sets them all).
_TAGS = "setparams=color_primaries=bt709:color_trc=bt709:colorspace=bt709:range=tv"
_FILTERS = (
    "pad=ceil(iw/2)*2:ceil(ih/2)*2,"
    "scale=in_range=pc:out_color_matrix=bt709:out_range=tv:flags=accurate_rnd+full_chroma_int,"
    f"format=yuv420p,{_TAGS}"
)
# One thread (two were no faster beside the making of frames) and no rounding of a processor's own: the bytes
# do not depend on the computer. Key frames only where asked, none at cuts that the coder finds itself.
_X264 = "-x264-params threads=1:lookahead-threads=1:scenecut=0:cpu-independent=1"
# No versions, no dates: bitexact output, and (H.264) the encoder's advertisement (a SEI unit, type 6) left out.
_PLAIN = "-map_metadata -1 -fflags +bitexact -flags:v +bitexact".split()
_NO_ADVERTISEMENT = ["-bsf:v", "filter_units=remove_types=6"]
_AV1 = "libsvtav1"
_LOOP_KEY_FRAME_EVERY = 250  # a loop is played through, not searched
# A fixed number of threads: the coder's decisions must not depend on the computer.
_SVT = ["-c:v", _AV1, "-preset", "8", "-svtav1-params", "lp=2"]

_FRAMES_AHEAD = 4  # 3 MB each
_PIPE_BYTES = 1 << 20


@dataclass(frozen=True)
class Coding:
    """How the encoder spends its bytes.

    A key frame every `key_frame_every` frames lets a player jump there without decoding from the start; it
    also renews the picture's noise, which shows in a still stretch. `rate` holds the encoder's own options. Measured
    on real spots, smooth, 1024 px, 27 days: 10.0 MB at 20 (92 % of the finest contrast kept), 7.4 MB at 22 (86 %),
    5.6 MB at 24 (78 %); the preset `medium` 8.2 MB at 22 (96 %) in twice the time. AV1 4.6 MB at 32 (84 %), 3.1 MB at
    38 (77 %).
    """

    key_frame_every: int
    rate: str = "-crf 22"
    av1_rate: str = "-crf 36"


@dataclass(frozen=True)
class Loop:
    """A small and faster version of a film: each `every`-th frame from `first_frame` on, at a rate of its own."""

    path: Path
    size_px: int
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
    """Write `frames` as a film; until it is whole, what stood at `path` stays as it is.

    Parameters
    ----------
    frames
        uint8, shape (H, W, 3), sRGB. Odd sides are padded with black at the right and the bottom.
    frames_total
        How many frames will come.
    on_progress
        Called with the frames done and `frames_total` after each frame.

    Raises
    ------
    ArchiveError
        The encoder failed; the message ends with what it said first.
    ValueError
        The frames are none, not `frames_total`, or not all of one shape.
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
def replacing(place: Folder, name: str) -> Iterator[Path]:
    """Give a new file beside `name` to write to; on success it takes that name, on failure it goes."""
    part = f".{name}{TEMPORARY_SUFFIX}"
    place.remove(part)  # an encoder that outlived its killed parent may still be writing to that file
    with place.create(part):  # a file of ours, so that the encoder, which opens it by name, meets no link
        pass
    try:
        yield place.path / part
        place.sync_file(part)
        place.rename(part, name)
    finally:
        place.remove(part)


def encode_mp4(
    path: Path,
    frames: Iterable[NDArray[np.uint8]],
    *,
    frames_per_second: int,
    frames_total: int,
    coding: Coding | None = None,
    av1: Path | None = None,
    loop: Loop | None = None,
    on_progress: Progress | None = None,
) -> None:
    """Write `frames` straight to `path`, as `write_mp4` does through a temporary name.

    Where `av1` is given the same film goes there in AV1, which is several times smaller (see `has_av1`); `loop` is
    written beside them, from the same frames.
    """
    stream = iter(frames)
    first = next(stream, None)
    if first is None:
        raise ValueError("a film needs at least one frame")
    source = f"-f rawvideo -pix_fmt rgb24 -s {first.shape[1]}x{first.shape[0]} -r {frames_per_second} -i pipe:0".split()
    chosen = coding or Coding(frames_per_second)
    with closing(_made_ahead(chain([first], stream))) as ahead:
        checked = _checked(ahead, first.shape, frames_total, on_progress)
        _encode([*source, *_outputs(path, av1, chosen, loop)], checked, path)


@cache
def has_av1() -> bool:
    """Tell whether the encoder at hand writes AV1."""
    from imageio_ffmpeg import get_ffmpeg_exe

    listed = subprocess.run([get_ffmpeg_exe(), "-loglevel", "error", "-encoders"], capture_output=True, check=False)
    return f" {_AV1} ".encode() in listed.stdout


def _outputs(path: Path, av1: Path | None, coding: Coding, loop: Loop | None = None) -> list[str]:
    """Return the part of the command line that turns the source into a film, its AV1 twin and its loop."""
    outputs = [("null", [*_h264(coding), *_target(path)])]
    if av1 is not None:
        smaller = [*_SVT, *coding.av1_rate.split(), "-g", str(coding.key_frame_every), *_PLAIN]
        outputs.append(("null", [*smaller, *_target(av1)]))
    if loop is not None:
        picked = (
            f"select='gte(n,{loop.first_frame})*not(mod(n-{loop.first_frame},{loop.every}))',setpts=N/FRAME_RATE/TB"
        )
        small = f"scale={loop.size_px}:{loop.size_px}:flags=area+accurate_rnd,{_TAGS}"
        outputs.append((f"{picked},{small}", [*_h264(Coding(_LOOP_KEY_FRAME_EVERY, loop.rate)), *_target(loop.path)]))
    graph = [f"[0:v]{_FILTERS},split={len(outputs)}" + "".join(f"[in{number}]" for number in range(len(outputs)))]
    graph += [f"[in{number}]{filters}[out{number}]" for number, (filters, _) in enumerate(outputs)]
    coders = [word for number, (_, words) in enumerate(outputs) for word in ("-map", f"[out{number}]", *words)]
    return ["-filter_complex", ";".join(graph), *coders]


def _h264(coding: Coding) -> list[str]:
    options = f"-c:v libx264 -preset veryfast {_X264} -g {coding.key_frame_every} {coding.rate}".split()
    return [*options, *_PLAIN, *_NO_ADVERTISEMENT]


def _target(path: Path) -> list[str]:
    """`file:` keeps a colon or a dash in the name from being read as anything else; the index goes in front."""
    return ["-movflags", "+faststart", "-f", "mp4", f"file:{path.absolute()}"]


def _encode(arguments: Sequence[str], frames: Iterable[NDArray[np.uint8]], path: Path) -> None:
    """Run the encoder; where it fails, raise with what it said."""
    from imageio_ffmpeg import get_ffmpeg_exe

    command = [get_ffmpeg_exe(), "-loglevel", "error", "-nostats", "-y", *arguments]
    # A file takes the encoder's messages: a pipe that nobody reads would fill up and stop it.
    with tempfile.TemporaryFile() as messages:
        if _run(command, frames, messages):
            name = path.name.removeprefix(".").removesuffix(TEMPORARY_SUFFIX)
            raise ArchiveError(f"{name}: film not written; the encoder says: {_first_line(messages)}")


def _run(command: list[str], frames: Iterable[NDArray[np.uint8]], messages: IO[bytes]) -> int:
    """Run the encoder over `frames` and return its exit status; it never outlives this call."""
    # The AV1 coder talks of itself unless told not to.
    quiet = {**os.environ, "SVT_LOG": "1"}
    process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.DEVNULL, stderr=messages, env=quiet)
    assert process.stdin is not None
    _widen(process.stdin)
    try:
        for frame in frames:
            if not _written(process.stdin, np.ascontiguousarray(frame).data):
                break  # the encoder has gone; its exit status and last words tell why
        process.communicate()  # closes its input and waits
        return process.returncode
    finally:
        process.kill()
        process.communicate()


def _widen(pipe: IO[bytes]) -> None:
    """Let a frame pass in a few pieces, not fifty, where the system can."""
    with suppress(ImportError, AttributeError, OSError):
        import fcntl

        fcntl.fcntl(pipe, fcntl.F_SETPIPE_SZ, _PIPE_BYTES)


def _written(pipe: IO[bytes], data: memoryview) -> bool:
    """Write to the encoder and tell whether it took it."""
    try:
        pipe.write(data)
    except OSError:
        return False
    return True


def _made_ahead(frames: Iterator[NDArray[np.uint8]]) -> Generator[NDArray[np.uint8], None, None]:
    """Hand on the frames; a thread makes the next few meanwhile, while the encoder takes one.

    What goes wrong in the thread is raised here.
    """
    waiting: Queue[NDArray[np.uint8] | BaseException | None] = Queue(_FRAMES_AHEAD)
    stopped = threading.Event()

    def put(item: NDArray[np.uint8] | BaseException | None) -> bool:
        while not stopped.is_set():
            with suppress(Full):
                waiting.put(item, timeout=0.1)
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
        while (item := waiting.get()) is not None:
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
    """Hand on the frames, check that all are alike and as many as told, report progress."""
    done = 0
    for frame in frames:
        if frame.shape != shape or frame.shape[2:] != (3,) or frame.dtype != np.uint8:
            raise ValueError(f"frame {done} is {frame.dtype} {frame.shape}, not uint8 (H, W, 3) as the first")
        yield frame
        done += 1
        if on_progress is not None:
            on_progress(done, frames_total)
    if done != frames_total:
        raise ValueError(f"{done} frames came, {frames_total} were told")


def _first_line(messages: IO[bytes]) -> str:
    """Return the first line that the encoder said: the cause; what follows are its consequences."""
    messages.seek(0)
    lines = messages.read().decode("utf-8", "replace").split("\n")
    # Without the part of the program that speaks, and its address in memory.
    return re.sub(r"^(\[[^]]* @ 0x[0-9a-f]+\] ?)+", "", lines[0]).strip() or "nothing"
