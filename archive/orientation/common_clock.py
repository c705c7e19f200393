"""Detection of a clock or a zone that was wrong for many pictures: all of them fit the sky better some hours away.

What depends on the hour: the Sun's altitude, the flattening of its disc by refraction and the direction of that, and
for an alt-azimuth mount the angle between the zenith, where the camera's up points, and solar north, where the spots
or the observer show it. Spots also fit those of neighbouring days at another hour. For every hour the log likelihoods
of all pictures are added, and those days in a row are taken that gain the most.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np
from numpy.typing import NDArray

from archive.model.observation import Disc, SunView
from archive.orientation.low_sun import MIN_LIMB_FRACTION, flattening_error
from archive.sun.refraction import refraction_flattening

__all__ = ["ClockError", "TimedPicture", "common_clock_error"]

Floats = NDArray[np.floating[Any]]

HOURS = np.arange(-14.0, 14.1, 0.25)  # zones are 12 h behind UTC to 14 h ahead
_NOW = int(np.argmin(np.abs(HOURS)))
_SUN_DEG_PER_HOUR = 15.0
_LOWEST_DEG = -1.0
_AIR_SHARE = 0.1  # of the flattening, see `low_sun`
_LEVEL_SIGMA_DEG, _CAMERA_SIGMA_DEG = 1.0, 0.5  # see `sky`
_SPOT_HOURS_SIGMA = 1.5  # the Sun turns by half a degree in an hour
_CAP = 12.5  # a picture that fits at no hour says as much as one 5 sigma away
# By the Sun's mean radius, from which it differs by 1.7 % at most.
_ALTITUDES_DEG = np.concatenate([np.arange(_LOWEST_DEG, 15.0, 0.1), np.arange(15.0, 91.0, 1.0)])
_FLATTENING = np.array(
    [refraction_flattening(altitude_deg, semidiameter_arcsec=960.0) for altitude_deg in _ALTITUDES_DEG]
)
_MIN_DAYS = 3
# Of the log likelihood. An honest archive is tried at 112 other hours and in any run of days.
_MIN_GAIN = 15.0
_AS_GOOD = 3.0
_FOR, _AGAINST = 0.5, -2.0  # of a day
_MOST_MISFIT = 4.0  # mean square of the residuals, in sigmas, of pictures that are said to fit
_MOST_SPAN_HOURS = 2.0


@dataclass(frozen=True)
class TimedPicture:
    """A picture with its time as it is stated, and what of it does not depend on the hour.

    Attributes
    ----------
    day : date
    latitude_deg : float
    sun : SunView
        At the stated time.
    disc : Disc
    north_angle_deg, north_sigma_deg : float or None
        By spots, header or the observer; None where these do not tell it.
    mirrored : bool
    mount_angle_deg : float or None
        The camera's angle from the zenith, as stated or learned; None where it is not known, or the mount is not
        an alt-azimuth one.
    camera_is_stated : bool
    is_altaz : bool
    spot_hours : float or None
        By how many hours later its spots would fit those of its neighbours.
    """

    day: date
    latitude_deg: float
    sun: SunView
    disc: Disc
    north_angle_deg: float | None
    north_sigma_deg: float | None
    mirrored: bool
    mount_angle_deg: float | None
    camera_is_stated: bool
    is_altaz: bool
    spot_hours: float | None


@dataclass(frozen=True)
class ClockError:
    """By how many hours later the pictures of these days fit better, and by what.

    `first` and `last` are None where nothing before, or after, speaks against the hours. `days` is the number of days
    that gain. `camera_off_deg` is by how much the camera's angle would have to differ from the stated one to explain
    the pictures as well at the stated times; None where it cannot.
    """

    hours: float
    first: date | None
    last: date | None
    days: int
    signs: tuple[str, ...]
    camera_off_deg: float | None = None


def common_clock_error(pictures: Sequence[TimedPicture], *, likely_hours: Sequence[float] = ()) -> ClockError | None:
    """Return by how many hours the times of several days are wrong; None where they fit, or no hours are certain.

    Parameters
    ----------
    pictures : sequence of TimedPicture
        Of one instrument, in order of time.
    likely_hours : sequence of float
        Usual mistakes: the best of them is taken where it fits as well as any hour.
    """
    if len({one.day for one in pictures}) < _MIN_DAYS:
        return None
    days, index = np.unique([one.day.toordinal() for one in pictures], return_inverse=True)
    sky = _Sky.of(pictures)
    terms = {"altitude": _altitude(sky), "flattening": _flattening(pictures, sky), "spots": _spots(pictures)}
    by_hour: Floats = np.sum(list(terms.values()), axis=0)
    residual_deg, sigma_deg = _mount(pictures, sky)
    free = residual_deg - _middle_deg(residual_deg, sigma_deg)
    known = np.array([np.nan if one.mount_angle_deg is None else one.mount_angle_deg for one in pictures])
    runs = [_Run(0, len(days) - 1, free, camera_is_stated=False)]
    fixed = residual_deg - known[:, None]
    gains = _per_day(by_hour + _fit(fixed, sigma_deg), index, len(days))
    gains = gains - gains[:, [_NOW]]
    runs += [_Run(*_best_run(gains), fixed, camera_is_stated=all(one.camera_is_stated for one in pictures))]
    found = [
        error for run in runs
        if (error := _judged(run, terms, (residual_deg, sigma_deg), (days, index), likely_hours)) is not None
    ]  # fmt: skip
    return max(found, key=lambda pair: pair[0])[1] if found else None


@dataclass(frozen=True)
class _Run:
    """Days in a row, by their numbers, and the residuals (deg) of all pictures at each hour about their camera."""

    first: int
    last: int
    residual_deg: Floats
    camera_is_stated: bool


@dataclass(frozen=True)
class _Sky:
    """Altitude and parallactic angle (deg) of each picture at each hour."""

    altitude_deg: Floats
    parallactic_deg: Floats

    @classmethod
    def of(cls, pictures: Sequence[TimedPicture]) -> _Sky:
        """Return the sky as the Sun's hour angle goes on; its declination, which moves by 0.2 deg, stays."""
        latitude, altitude, azimuth = np.radians(
            np.array([(one.latitude_deg, one.sun.altitude_deg, one.sun.azimuth_deg) for one in pictures]).T
        )
        east, up = -np.sin(azimuth) * np.cos(altitude), np.sin(altitude)
        north = np.cos(azimuth) * np.cos(altitude)
        sin_declination = np.sin(latitude) * up + np.cos(latitude) * north
        declination = np.arcsin(np.clip(sin_declination, -1.0, 1.0))[:, None]
        hour_angle = np.arctan2(east, np.cos(latitude) * up - np.sin(latitude) * north)[:, None]
        hour_angle = hour_angle + np.radians(_SUN_DEG_PER_HOUR * HOURS)
        latitude = latitude[:, None]
        sin_altitude = np.sin(latitude) * np.sin(declination) + np.cos(latitude) * np.cos(declination) * np.cos(
            hour_angle
        )
        parallactic = np.arctan2(
            np.sin(hour_angle) * np.cos(latitude),
            np.sin(latitude) * np.cos(declination) - np.cos(latitude) * np.sin(declination) * np.cos(hour_angle),
        )
        return cls(np.degrees(np.arcsin(np.clip(sin_altitude, -1.0, 1.0))), np.degrees(parallactic))


