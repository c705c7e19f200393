"""How a picture's orientation is told to the reader: plainly, and no surer than it is."""

from __future__ import annotations

from archive.model.choices import EvidenceKind
from archive.model.observation import Alternative, Evidence, Orientation
from archive.website.disc_directions import agrees, shown_at_deg
from archive.website.wording import degrees, joined, number

__all__ = ["EVIDENCE_NAMES", "doubts", "orientation_words"]

EVIDENCE_NAMES: dict[EvidenceKind, str] = {
    "stated": "the observer’s statement",
    "header": "the file’s header",
    "spots": "the same spots on other days",
    "sky": "the mount and the sky",
    "drift": "drift with tracking off",
    "refraction": "the flattening of the low Sun",
}
# A smaller error than this is written as this: nobody reads a hundredth of a degree off a picture.
_LEAST_SHOWN_DEG = 0.1
_MOST_ODDS_SHOWN = 1000.0


def orientation_words(orientation: Orientation) -> str:
    """Write one or two sentences on which way is north and how that is known."""
    if not orientation.is_known:
        return "As it came: which way is north is not known."
    parts = [f"{_source(orientation)}{_within(orientation.sigma_deg)}."]
    if orientation.mirrored:
        parts.append("The picture came mirrored and has been turned back.")
    if orientation.mirrored is None:
        parts.append("Whether the picture is mirrored is not known.")
    return " ".join(parts)


def doubts(orientation: Orientation) -> tuple[str, ...]:
    """Write a sentence for evidence that disagrees and one for a reading that remains, each with both values."""
    found: list[str] = []
    if orientation.disputes:
        found.append(_dispute_words(orientation))
    if orientation.alternative is not None:
        found.append(_alternative_words(orientation, orientation.alternative))
    return tuple(found)


def _dispute_words(orientation: Orientation) -> str:
    """Set every piece of evidence beside the others; without pieces the dispute's own words must do."""
    if len(orientation.evidence) < 2:
        return f"The evidence for north disagrees: {'; '.join(orientation.disputes)}."
    return f"The evidence for north disagrees: {'; '.join(map(_piece_words, orientation.evidence))}."


def _piece_words(piece: Evidence) -> str:
    error = degrees(max(piece.sigma_deg, _LEAST_SHOWN_DEG), 1)
    return f"{EVIDENCE_NAMES[piece.kind]} {_angle(piece)} ±\N{NO-BREAK SPACE}{error}, {_hand(piece.mirrored)}"


def _alternative_words(orientation: Orientation, other: Alternative) -> str:
    if orientation.north_angle_deg is None:
        return f"One reading of north is {_reading(other)}; it is not sure enough to be used."
    taken = f"{degrees(orientation.north_angle_deg, 1, signed=True)}, {_hand(bool(orientation.mirrored))}"
    # A reading is the opposite one where the two put north nearer to each other's south than to each other.
    name = "opposite" if abs(shown_at_deg(other, orientation)) > 90 else "other"
    return f"North is taken at {taken}. The {name} reading, {_reading(other)}, is {_odds_words(other.odds)}."


def _odds_words(odds: float) -> str:
    if odds > _MOST_ODDS_SHOWN:
        return f"more than {number(_MOST_ODDS_SHOWN)} times less likely"
    decimals = 1 if odds < 10 else 0
    if round(odds, decimals) <= 1:
        return "just as likely; nothing decides between them"
    return f"{number(odds, decimals)} times less likely"


def _reading(one: Alternative) -> str:
    return f"{_angle(one)} {_hand(one.mirrored)}"


def _angle(one: Evidence | Alternative) -> str:
    return degrees(one.north_angle_deg, 1, signed=True)


def _hand(mirrored: bool) -> str:
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
    return f", within {degrees(max(sigma_deg, _LEAST_SHOWN_DEG), 1)}"
