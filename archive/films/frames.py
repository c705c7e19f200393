"""The frames of a film: discs are loaded, blended and captioned, one after the other."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Generator, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import closing
from dataclasses import replace
from functools import partial
from itertools import groupby, repeat
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from archive.films.layout import MIN_FRAME_PX, Layout
from archive.films.timeline import FrameSpec

__all__ = ["Load", "Overlay", "Paint", "Prepare", "film_frames", "painted_frames"]

Load = Callable[[str], NDArray[np.float32]]
# Returns the picture of a frame without overlay, (S, S, 3) sRGB.
Paint = Callable[[], NDArray[np.uint8]]
# Loads the data of a frame; frames are prepared one after the other, and painted in parallel.
Prepare = Callable[[FrameSpec], Paint]
# Draws caption and annotations into a frame, in place.
Overlay = Callable[[NDArray[np.uint8], FrameSpec], None]

_Level = TypeVar("_Level", np.float32, np.uint8)


def film_frames(
    specs: Sequence[FrameSpec], load: Load, *, layout: Layout, overlay: Overlay, painters: int = 1
) -> Iterator[NDArray[np.uint8]]:
    """Yield each frame of `specs`, of the layout's height and width, three channels, sRGB, read-only.

    Parameters
    ----------
    load
        Returns the disc of an observation as float32, shape (S, S) or (S, S, 3), 0 to 1, as displayed (toned,
        sRGB). Called once for each run of frames that needs the observation.
    layout
        Discs are resampled to the size that they have there.
    overlay
        Draws over the picture.
    painters
        See `painted_frames`.

    Raises
    ------
    ValueError
        The frames are too small for a caption, or a disc that is not square.

    Notes
    -----
    At most two discs and a few frames are in memory, however long the film. A held frame is one array throughout, so
    that nothing in it can change.
    """
    if layout.unit_px < MIN_FRAME_PX:
        raise ValueError(f"the shorter side is {layout.unit_px} px: the caption needs at least {MIN_FRAME_PX} px")
    discs: dict[str, NDArray[np.float32]] = {}

    def prepare(spec: FrameSpec) -> Paint:
        # Release discs that this frame does not need before loading others.
        for name in set(discs) - set(spec.observations):
            del discs[name]
        for name in spec.observations:
            if name not in discs:
                discs[name] = _fit_to_frame(load(name), layout.disc.size_px)
        return partial(_blended, spec, [discs[name] for name in spec.observations], layout)

    return painted_frames(specs, prepare, overlay=overlay, painters=painters)


def painted_frames(
    specs: Sequence[FrameSpec], prepare: Prepare, *, overlay: Overlay, painters: int = 1
) -> Iterator[NDArray[np.uint8]]:
    """Yield each frame painted and with its overlay, read-only; frames that differ only by their index are one array.

    The overlay is drawn last: a caption is never a blend of two texts.

    Parameters
    ----------
    painters
        Number of threads that paint. Array operations release the interpreter's lock, so two threads on two processors
        are nearly twice as fast, without the start-up and transfer of processes.
    """

    def finished(spec: FrameSpec, paint: Paint) -> NDArray[np.uint8]:
        frame = paint()
        overlay(frame, spec)
        frame.setflags(write=False)
        return frame

    runs = [list(run) for _, run in groupby(specs, key=lambda spec: replace(spec, index=0))]
    paints = (partial(finished, run[0], prepare(run[0])) for run in runs)
    with closing((paint() for paint in paints) if painters < 2 else _in_parallel(paints, painters)) as frames:
        for run, frame in zip(runs, frames, strict=True):
            yield from repeat(frame, len(run))


def _in_parallel(paints: Iterator[Paint], painters: int) -> Generator[NDArray[np.uint8], None, None]:
    """Yield frames painted by threads, in order, a few ahead."""
    pending: deque[Future[NDArray[np.uint8]]] = deque()
    with ThreadPoolExecutor(painters, "painter") as pool:
        try:
            for paint in paints:
                pending.append(pool.submit(paint))
                if len(pending) > painters:
                    yield pending.popleft().result()
            while pending:
                yield pending.popleft().result()
        finally:
            pool.shutdown(cancel_futures=True)


def _blended(spec: FrameSpec, discs: Sequence[NDArray[np.float32]], layout: Layout) -> NDArray[np.uint8]:
    """Blend and round one frame, and put the disc in its place."""
    picture = discs[0]
    if len(discs) == 2:
        first, second = (_as_rgb(disc) for disc in discs) if discs[0].ndim != discs[1].ndim else discs
        weight = np.float32(spec.weight)
        picture = first * (1 - weight) + second * weight
    levels = np.rint(np.clip(picture, 0, 1) * 255).astype(np.uint8)
    frame = np.zeros((layout.height_px, layout.width_px, 3), np.uint8)
    side_px = layout.disc.size_px
    frame[layout.top_px : layout.top_px + side_px, layout.left_px : layout.left_px + side_px] = _as_rgb(levels)
    return frame


def _as_rgb(picture: NDArray[_Level]) -> NDArray[_Level]:
    """Return the picture with three channels."""
    return picture if picture.ndim == 3 else np.broadcast_to(picture[:, :, None], (*picture.shape, 3))


def _fit_to_frame(disc: NDArray[np.float32], size_px: int) -> NDArray[np.float32]:
    """Resample a disc to the frame's size, x' = (x + 0.5) * scale - 0.5."""
    if len(disc.shape) < 2 or disc.shape[0] != disc.shape[1] or disc.shape[2:] not in ((), (3,)):
        raise ValueError(f"the disc's shape is {disc.shape}: it must be (S, S) or (S, S, 3)")
    if disc.shape[0] == size_px:
        return disc
    if disc.ndim == 2:
        return _resampled(disc, size_px)
    return np.stack([_resampled(disc[:, :, channel], size_px) for channel in range(3)], axis=2)


def _resampled(plane: NDArray[np.float32], size_px: int) -> NDArray[np.float32]:
    """Resample one channel in float, with antialiasing when reducing."""
    from PIL import Image

    image = Image.fromarray(np.ascontiguousarray(plane, dtype=np.float32))
    return np.asarray(image.resize((size_px, size_px), Image.Resampling.LANCZOS), dtype=np.float32)
