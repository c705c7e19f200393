"""Carrington maps on disk: the sums they grow from, FITS, and the picture for a page."""

from __future__ import annotations

import io
import json
import warnings
from collections.abc import Sequence
from dataclasses import asdict, dataclass

import numpy as np
from numpy.typing import NDArray

from archive.disk import Folder
from archive.kept import checked, checked_words

__all__ = [
    "MadeOf",
    "read_made",
    "read_sums",
    "write_made",
    "write_map_fits",
    "write_map_picture",
    "write_sums",
]

Card = tuple[str, str | int | float, str]

_MAP_STEP, _MAP_ZERO, _BLANK = 5e-5, 1.0, -32768


@dataclass(frozen=True)
class MadeOf:
    """The pictures that went into a map, in order, and the share of the surface that it shows."""

    members: list[str]
    observed_share: float


def read_made(derived: Folder, file: str) -> MadeOf | None:
    """What a kept map was made of; None where nothing usable is kept."""
    try:
        kept = json.loads(checked_words(derived.read(file), file))
        return MadeOf([str(member) for member in kept["members"]], float(kept["observed_share"]))
    except (OSError, ValueError, LookupError, TypeError, RecursionError):
        return None


def write_made(derived: Folder, file: str, made: MadeOf) -> None:
    """Keep what a map was made of."""
    derived.write(file, checked(json.dumps(asdict(made)).encode(), file))


def read_sums(derived: Folder, file: str) -> tuple[NDArray[np.float32], NDArray[np.float32]] | None:
    """Kept sums of light and weight; None where nothing usable is kept."""
    try:
        # From memory, for the library leaves the file of a damaged archive of arrays open.
        with np.load(io.BytesIO(derived.read(file)), allow_pickle=False) as kept:
            return kept["light"], kept["weight"]
    except Exception:  # a damaged one raises whatever its parts do: zlib.error, TokenError, BadZipFile and more
        return None


def write_sums(derived: Folder, file: str, light: NDArray[np.float32], weight: NDArray[np.float32]) -> None:
    """Keep sums, so that a new picture is added to them."""
    stream = io.BytesIO()
    np.savez_compressed(stream, light=light, weight=weight)
    derived.write(file, stream.getvalue())


def write_map_fits(derived: Folder, file: str, values: NDArray[np.float32], cards: Sequence[Card]) -> None:
    """Write a map, north at the top, as 16-bit FITS, bottom row first; BLANK where nobody looked (NaN).

    Steps of 0.00005 of the quiet disc, far below a picture's noise.
    """
    from astropy.io import fits

    whole = np.where(np.isfinite(values), np.rint((values - _MAP_ZERO) / _MAP_STEP), _BLANK)
    header = fits.Header()
    for keyword, value, comment in cards:
        header[keyword] = (value, comment)
    header["BUNIT"] = ("", "quiet Sun = 1")
    unit = fits.PrimaryHDU(np.clip(whole[::-1], _BLANK, -_BLANK - 1).astype(np.int16), header=header)
    unit.header["BSCALE"] = _MAP_STEP
    unit.header["BZERO"] = _MAP_ZERO
    unit.header["BLANK"] = _BLANK
    stream = io.BytesIO()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        unit.writeto(stream)
    derived.write(file, stream.getvalue())


def write_map_picture(derived: Folder, file: str, picture: NDArray[np.uint8]) -> None:
    """Write grey and opacity (H, W, 2) as PNG."""
    from PIL import Image

    image = Image.merge("LA", [Image.fromarray(np.ascontiguousarray(picture[..., band])) for band in (0, 1)])
    stream = io.BytesIO()
    image.save(stream, format="PNG")  # packed hardest it is 8 % smaller, and takes ten times as long
    derived.write(file, stream.getvalue())
