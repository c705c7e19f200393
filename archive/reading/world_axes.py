"""Which way the sky lies in a FITS picture, from its header.

References: Greisen & Calabretta 2002 (A&A 395, 1061), Calabretta & Greisen 2002 (A&A 395, 1077) section 6
for CROTA, Thompson 2006 (A&A 449, 791) for helioprojective coordinates.
"""

from __future__ import annotations

import math
import re
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from archive.model.choices import CoordinateSystem
from archive.reading.fits import Cards, rows_from_top
from archive.reading.found import HeaderAxes

__all__ = ["header_axes"]

DEGREES = {"deg": 1.0, "degree": 1.0, "degrees": 1.0, "arcmin": 1 / 60, "arcsec": 1 / 3600, "mas": 1 / 3.6e6}
DEGREES["rad"] = 180 / math.pi
# Zenithal projections: with the pole where it is by default, the plane's axes lie along the sky's at the
# reference point. Others would need the place of the disc as well.
PROJECTIONS = {"TAN", "SIN", "ARC", "STG", "ZEA", "TPV", "ZPN"}
CORNERS = ((1, 1), (1, 2), (2, 1), (2, 2))
# Rows and columns of the matrix nearly parallel: the header was never filled in.
LEAST_INDEPENDENCE = 1e-3


def header_axes(picture: Cards) -> HeaderAxes | None:
    """The header's axes for the picture as displayed; None where it does not say, or not in angles."""
    first, second = _axis(picture.get("CTYPE1")), _axis(picture.get("CTYPE2"))
    if first is None or second is None or first[0] != second[0] or first[1] == second[1]:
        return None
    matrix = _matrix(picture, latitude_axis=1 if first[1] == "latitude" else 2)
    if matrix is None or not _pole_is_default(picture):
        return None
    if first[1] == "latitude":
        matrix = matrix[::-1]
    if rows_from_top(picture):
        matrix = matrix * np.array([1.0, -1.0])  # the second index then grows downward
    (a, b), (c, d) = matrix.tolist()
    return HeaderAxes(first[0], ((a, b), (c, d)))


def _axis(ctype: object) -> tuple[CoordinateSystem, Literal["longitude", "latitude"]] | None:
    text = str(ctype).strip().upper()
    # The name before the standard, still on older pictures from spacecraft (from memory).
    if match := re.fullmatch(r"SOLAR[-_ ]?([XY])", text):
        return "helioprojective", "longitude" if match[1] == "X" else "latitude"
    if text not in ("HPLN", "HPLT") and text[5:8] not in PROJECTIONS:
        return None
    names: dict[str, tuple[CoordinateSystem, Literal["longitude", "latitude"]]] = {
        "HPLN": ("helioprojective", "longitude"),
        "HPLT": ("helioprojective", "latitude"),
        "RA": ("celestial", "longitude"),
        "DEC": ("celestial", "latitude"),
    }
    return names.get(text[:4].rstrip("-"))


def _matrix(picture: Cards, *, latitude_axis: int) -> NDArray[np.float64] | None:
    """Degrees a pixel, rows by world axis, columns by pixel axis; None where missing or degenerate."""
    try:
        matrix = _linear(picture, latitude_axis)
        unit = np.array([_degrees(picture, axis) for axis in (1, 2)])
    except (KeyError, TypeError, ValueError):  # no such card, or no number or angle in it
        return None
    matrix *= unit[:, None]
    size = float(np.prod(np.linalg.norm(matrix, axis=1)))
    if not math.isfinite(size) or size == 0 or abs(np.linalg.det(matrix)) < LEAST_INDEPENDENCE * size:
        return None
    return matrix


def _linear(picture: Cards, latitude_axis: int) -> NDArray[np.float64]:
    """The matrix in the header's own units: CD, else PC with CDELT, else CDELT turned by CROTA."""
    if any(f"CD{i}_{j}" in picture for i, j in CORNERS):
        return np.array([_number(picture.get(f"CD{i}_{j}", 0.0)) for i, j in CORNERS]).reshape(2, 2)
    step = np.array([_number(picture["CDELT1"]), _number(picture["CDELT2"])])
    if any(f"PC{i}_{j}" in picture for i, j in CORNERS):
        turn = np.array([_number(picture.get(f"PC{i}_{j}", float(i == j))) for i, j in CORNERS])
        return np.asarray(turn.reshape(2, 2) * step[:, None])
    angle = math.radians(_number(picture.get(f"CROTA{latitude_axis}", 0.0)))
    if latitude_axis == 1:
        angle = -angle
    turn = np.array([[math.cos(angle), -math.sin(angle)], [math.sin(angle), math.cos(angle)]])
    return np.asarray(turn * step)


def _degrees(picture: Cards, axis: int) -> float:
    older = str(picture[f"CTYPE{axis}"]).strip().upper().startswith("SOLAR")
    unit = str(picture.get(f"CUNIT{axis}", "")).strip().lower()
    return DEGREES[unit or ("arcsec" if older else "deg")]


def _pole_is_default(picture: Cards) -> bool:
    """Whether the plane's up is the sky's north at the reference point (away from the sky's own poles)."""
    return picture.get("LONPOLE", 180.0) in (180.0, -180.0)


def _number(value: object) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise TypeError("not a number")
    return float(value)