def _altitude(sky: _Sky) -> Floats:
    """Return the log likelihoods of the Sun's being up at all."""
    total: Floats = np.where(sky.altitude_deg < _LOWEST_DEG, -_CAP, 0.0)
    return total


def _flattening(pictures: Sequence[TimedPicture], sky: _Sky) -> Floats:
    """Return the log likelihoods of the disc's shape, and of the direction in which it is flattened."""
    discs = [one.disc for one in pictures]
    usable = np.array([disc.limb_fraction >= MIN_LIMB_FRACTION for disc in discs])[:, None]
    error = np.array([flattening_error(disc) for disc in discs])[:, None]
    found = np.array([disc.flattening for disc in discs])[:, None]
    predicted = np.interp(sky.altitude_deg, _ALTITUDES_DEG, _FLATTENING)
    shape = -np.minimum(0.5 * ((found - predicted) / np.hypot(error, _AIR_SHARE * predicted)) ** 2, _CAP)
    # The short axis points to the zenith, or away from it.
    axis_deg = np.array([one.disc.short_axis_angle_deg * (-1.0 if one.mirrored else 1.0) for one in pictures])[:, None]
    north_deg, p_deg = _north_deg(pictures), np.array([one.sun.p_deg for one in pictures])[:, None]
    off_deg = (axis_deg + p_deg - sky.parallactic_deg - north_deg + 90.0) % 180.0 - 90.0
    sigma_deg = np.hypot(np.degrees(np.arctan2(error, found)) / 2.0, _north_sigma_deg(pictures) + _CAMERA_SIGMA_DEG)
    axis = -np.minimum(0.5 * (off_deg / sigma_deg) ** 2, _CAP)
    total: Floats = np.where(usable, shape + np.where(found > 3.0 * error, np.nan_to_num(axis), 0.0), 0.0)
    return total


