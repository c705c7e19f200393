"""Animated pictures, GIF and WebP: a film for places that take no video, within a bound of bytes."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
from numpy.typing import NDArray

from archive.disk import Folder
from archive.errors import FactsError, clear_refusal
from archive.films.encoder import run_encoder
from archive.films.film import FilmHead, listed_frames
from archive.films.timeline import FrameSpec

__all__ = ["ANIMATION_ENDINGS", "Animation", "animation_specs", "write_animation"]

ANIMATION_ENDINGS = (".gif", ".webp")
MOST_BYTES = 10_000_000  # what many forums and messengers take at most; assumed
_SIDES_PX = (720, 600, 480, 360, 240)  # the shorter ones; the largest whose file is within the bound is kept
_EVERY = 2  # frames of the film: 12.5 a second, for a GIF counts whole hundredths of a second
_TONES, _GREYS = 216, 40


@dataclass(frozen=True)
class Animation:
    """An animated picture beside its list of frames."""

    path: Path
    frames_json: Path
    frames: int
    width_px: int
    height_px: int
    size_bytes: int


def animation_specs(specs: Sequence[FrameSpec]) -> tuple[FrameSpec, ...]:
    """Return the frames of a film that an animated picture shows."""
    return tuple(replace(spec, index=index) for index, spec in enumerate(specs[::_EVERY]))


def write_animation(
    out: Path,
    specs: Sequence[FrameSpec],
    frames: Iterable[NDArray[np.uint8]],
    *,
    head: FilmHead,
    table: NDArray[np.uint8],
) -> Animation:
    """Write a GIF or WebP, by the ending of `out`, as large as its bound of bytes allows, and its list of frames.

    Parameters
    ----------
    out : Path
    specs : sequence of FrameSpec
        From `animation_specs`.
    frames : iterable of ndarray of shape (H, W, 3), uint8
        One for each of them.
    head : FilmHead
        Of the whole film.
    table : ndarray of shape (N, 3), uint8
        The disc's own tones, dark to bright, which a GIF takes its colours from.

    Raises
    ------
    FactsError
        It would be larger in each size.
    """
    folder, rate = Folder(out.parent), head.frames_per_second / _EVERY
    sizes = _sizes(head)
    with clear_refusal(out), TemporaryDirectory(prefix="northlimb-film-") as scratch:
        palette = Path(scratch) / "palette.rgb"
        Folder(Path(scratch)).write(palette.name, _palette(table).tobytes())
        tried = {size: Path(scratch) / f"{size[1]}{out.suffix}" for size in sizes}
        source = f"-f rawvideo -pix_fmt rgb24 -s {head.width_px}x{head.height_px} -r {rate} -i pipe:0".split()
        colours = f"-f rawvideo -pix_fmt rgb24 -s 16x16 -i {palette}".split()
        arguments = _gif(tried) if out.suffix == ".gif" else _webp(tried)
        run_encoder([*source, *(colours if out.suffix == ".gif" else []), *arguments], frames, out)
        fits = next((size for size in sizes if tried[size].stat().st_size <= MOST_BYTES), None)
        if fits is None:
            smallest = tried[sizes[-1]].stat().st_size / 1e6
            raise FactsError(
                f"{out}: {smallest:.0f} MB even at {min(sizes[-1])} px, over the {MOST_BYTES / 1e6:.0f} MB of an "
                "animated picture; choose a shorter span or a smaller --pace, or --out FILE.mp4"
            )
        content = Folder(Path(scratch)).read(tried[fits].name)
    width_px, height_px = fits
    shrunk = width_px / head.width_px
    disc = head.disc and replace(
        head.disc,
        x_px=(head.disc.x_px + 0.5) * shrunk - 0.5,
        y_px=(head.disc.y_px + 0.5) * shrunk - 0.5,
        radius_px=head.disc.radius_px * shrunk,
    )
    listed = replace(head, width_px=width_px, height_px=height_px, disc=disc, frames_per_second=rate, more={})
    with clear_refusal(out):
        folder.write(out.with_suffix(".json").name, listed_frames(specs, listed).encode())
        folder.write(out.name, content)
    return Animation(out, out.with_suffix(".json"), len(specs), width_px, height_px, len(content))


def _sizes(head: FilmHead) -> list[tuple[int, int]]:
    """Return widths and heights to be tried, the largest first."""
    side_px = min(head.width_px, head.height_px)
    sides = [one for one in _SIDES_PX if one <= side_px]
    return [
        (2 * round(head.width_px * one / side_px / 2), 2 * round(head.height_px * one / side_px / 2)) for one in sides
    ]


def _gif(tried: dict[tuple[int, int], Path]) -> list[str]:
    number = len(tried)
    graph = [f"[0:v]split={number}" + "".join(f"[in{one}]" for one in range(number))]
    graph += [f"[1:v]split={number}" + "".join(f"[colours{one}]" for one in range(number))]
    for one, (width, height) in enumerate(tried):
        graph += [f"[in{one}]scale={width}:{height}:flags=area+accurate_rnd[small{one}]"]
        graph += [f"[small{one}][colours{one}]paletteuse=dither=none:diff_mode=rectangle[out{one}]"]
    files = [
        word for one, path in enumerate(tried.values()) for word in ("-map", f"[out{one}]", "-loop", "0", str(path))
    ]
    return ["-filter_complex", ";".join(graph), *files]


def _webp(tried: dict[tuple[int, int], Path]) -> list[str]:
    number = len(tried)
    graph = [f"[0:v]split={number}" + "".join(f"[in{one}]" for one in range(number))]
    for one, (width, height) in enumerate(tried):
        graph += [f"[in{one}]scale={width}:{height}:flags=area+accurate_rnd,format=yuv420p[out{one}]"]
    coder = "-c:v libwebp_anim -quality 80 -compression_level 2 -loop 0 -fflags +bitexact".split()
    files = [word for one, path in enumerate(tried.values()) for word in ("-map", f"[out{one}]", *coder, str(path))]
    return ["-filter_complex", ";".join(graph), *files]


def _palette(table: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Return 256 colours, (16, 16, 3): tones of the disc evenly from dark to bright, and greys for the words."""
    tones = table[np.linspace(0, len(table) - 1, _TONES).round().astype(int)]
    greys = np.repeat(np.linspace(0, 255, _GREYS).round().astype(np.uint8)[:, None], 3, axis=1)
    return np.ascontiguousarray(np.concatenate([tones, greys]).reshape(16, 16, 3))
