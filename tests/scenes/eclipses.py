"""Drawn eclipses: where Sun and Moon stand comes from DE421 by skyfield, and nothing from the program itself.

The camera stands on an alt-azimuth mount, so the field turns; it may be turned by hand, and exposure changed, between
pictures. What is mirrored is mirrored left to right.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass, replace
from datetime import datetime
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from scenes.scene import Bite, Scene

__all__ = ["Camera", "Sky", "drawn_scene", "sky_at"]

SOLAR_RADIUS_KM, LUNAR_RADIUS_KM = 695_990.0, 1737.4  # IAU 2015: R of Auwers's semidiameter; mean radius of the Moon
CORPUS_CHRISTI = (27.80, -97.40, 0.0)


@dataclass(frozen=True)
class Sky:
    """What a site sees: sizes and distances in arcseconds, position angles from celestial north."""

    sun_arcsec: float
    moon_arcsec: float
    separation_arcsec: float
    position_angle_deg: float
    parallactic_deg: float
    altitude_deg: float


@dataclass(frozen=True)
class Camera:
    """An alt-azimuth camera, `angle_deg` from the picture's up to the zenith, counter-clockwise, un-mirrored."""

    angle_deg: float = 0.0
    mirrored: bool = False
    arcsec_per_px: float = 8.0


@lru_cache(maxsize=1)
def _de421() -> tuple[Any, Any]:
    with warnings.catch_warnings():
        # The package warns that its Earth-rotation table is old; that table is not used here.
        warnings.filterwarnings("ignore", message="The file finals2000A.all has expired", category=RuntimeWarning)
        skyfield_data = pytest.importorskip("skyfield_data")
        folder = Path(skyfield_data.get_skyfield_data_path())
    from skyfield.api import load, load_file

    return load.timescale(builtin=True), load_file(str(folder / "de421.bsp"))


def sky_at(moment: datetime, place: tuple[float, float, float] = CORPUS_CHRISTI) -> Sky:
    """Return the sky of a site: latitude and longitude (deg), elevation (m)."""
    from skyfield.api import wgs84

    timescale, kernel = _de421()
    time = timescale.from_datetime(moment)
    site = wgs84.latlon(*place)
    here = (kernel["earth"] + site).at(time)
    sun, moon = (here.observe(kernel[name]).apparent() for name in ("sun", "moon"))
    to_sun, to_moon = (time.M @ one.position.km for one in (sun, moon))
    zenith = time.M @ site.rotation_at(time)[2]
    altitude, _, _ = sun.altaz(pressure_mbar=0.0)
    return Sky(
        *(
            float(np.degrees(np.arcsin(radius_km / np.linalg.norm(to))) * 3600.0)
            for radius_km, to in ((SOLAR_RADIUS_KM, to_sun), (LUNAR_RADIUS_KM, to_moon))
        ),
        separation_arcsec=float(sun.separation_from(moon).degrees) * 3600.0,
        position_angle_deg=_position_angle_deg(to_sun, to_moon),
        parallactic_deg=_position_angle_deg(to_sun, zenith),
        altitude_deg=float(altitude.degrees),
    )


def _position_angle_deg(at: Any, other: Any) -> float:
    east = np.cross([0.0, 0.0, 1.0], at)
    north = np.cross(at, east) / np.linalg.norm(at)
    return float(np.degrees(np.arctan2(other @ east, other @ north)))


def drawn_scene(sky: Sky, camera: Camera, *, p_deg: float, base: Scene | None = None) -> Scene:
    """Return the picture that a camera takes of a sky.

    Parameters
    ----------
    sky : Sky
    camera : Camera
    p_deg : float
        Position angle of the Sun's axis: it turns the spots and what north is, but not the Moon.
    base : Scene, optional
        Blur, exposure, noise and so on; its size and centre are kept.
    """
    base = base or Scene(width_px=320, height_px=330, x_px=161.4, y_px=163.2)
    celestial_north_deg = camera.angle_deg - sky.parallactic_deg
    turn = np.radians(sky.position_angle_deg + celestial_north_deg)
    apart_px = sky.separation_arcsec / camera.arcsec_per_px
    right_px, up_px = -apart_px * float(np.sin(turn)), apart_px * float(np.cos(turn))
    right_px = -right_px if camera.mirrored else right_px
    return replace(
        base,
        radius_px=sky.sun_arcsec / camera.arcsec_per_px,
        bite=Bite(base.x_px + right_px, base.y_px - up_px, sky.moon_arcsec / camera.arcsec_per_px),
        north_angle_deg=celestial_north_deg + p_deg,
        mirrored=camera.mirrored,
    )
