"""Time scales: Julian dates in UT1 and TT from UTC, without any download.

Nothing here is downloaded and nothing expires. After the last year of the table UT1 is taken as UTC
(civil time follows the Earth within 0.9 s while leap seconds last, which is 0.004 deg of hour angle)
and TT - UTC keeps its last value; an error of a minute there moves L0 by 0.01 deg. Before 1972 UTC is
taken as UT1.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

import erfa
import numpy as np
from numpy.typing import NDArray

from archive.model.constants import SECONDS_PER_DAY, UNIX_EPOCH_JD
from archive.model.times import days_since_1970

__all__ = ["JD_TABLE_END", "julian_date_utc", "time_scales"]

# TT - UT1 in seconds at 0 h on 1 January, every five years 1950 to 1970: Astronomical Almanac, section K,
# table of delta T. An independent spline differs by less than 0.8 s (tests/sun/test_sun_against_de421.py).
_DELTA_T_EARLY_S = {1950: 29.15, 1955: 31.07, 1960: 33.15, 1965: 35.73, 1970: 40.18}
# Every year from 1972, rounded to 0.01 s: IERS Bulletin B and EOP C04 series, 32.184 s + (TAI - UTC) - (UT1 - UTC).
_DELTA_T_FROM_1972_S = (
    42.23, 43.37, 44.48, 45.48, 46.46, 47.52, 48.53, 49.59, 50.54, 51.38, 52.17, 52.96, 53.79, 54.34,
    54.87, 55.32, 55.82, 56.30, 56.86, 57.57, 58.31, 59.12, 59.98, 60.79, 61.63, 62.30, 62.97, 63.47,
    63.83, 64.09, 64.30, 64.47, 64.57, 64.69, 64.85, 65.15, 65.46, 65.78, 66.07, 66.32, 66.60, 66.91,
    67.28, 67.64, 68.10, 68.59, 68.97, 69.22, 69.36, 69.36, 69.29, 69.20, 69.18, 69.14, 69.11,
)  # fmt: skip
_TT_MINUS_TAI_S = 32.184  # definition, IAU 1991
_JD_1972 = 2441317.5
JD_TABLE_END = 2461041.5  # 2026-01-01: later UT1 is taken as UTC

_years = list(_DELTA_T_EARLY_S) + list(range(1972, 1972 + len(_DELTA_T_FROM_1972_S)))
_table_jd = np.array([sum(erfa.cal2jd(year, 1, 1)) for year in _years])
_table_delta_t_s = np.array([*_DELTA_T_EARLY_S.values(), *_DELTA_T_FROM_1972_S])
_leap_seconds = erfa.leap_seconds.get()
_leap_jd = np.array([sum(erfa.cal2jd(int(row["year"]), int(row["month"]), 1)) for row in _leap_seconds])
_leap_tai_minus_utc_s = np.array([float(row["tai_utc"]) for row in _leap_seconds])


def julian_date_utc(times_utc: Sequence[datetime]) -> NDArray[np.float64]:
    """Return Julian dates (UTC) of aware datetimes.

    Raises
    ------
    ValueError
        A datetime has no time zone.
    """
    if any(moment.tzinfo is None for moment in times_utc):
        raise ValueError("a time without a time zone: add one, such as tzinfo=UTC")
    days = [days_since_1970(moment) for moment in times_utc]
    return np.asarray(days, dtype=np.float64) + UNIX_EPOCH_JD


def time_scales(julian_dates_utc: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return Julian dates in UT1 and in TT.

    Parameters
    ----------
    julian_dates_utc : ndarray of shape (N,)

    Returns
    -------
    julian_dates_ut1, julian_dates_tt : ndarray of shape (N,)
    """
    jd = np.asarray(julian_dates_utc, dtype=np.float64)
    delta_t_s = np.interp(jd, _table_jd, _table_delta_t_s)
    leap_s = _leap_tai_minus_utc_s[np.clip(np.searchsorted(_leap_jd, jd, side="right") - 1, 0, None)]
    tt_minus_utc_s = np.where(jd < _JD_1972, delta_t_s, leap_s + _TT_MINUS_TAI_S)
    ut1_minus_utc_s = np.where(jd > JD_TABLE_END, 0.0, tt_minus_utc_s - delta_t_s)
    return jd + ut1_minus_utc_s / SECONDS_PER_DAY, jd + tt_minus_utc_s / SECONDS_PER_DAY
