"""What a drawn picture holds: plain values, and with them the truth that tests ask back.

Frames: pixels x right, y down, (0, 0) the centre of the top-left pixel. Everything that lies on the Sun
(spots, faculae) is turned by `north_angle_deg` and mirrored with `mirrored`; everything else (centre,
flattening, bite, sky, clouds, dust) is said in the picture as delivered. Levels are shares of the disc's
centre before `peak` and `gamma`.
"""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["Bite", "Facula", "Prominence", "Ring", "Scene", "Spot"]


@dataclass(frozen=True)
class Spot:
    """A spot: heliographic latitude, and longitude from the central meridian, west positive.

    `radius_deg` is heliocentric and includes the penumbra, so the area is 1e6 (1 - cos radius) MSH. `stretch`
    lengthens the spot along its parallel and narrows it across, at the same area. `ragged` makes the outline
    uneven by that share of the radius, point-symmetrically, so that its centre stays where it is said. The levels
    are the middles of those of Solanki (2003), Astron. Astrophys. Rev. 11, 153, from memory: 0.75 to 0.85 of the
    quiet Sun for penumbrae, 0.2 to 0.3 for umbrae.
    """

    latitude_deg: float
    longitude_deg: float
    radius_deg: float
    umbra_share: float = 0.4
    umbra_level: float = 0.25
    penumbra_level: float = 0.80
    stretch: float = 1.0
    ragged: float = 0.0
    seed: int = 0


@dataclass(frozen=True)
class Facula:
    """A bright patch that shows towards the limb: level 1 + contrast (1 - mu), with a patchy texture."""

    latitude_deg: float
    longitude_deg: float
    radius_deg: float
    contrast: float = 0.15
    seed: int = 0


@dataclass(frozen=True)
class Bite:
    """A dark disc in front of the Sun, as in an eclipse."""

    x_px: float
    y_px: float
    radius_px: float


@dataclass(frozen=True)
class Ring:
    """A bright thin ring of stray light."""

    x_px: float
    y_px: float
    radius_px: float
    width_px: float = 3.0
    level: float = 0.2


@dataclass(frozen=True)
class Prominence:
    """A bright tongue at the limb; `angle_deg` counter-clockwise from the picture's up, height in radii."""

    angle_deg: float
    width_deg: float = 4.0
    height: float = 0.06
    level: float = 0.5


@dataclass(frozen=True)
class Scene:
    """One picture. `radius_px` is the larger semi-axis; the smaller is ``radius_px * (1 - flattening)``.

    `short_axis_angle_deg` and `north_angle_deg` are counter-clockwise from the picture's up, the second in
    the picture after it has been un-mirrored (x -> 2 x_px - x) where `mirrored` is true. `limb_u` is (u2, v2)
    of I(mu) / I(1) = 1 - u2 - v2 + u2 mu + v2 mu^2 (Allen's Astrophysical Quantities, 550 nm);
    (0, 0) is a uniform disc. `blur_px` is the Gaussian sigma. `sky_gradient` is the rise of the sky across
    the whole width to the right and the whole height downwards. `halo` is the aureole at the limb. `cloud` is
    the depth of smooth cloud. The picture is ``(peak * level) ** (1 / gamma)``, in colour where `tint` is
    given. `seed` rules air, grain and noise; the outlines of spots have seeds of their own.
    """

    width_px: int = 640
    height_px: int = 480
    x_px: float = 322.3
    y_px: float = 236.8
    radius_px: float = 190.4
    flattening: float = 0.0
    short_axis_angle_deg: float = 0.0
    b0_deg: float = 0.0
    north_angle_deg: float = 0.0
    mirrored: bool = False
    limb_u: tuple[float, float] = (0.93, -0.23)
    spots: tuple[Spot, ...] = ()
    faculae: tuple[Facula, ...] = ()
    bite: Bite | None = None
    blur_px: float = 1.2
    sharpen: float = 0.0
    noise: float = 0.004
    granulation: float = 0.01
    sky_level: float = 0.02
    sky_gradient: tuple[float, float] = (0.0, 0.0)
    halo: float = 0.0
    ring: Ring | None = None
    prominences: tuple[Prominence, ...] = ()
    cloud: float = 0.0
    dust: int = 0
    caption: str | None = None
    peak: float = 0.8
    gamma: float = 1.0
    tint: tuple[float, float, float] | None = None
    seed: int = 1
