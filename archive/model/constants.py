"""Constants of nature, of the calendar and of the published disc; each with its unit in the name, and its source."""

from __future__ import annotations

import math
from datetime import UTC, datetime

__all__ = [
    "ARCSEC_PER_DEG",
    "AU_M",
    "CARRINGTON_DEG_PER_DAY",
    "CARRINGTON_ROTATION_DAYS",
    "CARRINGTON_ROTATION_ZERO_JD",
    "DISC_RADIUS_PX",
    "DISC_RADIUS_SHARE",
    "DISC_SIDE_PX",
    "EARTH_DEG_PER_DAY",
    "EARTH_DIAMETER_AT_1_AU_ARCSEC",
    "EARTH_RADII",
    "EARTH_SIDEREAL_DEG_PER_HOUR",
    "LIGHT_TIME_DAYS_PER_AU",
    "LUNAR_RADIUS_M",
    "LUNAR_VALLEYS_SHARE",
    "PENUMBRA_DEPTH",
    "SECONDS_PER_DAY",
    "SEMIDIAMETER_AT_1_AU_ARCSEC",
    "SOLAR_RADIUS_M",
    "SUN_DISTANCE_RADII",
    "SUN_POLE_DECLINATION_DEG",
    "SUN_POLE_RIGHT_ASCENSION_DEG",
    "SUN_PRIME_MERIDIAN_AT_J2000_DEG",
    "SYNODIC_DEG_PER_DAY",
    "SYNODIC_MONTH_DAYS",
    "UMBRA_DEPTH",
    "UMBRA_SHARE",
    "UNIX_EPOCH_JD",
    "UNIX_EPOCH_MJD",
    "UNIX_EPOCH_UTC",
]

ARCSEC_PER_DEG = 3600.0

# Time
SECONDS_PER_DAY = 86400.0
UNIX_EPOCH_UTC = datetime(1970, 1, 1, tzinfo=UTC)
UNIX_EPOCH_JD = 2440587.5  # Julian date of that moment: that of 2000 January 1, 12 h, 2451545.0, less 10957.5 days
UNIX_EPOCH_MJD = 40587.0  # the same less 2400000.5

# Distances and sizes
AU_M = 149597870700.0  # IAU 2012 resolution B2
SEMIDIAMETER_AT_1_AU_ARCSEC = 959.63  # Auwers (1891), the value of the almanacs
SOLAR_RADIUS_M = 695_996_000.0  # that semidiameter at 1 au
SUN_DISTANCE_RADII = 1.0 / math.sin(math.radians(SEMIDIAMETER_AT_1_AU_ARCSEC / ARCSEC_PER_DEG))  # at 1 au
EARTH_DIAMETER_AT_1_AU_ARCSEC = 2.0 * 8.794143  # equatorial: twice the solar parallax, IAU 1976
EARTH_RADII = EARTH_DIAMETER_AT_1_AU_ARCSEC / 2.0 / SEMIDIAMETER_AT_1_AU_ARCSEC  # of the Sun
LUNAR_RADIUS_M = 0.2725076 * 6_378_140.0  # mean limb, with mountains: IAU 1982; equatorial radius of IAU 1976
# Of that radius: to where the Sun shines in through valleys, k2 of the published Besselian elements (Espenak & Meeus
# 2006, Five Millennium Canon of Solar Eclipses, section 1.5).
LUNAR_VALLEYS_SHARE = 0.272281 / 0.2725076
SYNODIC_MONTH_DAYS = 29.530588861  # mean: Meeus, Astronomical Algorithms, 2nd ed., chapter 49
LIGHT_TIME_DAYS_PER_AU = 499.004783836 / SECONDS_PER_DAY  # IAU 1976/2009 system of constants

# Rotation of the Sun: elements of Archinal et al., Report of the IAU WGCCRE (2018), table 1
SUN_POLE_RIGHT_ASCENSION_DEG = 286.13
SUN_POLE_DECLINATION_DEG = 63.87
SUN_PRIME_MERIDIAN_AT_J2000_DEG = 84.176
CARRINGTON_DEG_PER_DAY = 14.1844  # sidereal
# Start and mean synodic length of Carrington rotation 0: Meeus, Astronomical Algorithms, 2nd ed., chapter 29.
CARRINGTON_ROTATION_ZERO_JD = 2398140.2270  # dynamical time
CARRINGTON_ROTATION_DAYS = 27.2752316
SYNODIC_DEG_PER_DAY = 360.0 / CARRINGTON_ROTATION_DAYS  # mean, at which L0 falls

# Spots, below the quiet Sun's brightness: the middles of 0.75 to 0.85 for penumbrae and of 0.2 to 0.3 for umbrae,
# Solanki (2003), Astron. Astrophys. Rev. 11, 153 (from memory).
PENUMBRA_DEPTH = 0.20
UMBRA_DEPTH = 0.75
# Of a spot's area, the middle of what is published: from a seventh (Hathaway 2013, Solar Phys. 286, 347) to a quarter
# (Brandt, Schmidt & Steinegger 1990, Solar Phys. 129, 191; both from memory).
UMBRA_SHARE = 0.19

# Motion of the Earth
EARTH_DEG_PER_DAY = 360.0 / 365.2422  # mean, along its orbit: the tropical year, Meeus, chapter 27
EARTH_SIDEREAL_DEG_PER_HOUR = 15.04106864  # mean sidereal rate, 360.98564737 deg/day: Aoki et al. (1982), A&A 105, 359

# The published discs: square, the disc in the middle.
DISC_SIDE_PX = 1024
DISC_RADIUS_SHARE = 0.45  # of the side
DISC_RADIUS_PX = DISC_RADIUS_SHARE * DISC_SIDE_PX
