"""The columns of the two tables: name, kind, unit and meaning, as `datapackage.json` gives them.

The names are those of `observations.json` and `groups.json`, joined by ``_`` where one lies inside another.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from archive.language import gettext, gettext_noop
from archive.model.choices import BANDS

__all__ = ["COLUMNS", "GROUP_COLUMNS", "Column"]


@dataclass(frozen=True)
class Column:
    """One column; `kind` is a field type of the Table Schema standard, `unit` is empty where none applies."""

    name: str
    kind: Literal["string", "datetime", "number", "integer", "boolean", "array"]
    unit: str
    meaning: str

    @property
    def meaning_spoken(self) -> str:
        """Its meaning in the language that is spoken; names of bands stand as the table has them."""
        return gettext(self.meaning).format(bands=", ".join(BANDS[:-1]), last_band=BANDS[-1])


COLUMNS: tuple[Column, ...] = (
    Column("id", "string", "", gettext_noop("Name of the observation: UTC day and time")),
    Column("time_utc", "datetime", "UTC", gettext_noop("Middle of the capture")),
    Column("site", "string", "", gettext_noop("Name of the observing site")),
    Column("instrument", "string", "", gettext_noop("Name of the instrument")),
    Column("observer", "string", "", gettext_noop("Who took the picture; empty in an archive of one observer")),
    Column("band", "string", "", gettext_noop("Part of the spectrum: {bands} or {last_band}")),
    Column("picture_file", "string", "", gettext_noop("The original picture, inside the archive's folder")),
    Column("picture_sha256", "string", "", gettext_noop("SHA-256 of the original's bytes")),
    Column("picture_width_px", "integer", "px", gettext_noop("Width of the original as displayed")),
    Column("picture_height_px", "integer", "px", gettext_noop("Height of the original as displayed")),
    Column("picture_bit_depth", "integer", "bit", gettext_noop("Bits per sample of the original")),
    Column(
        "disc_x_px", "number", "px", gettext_noop("Disc centre, to the right from the centre of the top-left pixel")
    ),
    Column("disc_y_px", "number", "px", gettext_noop("Disc centre, downwards from the centre of the top-left pixel")),
    Column("disc_radius_px", "number", "px", gettext_noop("Larger semi-axis of the limb")),
    Column(
        "disc_flattening", "number", "1", gettext_noop("1 minus the ratio of the limb's smaller to its larger axis")
    ),
    Column(
        "disc_short_axis_angle_deg",
        "number",
        "deg",
        gettext_noop("Smaller axis, counter-clockwise from the picture's top"),
    ),
    Column("disc_rms_px", "number", "px", gettext_noop("Scatter of the limb about the fit")),
    Column("disc_sigma_px", "number", "px", gettext_noop("Standard error of centre and radius")),
    Column("disc_limb_fraction", "number", "1", gettext_noop("Fraction of the limb that was in the frame and used")),
    Column("disc_blur_px", "number", "px", gettext_noop("Gaussian blur of the limb's edge")),
    Column(
        "orientation_status",
        "string",
        "",
        gettext_noop("solved (measured or stated), assumed (from the mount) or unknown"),
    ),
    Column(
        "orientation_north_angle_deg",
        "number",
        "deg",
        gettext_noop("From the picture's top to solar north, counter-clockwise, after un-mirroring"),
    ),
    Column("orientation_mirrored", "boolean", "", gettext_noop("Whether the original is mirrored")),
    Column("orientation_sigma_deg", "number", "deg", gettext_noop("Standard error of the north angle")),
    Column(
        "orientation_evidence",
        "array",
        "deg",
        gettext_noop("Each piece of evidence as a JSON object: kind, north_angle_deg, sigma_deg, mirrored, note"),
    ),
    Column(
        "orientation_alternative_north_angle_deg",
        "number",
        "deg",
        gettext_noop("North angle of another possible orientation; empty where there is none"),
    ),
    Column(
        "orientation_alternative_mirrored",
        "boolean",
        "",
        gettext_noop("Whether the original is mirrored in that orientation"),
    ),
    Column(
        "orientation_alternative_odds",
        "number",
        "1",
        gettext_noop("How many times less likely that orientation is than the one adopted; 1 if undecided"),
    ),
    Column("sun_p_deg", "number", "deg", gettext_noop("P: position angle of the Sun's axis, positive to the east")),
    Column("sun_b0_deg", "number", "deg", gettext_noop("B0: heliographic latitude of the disc's centre")),
    Column("sun_l0_deg", "number", "deg", gettext_noop("L0: Carrington longitude of the disc's centre")),
    Column("sun_semidiameter_arcsec", "number", "arcsec", gettext_noop("Angular radius of the Sun")),
    Column("sun_distance_au", "number", "au", gettext_noop("Distance of the Sun")),
    Column("sun_carrington_rotation", "integer", "", gettext_noop("Number of the Carrington rotation")),
    Column(
        "sun_altitude_deg",
        "number",
        "deg",
        gettext_noop("Altitude above the horizon, without refraction; empty in space"),
    ),
    Column("sun_azimuth_deg", "number", "deg", gettext_noop("Azimuth from north through east")),
    Column("sun_parallactic_angle_deg", "number", "deg", gettext_noop("Position angle of the zenith at the Sun")),
    Column("counts_groups", "integer", "", gettext_noop("Sunspot groups, g")),
    Column("counts_spots", "integer", "", gettext_noop("Spots, s")),
    Column("counts_relative_number", "number", "1", gettext_noop("Relative number R = k (10 g + s)")),
    Column(
        "counts_stated", "boolean", "", gettext_noop("Whether the count is the observer's own instead of a measurement")
    ),
    Column(
        "counts_least_spot_msh",
        "number",
        "MSH",
        gettext_noop("Smallest spot that shows, where blur or noise hides more than usual"),
    ),
    Column(
        "spot_area_msh",
        "number",
        "MSH",
        gettext_noop(
            "Area of all spots in millionths of the solar hemisphere, without groups beyond 75 degrees from the centre"
        ),
    ),
    Column("spot_area_sigma_msh", "number", "MSH", gettext_noop("Standard error of that area")),
    Column("capture_start_utc", "datetime", "UTC", gettext_noop("Start of the capture")),
    Column("capture_length_s", "number", "s", gettext_noop("Length of the capture")),
    Column("capture_filter", "string", "", gettext_noop("Filter")),
    Column("capture_exposure_s", "number", "s", gettext_noop("Exposure of one frame")),
    Column("capture_gain", "number", "", gettext_noop("Gain as the camera gives it")),
    Column("capture_binning", "integer", "", gettext_noop("Pixels binned along each side")),
    Column("capture_frames_captured", "integer", "", gettext_noop("Frames captured")),
    Column("capture_frames_stacked", "integer", "", gettext_noop("Frames stacked")),
    Column("capture_seeing", "number", "1", gettext_noop("Seeing from 1 (worst) to 5 (best)")),
    Column("capture_transparency", "string", "", gettext_noop("Transparency in the observer's words")),
)

GROUP_COLUMNS: tuple[Column, ...] = (
    Column("name", "string", "", gettext_noop("Name of the group throughout the archive")),
    Column("observation", "string", "", gettext_noop("The observation that shows it, by its name")),
    Column("latitude_deg", "number", "deg", gettext_noop("Heliographic latitude, north positive")),
    Column("latitude_sigma_deg", "number", "deg", gettext_noop("Standard error of the latitude")),
    Column("carrington_longitude_deg", "number", "deg", gettext_noop("Carrington longitude, 0 to 360")),
    Column(
        "longitude_sigma_deg", "number", "deg", gettext_noop("Standard error of the longitude, for either meridian")
    ),
    Column(
        "central_meridian_distance_deg",
        "number",
        "deg",
        gettext_noop("Longitude from the central meridian, west positive"),
    ),
    Column(
        "area_msh",
        "number",
        "MSH",
        gettext_noop(
            "Area of its spots in millionths of the solar hemisphere; empty where not measured, as near the limb"
        ),
    ),
    Column("area_sigma_msh", "number", "MSH", gettext_noop("Standard error of the area")),
    Column(
        "umbra_msh",
        "number",
        "MSH",
        gettext_noop("Area of their umbrae in millionths of the solar hemisphere; empty where these are not resolved"),
    ),
    Column("umbra_sigma_msh", "number", "MSH", gettext_noop("Standard error of the umbrae's area")),
    Column("spots", "integer", "", gettext_noop("Spots")),
    Column("stated", "boolean", "", gettext_noop("Whether it is from the observer's record instead of a measurement")),
    Column(
        "rotation_deg_per_day", "number", "deg/d", gettext_noop("Sidereal rotation rate over the group's whole track")
    ),
    Column("rotation_sigma", "number", "deg/d", gettext_noop("Standard error of that rate")),
    Column("return_of", "string", "", gettext_noop("The group that probably returned as this one")),
    Column("other_names", "array", "", gettext_noop("Earlier names of the group, no longer used, as a JSON list")),
    Column(
        "official_name",
        "string",
        "",
        gettext_noop("Official name of the region, such as AR 11226; empty where not matched"),
    ),
)
