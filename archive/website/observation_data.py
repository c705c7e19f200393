"""One observation under the names that other programs rely on."""

from __future__ import annotations

from archive.model.observation import Alternative, Capture, Counts, Disc, Observation, Orientation, PictureFile, SunView
from archive.website.data_formats import Record, rounded, rounded_by, time_text

__all__ = ["observation_record"]


def observation_record(observation: Observation) -> Record:
    """Return one observation under the names that other programs rely on, ready for JSON."""
    return {
        "id": observation.id,
        "time_utc": time_text(observation.time_utc),
        "site": observation.site,
        "instrument": observation.instrument,
        "observer": observation.observer or None,
        "band": observation.band,
        "picture": _picture(observation.picture),
        "disc": _disc(observation.disc),
        "orientation": _orientation(observation.orientation),
        "sun": _sun(observation.sun),
        "counts": _counts(observation.counts),
        "spot_area_msh": rounded_by(observation.spot_area_msh, observation.spot_area_sigma_msh, 1),
        "spot_area_sigma_msh": rounded(observation.spot_area_sigma_msh, 1),
        "capture": _capture(observation.capture),
    }


def _picture(picture: PictureFile) -> Record:
    return {
        "file": picture.file,
        "sha256": picture.sha256,
        "width_px": picture.width_px,
        "height_px": picture.height_px,
        "bit_depth": picture.bit_depth,
    }


def _disc(disc: Disc) -> Record:
    return {
        "x_px": rounded(disc.x_px, 3),
        "y_px": rounded(disc.y_px, 3),
        "radius_px": rounded(disc.radius_px, 3),
        "flattening": rounded(disc.flattening, 6),
        "short_axis_angle_deg": rounded(disc.short_axis_angle_deg, 4),
        "rms_px": rounded(disc.rms_px, 3),
        "sigma_px": rounded(disc.sigma_px, 3),
        "limb_fraction": rounded(disc.limb_fraction, 4),
        "blur_px": rounded(disc.blur_px, 3),
    }


def _orientation(orientation: Orientation) -> Record:
    evidence = [
        {
            "kind": piece.kind,
            "north_angle_deg": rounded_by(piece.north_angle_deg, piece.sigma_deg, 4),
            "sigma_deg": rounded(piece.sigma_deg, 4),
            "mirrored": piece.mirrored,
            "note": piece.note,
        }
        for piece in orientation.evidence
    ]
    return {
        "status": orientation.status,
        "north_angle_deg": rounded_by(orientation.north_angle_deg, orientation.sigma_deg, 4),
        "mirrored": orientation.mirrored,
        "sigma_deg": rounded(orientation.sigma_deg, 4),
        "evidence": evidence,
        "alternative": _alternative(orientation.alternative),
    }


def _alternative(alternative: Alternative | None) -> Record | None:
    if alternative is None:
        return None
    return {
        "north_angle_deg": rounded(alternative.north_angle_deg, 4),
        "mirrored": alternative.mirrored,
        "odds": rounded(alternative.odds, 1),
    }


def _sun(sun: SunView) -> Record:
    return {
        "p_deg": rounded(sun.p_deg, 4),
        "b0_deg": rounded(sun.b0_deg, 4),
        "l0_deg": rounded(sun.l0_deg, 4),
        "semidiameter_arcsec": rounded(sun.semidiameter_arcsec, 2),
        "distance_au": rounded(sun.distance_au, 7),
        "carrington_rotation": sun.carrington_rotation,
        **{name: rounded(angle_deg, 4) if sun.has_horizon else None for name, angle_deg in _sky_angles(sun).items()},
    }


def _sky_angles(sun: SunView) -> dict[str, float]:
    return {
        "altitude_deg": sun.altitude_deg,
        "azimuth_deg": sun.azimuth_deg,
        "parallactic_angle_deg": sun.parallactic_angle_deg,
    }


def _counts(counts: Counts | None) -> Record:
    """Keep the names where nothing was counted, so that every record has the same shape."""
    if counts is None:
        return {"groups": None, "spots": None, "relative_number": None, "stated": None, "least_spot_msh": None}
    return {
        "groups": counts.groups,
        "spots": counts.spots,
        "relative_number": rounded(counts.relative_number, 1),
        "stated": counts.stated,
        "least_spot_msh": rounded(counts.least_spot_msh, 1),
    }


def _capture(capture: Capture) -> Record:
    return {
        "start_utc": None if capture.start_utc is None else time_text(capture.start_utc),
        "length_s": rounded(capture.length_s, 3),
        "filter": capture.filter,
        "exposure_s": rounded(capture.exposure_s, 6),
        "gain": rounded(capture.gain, 3),
        "binning": capture.binning,
        "frames_captured": capture.frames_captured,
        "frames_stacked": capture.frames_stacked,
        "seeing": rounded(capture.seeing, 1),
        "transparency": capture.transparency,
    }