def _north_deg(pictures: Sequence[TimedPicture]) -> Floats:
    return np.array([np.nan if one.north_angle_deg is None else one.north_angle_deg for one in pictures])[:, None]


def _north_sigma_deg(pictures: Sequence[TimedPicture]) -> Floats:
    return np.array([one.north_sigma_deg or 0.0 for one in pictures])[:, None]


def _spots(pictures: Sequence[TimedPicture]) -> Floats:
    """Return the log likelihoods of the hours at which spots fit those of neighbours."""
    hours = np.array([np.nan if one.spot_hours is None else one.spot_hours for one in pictures])[:, None]
    total: Floats = np.nan_to_num(-np.minimum(0.5 * ((HOURS - hours) / _SPOT_HOURS_SIGMA) ** 2, _CAP))
    return total


def _mount(pictures: Sequence[TimedPicture], sky: _Sky) -> tuple[Floats, Floats]:
    """Return the camera's angle from the zenith (deg) at each hour, NaN where it does not show, and its error."""
    north_deg = np.where([[one.is_altaz] for one in pictures], _north_deg(pictures), np.nan)
    p_deg = np.array([one.sun.p_deg for one in pictures])[:, None]
    level_deg = _LEVEL_SIGMA_DEG / np.maximum(np.cos(np.radians(sky.altitude_deg)), 0.05)
    angle_deg = north_deg - p_deg + sky.parallactic_deg
    return angle_deg, np.sqrt(_north_sigma_deg(pictures) ** 2 + level_deg**2 + _CAMERA_SIGMA_DEG**2)


def _middle_deg(angle_deg: Floats, sigma_deg: Floats) -> Floats:
    """Return the mean direction at each hour; angles far from it count less, and less in the second pass."""
    weight = np.where(np.isnan(angle_deg), 0.0, sigma_deg**-2.0)
    turns = np.nan_to_num(np.exp(1j * np.radians(angle_deg)))
    middle_deg: Floats = np.degrees(np.angle((weight * turns).sum(axis=0)))
    for _ in range(3):
        off = np.nan_to_num(_wrapped(angle_deg - middle_deg)) / sigma_deg
        nearer = weight / (1.0 + (off / 3.0) ** 2)
        middle_deg = np.degrees(np.angle((nearer * turns).sum(axis=0)))
    return middle_deg


def _fit(residual_deg: Floats, sigma_deg: Floats) -> Floats:
    chi = np.nan_to_num(_wrapped(residual_deg)) / sigma_deg
    fit: Floats = -np.minimum(0.5 * chi**2, _CAP)
    return fit


def _wrapped(angle_deg: Floats) -> Floats:
    wrapped: Floats = (angle_deg + 180.0) % 360.0 - 180.0
    return wrapped


def _per_day(log_likelihood: Floats, index: NDArray[np.intp], count: int) -> Floats:
    total = np.zeros((count, log_likelihood.shape[1]))
    np.add.at(total, index, log_likelihood)
    return total


def _best_run(gains: Floats) -> tuple[int, int]:
    """Return the first and last of those days in a row that gain the most at some hour."""
    best, run = 0.0, (0, len(gains) - 1)
    total, since = np.zeros(gains.shape[1]), np.zeros(gains.shape[1], dtype=int)
    for day, gain in enumerate(gains):
        since = np.where(total > 0.0, since, day)
        total = np.maximum(total, 0.0) + gain
        hour = int(np.argmax(total))
        if total[hour] > best + 1e-9:
            best, run = float(total[hour]), (int(since[hour]), day)
    return run


