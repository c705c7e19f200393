"""World coordinates of the north-up disc: helioprojective, so that other software reads its orientation."""

from __future__ import annotations

from datetime import UTC, datetime

from archive.disc.aligned import DiscFrame
from archive.model.constants import AU_M, SECONDS_PER_DAY, SOLAR_RADIUS_M, UNIX_EPOCH_MJD
from archive.model.observation import SunView

__all__ = ["helioprojective_cards"]

Card = tuple[str, str | int | float, str]


def helioprojective_cards(frame: DiscFrame, *, time_utc: datetime, sun: SunView) -> list[Card]:
    """Return the header cards (keyword, value, comment) for a disc in `frame`, north up, stored bottom row first.

    References
    ----------
    Thompson (2006), A&A 449, 791: HPLN (towards solar west) and HPLT (towards solar north) in arcsec, observer
    by HGLN_OBS, HGLT_OBS, DSUN_OBS; CRLN_OBS, CRLT_OBS and RSUN_OBS as solar observatories write them.
    """
    scale_arcsec = sun.semidiameter_arcsec / frame.radius_px
    middle = frame.centre_px + 1.0  # FITS counts pixels from 1
    return [
        ("DATE-OBS", f"{time_utc.astimezone(UTC):%Y-%m-%dT%H:%M:%S}", "UTC, middle of the capture"),
        ("MJD-OBS", time_utc.timestamp() / SECONDS_PER_DAY + UNIX_EPOCH_MJD, "the same as a Modified Julian Date"),
        ("TIMESYS", "UTC", "time scale"),
        ("WCSNAME", "Helioprojective-cartesian", ""),
        ("CTYPE1", "HPLN-TAN", "towards solar west"),
        ("CTYPE2", "HPLT-TAN", "towards solar north"),
        ("CUNIT1", "arcsec", ""),
        ("CUNIT2", "arcsec", ""),
        ("CRPIX1", middle, "disc centre"),
        ("CRPIX2", middle, "disc centre"),
        ("CRVAL1", 0.0, ""),
        ("CRVAL2", 0.0, ""),
        ("CDELT1", scale_arcsec, "arcsec per pixel"),
        ("CDELT2", scale_arcsec, "arcsec per pixel"),
        ("CROTA2", 0.0, "deg, solar north is up"),
        ("RSUN_OBS", sun.semidiameter_arcsec, "arcsec, semidiameter"),
        ("R_SUN", frame.radius_px, "pixels, semidiameter"),
        ("RSUN_REF", SOLAR_RADIUS_M, "m"),
        ("DSUN_OBS", sun.distance_au * AU_M, "m, distance of the Sun"),
        ("HGLN_OBS", 0.0, "deg, Stonyhurst longitude of the Earth"),
        ("HGLT_OBS", sun.b0_deg, "deg, B0"),
        ("CRLN_OBS", sun.l0_deg, "deg, L0"),
        ("CRLT_OBS", sun.b0_deg, "deg, B0"),
        ("CAR_ROT", sun.carrington_rotation, "Carrington rotation"),
        ("SOLAR_P", sun.p_deg, "deg, position angle of the axis"),
    ]
