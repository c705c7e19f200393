"""Data classes for one picture: file, capture, disc, orientation, spots and groups.

Frames (see DEVELOPERS.md): pixels x right, y down, (0, 0) the centre of the top-left pixel of the
picture as displayed; angles on the disc are position angles, counter-clockwise with north up and
east left; times are aware UTC, the middle of the capture.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from datetime import date, datetime

from archive.model.choices import Band, EvidenceKind, OrientationStatus

__all__ = [
    "LARGE_PX",
    "Alternative",
    "Capture",
    "Counts",
    "Disc",
    "Evidence",
    "FoundSpots",
    "NamedGroup",
    "Observation",
    "Orientation",
    "PictureFile",
    "Spot",
    "SpotGroup",
    "SunView",
]

LARGE_PX = 25_000_000  # from this number of pixels on, code saves memory rather than time


@dataclass(frozen=True)
class PictureFile:
    """The original on disk; `file` is relative to the archive folder, with forward slashes."""

    file: str
    sha256: str
    width_px: int
    height_px: int
    bit_depth: int


@dataclass(frozen=True)
class Capture:
    """Capture data given by the observer or the file; None is unknown."""

    start_utc: datetime | None = None
    length_s: float | None = None
    filter: str | None = None
    exposure_s: float | None = None
    gain: float | None = None
    binning: int | None = None
    frames_captured: int | None = None
    frames_stacked: int | None = None
    seeing: float | None = None
    transparency: str | None = None


@dataclass(frozen=True)
class Disc:
    """The limb as fitted in the picture as displayed.

    `radius_px` is the larger semi-axis of the limb; the smaller is ``radius_px * (1 - flattening)``,
    along `short_axis_angle_deg`, counter-clockwise from the picture's up, in (-90, 90]. `rms_px` is the scatter
    of the limb about the fit, `sigma_px` the standard error of centre and radius, `limb_fraction` the fraction
    of the limb that was in the frame, not covered by the Moon, and used, `blur_px` the Gaussian blur of the edge.
    `edge_sigma_px` is the part of `sigma_px` from the limb's uncertain position within the blurred edge: it affects the
    radius alone.
    """

    x_px: float
    y_px: float
    radius_px: float
    flattening: float
    rms_px: float
    short_axis_angle_deg: float = 0.0
    sigma_px: float = 0.0
    limb_fraction: float = 1.0
    blur_px: float = 0.0
    edge_sigma_px: float = 0.0

    @property
    def centre_sigma_px(self) -> float:
        """Standard error of the centre and of the ellipse, which do not depend on the tone curve."""
        return math.sqrt(max(self.sigma_px**2 - self.edge_sigma_px**2, 0.0))

    @property
    def softness(self) -> float:
        """Blur divided by the radius, to compare discs of different size: the smallest value is the sharpest."""
        return self.blur_px / self.radius_px


@dataclass(frozen=True)
class Evidence:
    """One independent piece of evidence for the orientation.

    `north_angle_deg`: from the picture's up to solar north, counter-clockwise, in the picture after
    it has been un-mirrored where `mirrored` is true.
    """

    kind: EvidenceKind
    north_angle_deg: float
    sigma_deg: float
    mirrored: bool
    note: str = ""


@dataclass(frozen=True)
class Alternative:
    """Another orientation that the evidence allows; `odds` is how many times less likely it is, 1 or more."""

    north_angle_deg: float
    mirrored: bool
    odds: float


@dataclass(frozen=True)
class Orientation:
    """The combined result of all evidence; angle and sigma are None where the status is unknown."""

    status: OrientationStatus
    north_angle_deg: float | None
    mirrored: bool | None
    sigma_deg: float | None
    evidence: tuple[Evidence, ...] = ()
    disputes: tuple[str, ...] = ()
    alternative: Alternative | None = None

    @property
    def is_known(self) -> bool:
        """Whether north is known, measured or assumed, so that the picture can be turned north up."""
        return self.status != "unknown" and self.north_angle_deg is not None


@dataclass(frozen=True)
class SunView:
    """The Sun as seen from the site at the time; altitude without refraction.

    From a site in space (`has_horizon` False) it is overhead all the time, where air and horizon do nothing; altitude,
    azimuth and parallactic angle are told nowhere.
    """

    p_deg: float
    b0_deg: float
    l0_deg: float
    semidiameter_arcsec: float
    distance_au: float
    carrington_rotation: int
    altitude_deg: float
    azimuth_deg: float
    parallactic_angle_deg: float
    has_horizon: bool = True


@dataclass(frozen=True)
class Counts:
    """Groups, spots and the relative number R = k (10 g + s); `stated` where the observer's own count is used.

    `least_spot_msh` is the smallest spot that shows, in millionths, where blur or noise hides more than usual; None
    elsewhere.
    """

    groups: int
    spots: int
    relative_number: float
    stated: bool = False
    least_spot_msh: float | None = None


@dataclass(frozen=True)
class Spot:
    """A spot or pore of one picture in the north-up frame (in the original orientation where north is unknown).

    `right` and `up` are distances of its centre from the disc's centre in radii; areas are in millionths of the
    hemisphere, corrected for foreshortening: `area_msh` of the whole spot, `umbra_msh` of its umbrae, None where the
    picture does not tell. Where `area_known` is False the area is rough, for ordering alone: at the limb, or where the
    picture is white round about.
    """

    right: float
    up: float
    area_msh: float
    umbra_msh: float | None
    area_sigma_msh: float | None = None
    umbra_sigma_msh: float | None = None
    area_known: bool = True


@dataclass(frozen=True)
class FoundSpots:
    """The spots of a picture.

    `least_depth` is the detection threshold: how much darker than the quiet Sun, as a fraction, a spot must be.
    `seen_share` is the visible fraction of the disc, which the frame or the Moon may cut.
    """

    spots: tuple[Spot, ...]
    least_depth: float
    seen_share: float


@dataclass(frozen=True)
class SpotGroup:
    """A group in one picture; its position is the area-weighted mean of its spots.

    Areas are None where the observer's record gives the group without them, or where the picture does not tell one of
    its spots'.
    Heliographic coordinates are None where north is unknown; `latitude_sigma_deg` and `longitude_sigma_deg` include
    the orientation's error. Central meridian distance is positive to the west.
    """

    spots: tuple[Spot, ...]
    area_msh: float | None
    umbra_msh: float | None
    latitude_deg: float | None = None
    carrington_longitude_deg: float | None = None
    central_meridian_distance_deg: float | None = None
    latitude_sigma_deg: float | None = None
    longitude_sigma_deg: float | None = None
    area_sigma_msh: float | None = None
    umbra_sigma_msh: float | None = None

    @property
    def size_msh(self) -> float:
        """The area by which groups are ordered and drawn: one without an area is the smallest."""
        return self.area_msh or 0.0


@dataclass(frozen=True)
class NamedGroup:
    """A group of one picture with its name in the archive, None where it has none (north unknown).

    `stated` where the observer's record replaces the measured group; `official_name` as in `archive.model.group.Group`.
    """

    name: str | None
    group: SpotGroup
    stated: bool = False
    official_name: str | None = None


@dataclass(frozen=True)
class Observation:
    """One picture of the archive with all its data. `id` is like ``2026-06-03T0915Z``.

    `groups` is None where spots are not counted (not white light, or not measured yet).
    `remarks` are warnings for observer and reader, each a sentence without its full stop. `observer` is empty in an
    archive of one observer.
    """

    id: str
    time_utc: datetime
    site: str
    instrument: str
    band: Band
    picture: PictureFile
    disc: Disc
    orientation: Orientation
    sun: SunView
    capture: Capture = field(default_factory=Capture)
    counts: Counts | None = None
    spot_area_msh: float | None = None
    spot_area_sigma_msh: float | None = None
    groups: tuple[NamedGroup, ...] | None = None
    remarks: tuple[str, ...] = ()
    local_day: date | None = None
    observer: str = ""

    @property
    def day(self) -> date:
        """The day to which it belongs: that of UTC, or of the site's clock where the archive has such days."""
        return self.local_day or self.time_utc.date()