def _judged(
    run: _Run,
    terms: dict[str, Floats],
    mount: tuple[Floats, Floats],
    of_days: tuple[NDArray[Any], NDArray[np.intp]],
    likely_hours: Sequence[float],
) -> tuple[float, ClockError] | None:
    """Return gain and error of a run of days, where its hours are certain."""
    (residual_deg, sigma_deg), (days, index) = mount, of_days
    inside = (index >= run.first) & (index <= run.last)
    by_hour: Floats = np.sum(list(terms.values()), axis=0)
    fit = _fit(run.residual_deg, sigma_deg)
    total = (by_hour + fit)[inside].sum(axis=0)
    by_night = float(terms["altitude"][inside, _NOW].sum()) <= -_CAP * _MIN_DAYS
    chosen = _chosen(total, likely_hours, by_night=by_night)
    if chosen is None:
        return None
    hour, hours = chosen
    # The hours must explain more than a camera that was turned otherwise in these days; or they are those of a usual
    # mistake, and the camera's angle is as the observer states it.
    middle_deg = _middle_deg(residual_deg[inside], sigma_deg[inside])
    turned = float((by_hour[inside] + _fit(residual_deg[inside] - middle_deg, sigma_deg[inside]))[:, _NOW].sum())
    gain = float(total[hour]) - max(turned, float(total[_NOW]))
    camera_off_deg = None
    if gain < _MIN_GAIN and run.camera_is_stated and hours in likely_hours:
        gain = float(total[hour] - total[_NOW])
        camera_off_deg = float(_middle_deg(run.residual_deg[inside], sigma_deg[inside])[_NOW])
    gains = _per_day(by_hour + fit, index, len(days))
    gains = gains[:, hour] - gains[:, _NOW]
    helped = int((gains[run.first : run.last + 1] > _FOR).sum())
    harmed = int((gains[run.first : run.last + 1] < _AGAINST).sum())
    seen = inside & ~np.isnan(run.residual_deg[:, hour])
    misfit = float((-2.0 * fit[seen, hour]).mean()) if seen.any() else 0.0
    if gain < _MIN_GAIN or helped < _MIN_DAYS or 10 * harmed > helped or misfit > _MOST_MISFIT:
        return None
    told = {**terms, "north by spots and mount": fit}
    signs = tuple(name for name, term in told.items() if (term[inside, hour] - term[inside, _NOW]).sum() > 2.0)
    helping = [day for day in range(run.first, run.last + 1) if gains[day] > _FOR]
    before, after = gains[: helping[0]], gains[helping[-1] + 1 :]
    first = date.fromordinal(int(days[helping[0]])) if (before < _AGAINST).any() else None
    last = date.fromordinal(int(days[helping[-1]])) if (after < _AGAINST).any() else None
    return gain, ClockError(hours, first, last, helped, signs, camera_off_deg)


def _chosen(total: Floats, likely_hours: Sequence[float], *, by_night: bool) -> tuple[int, float] | None:
    """Return number and size of the hours: a usual mistake that fits as well as the best, else the best if certain.

    Many hours may fit alike; where the Sun was down at the stated ones a usual mistake is taken all the same.
    """
    fitting = np.flatnonzero(total > total.max() - _AS_GOOD)
    if _NOW in fitting or not (by_night or HOURS[fitting[-1]] - HOURS[fitting[0]] <= _MOST_SPAN_HOURS):
        return None
    usual = {hours: int(np.argmin(np.abs(HOURS - hours))) for hours in likely_hours}
    usual = {hours: hour for hours, hour in usual.items() if hour in fitting}
    if usual:
        hours = max(usual, key=lambda hours: total[usual[hours]])
        return usual[hours], hours
    if HOURS[fitting[-1]] - HOURS[fitting[0]] > _MOST_SPAN_HOURS:
        return None
    whole = [hour for hour in fitting if float(HOURS[hour]).is_integer()]
    best = int(max(whole or fitting, key=lambda hour: total[hour]))
    return best, float(HOURS[best])
