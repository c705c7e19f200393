"""Blur from the length of a capture, formatted for pages and commands."""

from __future__ import annotations

from archive.model.observation import Observation
from archive.records.settings import Settings, find_named
from archive.sun.capture_advice import CaptureAdvice, capture_advice

__all__ = ["advice_lines", "advice_on", "format_longest", "format_smear"]


def advice_on(one: Observation, settings: Settings) -> CaptureAdvice:
    """Return what the length of a capture did to the picture, and how long one may be at that hour.

    From the site as it may be published, as pages show it.
    """
    latitude_deg, _ = settings.published_place(find_named(settings.sites, one.site, what="site"))
    mount = find_named(settings.instruments, one.instrument, what="instrument").mount
    if not one.sun.has_horizon:  # the field of a camera in space turns by no rule
        mount = "unknown"
    return capture_advice(one.sun, one.capture, latitude_deg=latitude_deg, mount=mount, radius_px=one.disc.radius_px)


def advice_lines(advice: CaptureAdvice) -> tuple[tuple[str, str], ...]:
    """Return names and figures of what is known, for a table."""
    lines = [
        ("Field rotation", _field(advice)),
        ("Smear at the limb", format_smear(advice.limb_smear_px, advice.limb_smear_arcsec)),
        ("Blur from solar rotation", format_smear(advice.surface_motion_px, advice.surface_motion_arcsec)),
        ("Longest capture without derotation", format_longest(advice)),
    ]
    return tuple((name, value) for name, value in lines if value is not None)


def _field(advice: CaptureAdvice) -> str | None:
    rate = advice.field_rotation_deg_per_hour
    if not rate:
        return None
    through = "" if advice.field_rotation_deg is None else f"; {abs(advice.field_rotation_deg):.2f}° in the capture"
    return f"{rate:+.1f}° an hour{through}".replace("-", "−")


def format_smear(px: float | None, arcsec: float | None) -> str | None:
    """Return a smear in pixels and arcseconds; None where there is none."""
    if arcsec is None or not arcsec:
        return None
    return f"{arcsec:.2f}″" if px is None else f"{px:.2f} px ({arcsec:.2f}″)"


def format_longest(advice: CaptureAdvice) -> str | None:
    """Return how long a capture may be; None where the scale is not known or nothing turns."""
    if advice.longest_s is None:
        return None
    return f"{advice.longest_s:.0f} s (1 px of blur)"
