"""Text about a picture's orientation and its uncertainty."""

from __future__ import annotations

from archive.model.choices import EvidenceKind
from archive.model.observation import Alternative, Evidence, Orientation
from archive.website.disc_directions import agrees, shown_at_deg
from archive.website.formatting import degrees, joined, number

__all__ = ["EVIDENCE_NAMES", "doubts", "format_orientation"]

EVIDENCE_NAMES: dict[EvidenceKind, str] = {
    "stated": "the observer’s statement",
    "header": "the file’s header",
    "moon": "the Moon’s place before the Sun",
    "spots": "the same spots on other days",
    "sky": "the mount’s geometry",
    "drift": "drift with tracking off",
    "refraction": "the flattening of the low Sun",
}
# Smaller errors are shown as this: a hundredth of a degree is not visible.
_MIN_SHOWN_DEG = 0.1
_MAX_ODDS_SHOWN = 1000.0


def format_orientation(orientation: Orientation) -> str:
    """Return one or two sentences on north and how it is known."""
    if not orientation.is_known:
        return "Original orientation: north is not known."
    parts = [f"{_source(orientation)}{_within(orientation.sigma_deg)}."]
    if orientation.mirrored:
        parts.append("The original is mirrored and has been un-mirrored.")
    if orientation.mirrored is None:
        parts.append("Whether the picture is mirrored is not known.")
    return " ".join(parts)


def doubts(orientation: Orientation) -> tuple[str, ...]:
    """Return a sentence for evidence that disagrees and one for another possible orientation, each with both values."""
    found: list[str] = []
    if orientation.disputes:
        found.append(_format_disputes(orientation))
    if orientation.alternative is not None:
        found.append(_format_alternative(orientation, orientation.alternative))
    return tuple(found)


def _format_disputes(orientation: Orientation) -> str:
    """Return all pieces of evidence in one sentence; without pieces, the stored disputes."""
    if len(orientation.evidence) < 2:
        return f"The evidence for north disagrees: {'; '.join(orientation.disputes)}."
    return f"The evidence for north disagrees: {'; '.join(map(_format_piece, orientation.evidence))}."


def _format_piece(piece: Evidence) -> str:
    error = degrees(max(piece.sigma_deg, _MIN_SHOWN_DEG), 1)
    angle, mirroring = _format_angle(piece), _format_mirroring(piece.mirrored)
    return f"{EVIDENCE_NAMES[piece.kind]} {angle} ±\N{NO-BREAK SPACE}{error}, {mirroring}"


def _format_alternative(orientation: Orientation, other: Alternative) -> str:
    if orientation.north_angle_deg is None:
        return f"One possible orientation is {_format_north(other)}; it is too uncertain to be used."
    taken = f"{degrees(orientation.north_angle_deg, 1, signed=True)}, {_format_mirroring(bool(orientation.mirrored))}"
    # It is called opposite where the two north directions differ by more than 90 deg.
    name = "opposite" if abs(shown_at_deg(other, orientation)) > 90 else "other"
    odds = _format_odds(other.odds)
    return f"North is taken at {taken}. The {name} orientation, {_format_north(other)}, is {odds}."


def _format_odds(odds: float) -> str:
    if odds > _MAX_ODDS_SHOWN:
        return f"more than {number(_MAX_ODDS_SHOWN)} times less likely"
    decimals = 1 if odds < 10 else 0
    if round(odds, decimals) <= 1:
        return "equally likely"
    return f"{number(odds, decimals)} times less likely"


def _format_north(one: Alternative) -> str:
    return f"{_format_angle(one)} {_format_mirroring(one.mirrored)}"


def _format_angle(one: Evidence | Alternative) -> str:
    return degrees(one.north_angle_deg, 1, signed=True)


def _format_mirroring(mirrored: bool) -> str:
    return "mirrored" if mirrored else "not mirrored"


def _source(orientation: Orientation) -> str:
    kinds = {piece.kind for piece in orientation.evidence if agrees(piece, orientation)}
    if orientation.status == "assumed":
        return f"North assumed from {EVIDENCE_NAMES['refraction'] if kinds == {'refraction'} else 'the mount'}"
    if not kinds:
        return "North measured"
    if "stated" in kinds:
        return "North as stated by the observer"
    return f"North measured from {joined([name for kind, name in EVIDENCE_NAMES.items() if kind in kinds])}"


def _within(sigma_deg: float | None) -> str:
    if sigma_deg is None:
        return ""
    return f", within {degrees(max(sigma_deg, _MIN_SHOWN_DEG), 1)}"
