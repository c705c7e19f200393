"""How a picture's orientation is told to the reader: plainly, and no surer than it is."""

from __future__ import annotations

from archive.observation import EvidenceKind, Orientation
from archive.website.wording import degrees, joined

__all__ = ["EVIDENCE_NAMES", "is_north_up", "orientation_words"]

EVIDENCE_NAMES: dict[EvidenceKind, str] = {
    "stated": "the observer's statement",
    "header": "the file's header",
    "spots": "the motion of the spots",
    "sky": "the mount and the sky",
    "drift": "the drift of the disc",
    "refraction": "the flattening by the air",
}
# A smaller error than this is written as this: nobody reads a hundredth of a degree off a picture.
_LEAST_SHOWN_DEG = 0.1


def is_north_up(orientation: Orientation) -> bool:
    """Tell whether the published disc has been turned north up."""
    return orientation.status != "unknown" and orientation.north_angle_deg is not None


def orientation_words(orientation: Orientation) -> str:
    """Write one or two sentences on which way is north and how that is known."""
    if not is_north_up(orientation):
        return "As it came: which way is north is not known."
    parts = [f"{_source(orientation)}{_within(orientation.sigma_deg)}."]
    if orientation.mirrored:
        parts.append("The picture came mirrored and has been turned back.")
    if orientation.mirrored is None:
        parts.append("Whether the picture is mirrored is not known.")
    return " ".join(parts)


def _source(orientation: Orientation) -> str:
    if orientation.status == "assumed":
        return "North assumed from the mount"
    kinds = sorted({piece.kind for piece in orientation.evidence}, key=list(EVIDENCE_NAMES).index)
    if kinds == ["stated"]:
        return "North as stated by the observer"
    if not kinds:
        return "North measured"
    return f"North measured from {joined([EVIDENCE_NAMES[kind] for kind in kinds])}"


def _within(sigma_deg: float | None) -> str:
    if sigma_deg is None:
        return ""
    return f", within {degrees(max(sigma_deg, _LEAST_SHOWN_DEG), 1)}"
