"""Local circumstances of solar eclipses from published polynomial Besselian elements, apart from the project's own way.

Method: Urban & Seidelmann (eds.), Explanatory Supplement to the Astronomical Almanac, 3rd ed. (2013), section 11.3;
Meeus, Elements of Solar Eclipses 1951-2200 (1989), chapter "Local circumstances". Elements: Fred Espenak, NASA's GSFC,
in `../shared/real/tables/besselian`.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
from numpy.polynomial import polynomial
from numpy.typing import NDArray

__all__ = ["TABLES", "Elements", "Local", "local_circumstances", "read_elements"]

TABLES = Path(__file__).parents[3] / "shared" / "real" / "tables" / "besselian"
# Polar radius of the Earth by the equatorial one, and the latter: WGS 84.
_POLAR_SHARE = 1.0 - 1.0 / 298.257223563
_EQUATORIAL_M = 6378137.0
# Degrees by which the Earth turns in a second of the ephemeris meridian's delay: Meeus (1989).
_DEG_PER_S = 0.00417807
_SPAN_H = 3.4  # of the polynomials about their time
_STEP_H = 1.0 / 120.0


@dataclass(frozen=True)
class Elements:
    """Coefficients by ascending power of hours from `t0_tt`: `x`, `y`, `l1`, `l2` in the Earth's equatorial radii, `d`
    and `mu` in degrees."""

    t0_tt: datetime
    x: tuple[float, ...]
    y: tuple[float, ...]
    d: tuple[float, ...]
    l1: tuple[float, ...]
    l2: tuple[float, ...]
    mu: tuple[float, ...]
    tan_f1: float
    tan_f2: float


@dataclass(frozen=True)
class Local:
    """Circumstances at a place: hours TT from `t0_tt` and position angles of first, second, third and fourth contact;
    the inner ones are None where the eclipse is partial there."""

    hours: tuple[float, float | None, float | None, float]
    angles_deg: tuple[float, float | None, float | None, float]
    greatest_hours: float
    magnitude: float
    obscuration: float
    altitude_deg: float


def read_elements(file: Path) -> Elements:
    """Read one of the tables."""
    text = file.read_text(encoding="utf-8")
    day, hour = re.search(r"Elements for:\s+(\d{4} \w{3} \d\d)\s+([\d.]+) TDT", text).groups()  # type: ignore[union-attr]
    rows = [
        [float(word) for word in line.split()[1:]] for line in text.splitlines() if re.match(r"\s*[0-3]\s+-?\d", line)
    ]
    columns = [tuple(column) for column in zip(*rows, strict=True)]
    tangents = [float(word) for word in re.findall(r"tan f[12] = ([\d.]+)", text)]
    t0 = datetime.strptime(day, "%Y %b %d").replace(tzinfo=UTC) + timedelta(hours=float(hour))
    return Elements(t0, *columns, *tangents)


def local_circumstances(
    elements: Elements, *, latitude_deg: float, longitude_deg: float, elevation_m: float = 0.0, delta_t_s: float
) -> Local | None:
    """Return the circumstances at a place (north and east positive); None where there is no eclipse, be it by night."""

    def at(hours: NDArray[np.float64]) -> _Shadow:
        return _shadow(elements, hours, (latitude_deg, longitude_deg, elevation_m), delta_t_s)

    hours = np.arange(-_SPAN_H, _SPAN_H, _STEP_H)
    distance = at(hours).distance
    greatest = _least(lambda t: at(t).distance, hours[int(np.argmin(distance))])
    there = at(np.array([greatest]))
    if there.distance[0] >= there.outer[0]:
        return None
    first, last = _crossings(lambda t: at(t).distance - at(t).outer, hours)
    inner = _crossings(lambda t: at(t).distance - np.abs(at(t).inner), hours)
    second, third = inner or (None, None)
    total = there.inner[0] < 0
    distance_there = there.distance[0]
    return Local(
        hours=(first, second, third, last),
        angles_deg=(
            _angle_deg(at, first, 0.0),  # type: ignore[arg-type]
            _angle_deg(at, second, 180.0 if total else 0.0),
            _angle_deg(at, third, 180.0 if total else 0.0),
            _angle_deg(at, last, 0.0),
        ),  # type: ignore[arg-type]
        greatest_hours=greatest,
        magnitude=float(
            (there.outer[0] - (distance_there if inner is None else there.inner[0])) / (there.outer[0] + there.inner[0])
        ),
        obscuration=_obscuration(float(there.outer[0]), float(there.inner[0]), float(there.distance[0])),
        altitude_deg=float(there.altitude_deg[0]),
    )


@dataclass(frozen=True)
class _Shadow:
    """The shadow's axis from the observer, and the cones' radii at the observer's height over the fundamental plane."""

    u: NDArray[np.float64]
    v: NDArray[np.float64]
    outer: NDArray[np.float64]
    inner: NDArray[np.float64]
    altitude_deg: NDArray[np.float64]

    @property
    def distance(self) -> NDArray[np.float64]:
        return np.hypot(self.u, self.v)


def _shadow(
    elements: Elements, hours: NDArray[np.float64], site: tuple[float, float, float], delta_t_s: float
) -> _Shadow:
    x, y, d_deg, l1, l2, mu_deg = (
        polynomial.polyval(hours, one)
        for one in (elements.x, elements.y, elements.d, elements.l1, elements.l2, elements.mu)
    )
    latitude, d = np.radians(site[0]), np.radians(d_deg)
    hour_angle = np.radians(mu_deg + site[1] - _DEG_PER_S * delta_t_s)
    reduced = np.arctan(_POLAR_SHARE * np.tan(latitude))
    height = site[2] / _EQUATORIAL_M
    sine = _POLAR_SHARE * np.sin(reduced) + height * np.sin(latitude)
    cosine = np.cos(reduced) + height * np.cos(latitude)
    xi = cosine * np.sin(hour_angle)
    eta = sine * np.cos(d) - cosine * np.cos(hour_angle) * np.sin(d)
    zeta = sine * np.sin(d) + cosine * np.cos(hour_angle) * np.cos(d)
    sine_altitude = np.sin(d) * np.sin(latitude) + np.cos(d) * np.cos(latitude) * np.cos(hour_angle)
    return _Shadow(
        x - xi,
        y - eta,
        l1 - zeta * elements.tan_f1,
        l2 - zeta * elements.tan_f2,
        np.degrees(np.arcsin(sine_altitude)),
    )


def _least(value: Callable[[NDArray[np.float64]], NDArray[np.float64]], near: float) -> float:
    """Return where a smooth function is least, by ever finer rows of points."""
    step = _STEP_H
    while step > 1e-8:
        row = near + step * np.linspace(-1.0, 1.0, 21)
        near, step = float(row[int(np.argmin(value(row)))]), step / 5.0
    return near


def _crossings(
    value: Callable[[NDArray[np.float64]], NDArray[np.float64]], hours: NDArray[np.float64]
) -> tuple[float, float] | None:
    """Return where a function falls below zero, and where it rises again."""
    inside = np.flatnonzero(value(hours) < 0.0)
    if not len(inside):
        return None
    return _zero(value, hours[inside[0] - 1], hours[inside[0]]), _zero(value, hours[inside[-1] + 1], hours[inside[-1]])


def _zero(value: Callable[[NDArray[np.float64]], NDArray[np.float64]], outside: float, inside: float) -> float:
    for _ in range(30):
        middle = 0.5 * (outside + inside)
        if value(np.array([middle]))[0] < 0.0:
            inside = middle
        else:
            outside = middle
    return float(0.5 * (outside + inside))


def _angle_deg(at: Callable[[NDArray[np.float64]], _Shadow], hours: float | None, turned_deg: float) -> float | None:
    if hours is None:
        return None
    there = at(np.array([hours]))
    return float((np.degrees(np.arctan2(there.u[0], there.v[0])) + turned_deg) % 360.0)


def _obscuration(outer: float, inner: float, distance: float) -> float:
    """Return the covered share of the disc: Meeus (1989), as the share of two circles' common area."""
    ratio = (outer - inner) / (outer + inner)  # of the Moon's radius to the Sun's
    apart = 2.0 * distance / (outer + inner)
    if apart <= abs(ratio - 1.0):
        return min(ratio, 1.0) ** 2
    half_moon = np.arccos((ratio**2 + apart**2 - 1.0) / (2.0 * ratio * apart))
    half_sun = np.arccos((apart**2 + 1.0 - ratio**2) / (2.0 * apart))
    return float(
        (ratio**2 * (half_moon - np.sin(2.0 * half_moon) / 2.0) + half_sun - np.sin(2.0 * half_sun) / 2.0) / np.pi
    )
