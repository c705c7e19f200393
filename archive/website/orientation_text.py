"""Text about a picture's orientation and its uncertainty."""

from __future__ import annotations

from archive.language import gettext, gettext_noop, joined, kept_words
from archive.model.choices import EvidenceKind
from archive.model.observation import Alternative, Evidence, Orientation
from archive.website.disc_directions import agrees, shown_at_deg
from archive.website.formatting import degrees, number

__all__ = ["EVIDENCE_NAMES", "doubts", "format_orientation"]

EVIDENCE_NAMES: dict[EvidenceKind, str] = {
    # Translators: what tells where north is; alone in a table, and after "North measured from".
    "stated": gettext_noop("the observer’s statement"),
    "header": gettext_noop("the file’s header"),
    "moon": gettext_noop("the Moon’s place before the Sun"),
    "spots": gettext_noop("the same spots on other days"),
    "sky": gettext_noop("the mount’s geometry"),
    "drift": gettext_noop("drift with tracking off"),
    "refraction": gettext_noop("the flattening of the low Sun"),
}
# Smaller errors are shown as this: a hundredth of a degree is not visible.
_MIN_SHOWN_DEG = 0.1
_MAX_ODDS_SHOWN = 1000.0


def format_orientation(orientation: Orientation) -> str:
    """Return one or two sentences on north and how it is known."""
    if not orientation.is_known:
        return gettext("Original orientation: north is not known.")
    parts = [_source(orientation)]
    if orientation.mirrored:
        parts.append(gettext("The original is mirrored and has been un-mirrored."))
    if orientation.mirrored is None:
        parts.append(gettext("Whether the picture is mirrored is not known."))
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
        evidence = "; ".join(map(kept_words, orientation.disputes))
    else:
        evidence = "; ".join(map(_format_piece, orientation.evidence))
    return gettext("The evidence for north disagrees: {evidence}.", evidence=evidence)


def _format_piece(piece: Evidence) -> str:
    error = degrees(max(piece.sigma_deg, _MIN_SHOWN_DEG), 1)
    angle, mirroring = _format_angle(piece), _format_mirroring(piece.mirrored)
    return f"{gettext(EVIDENCE_NAMES[piece.kind])} {angle} ±\N{NO-BREAK SPACE}{error}, {mirroring}"


def _format_alternative(orientation: Orientation, other: Alternative) -> str:
    if orientation.north_angle_deg is None:
        return gettext(
            "One possible orientation is {north}; it is too uncertain to be used.", north=_format_north(other)
        )
    taken = f"{degrees(orientation.north_angle_deg, 1, signed=True)}, {_format_mirroring(bool(orientation.mirrored))}"
    # It is called opposite where the two north directions differ by more than 90 deg.
    if abs(shown_at_deg(other, orientation)) > 90:
        text = gettext("North is taken at {taken}. The opposite orientation, {north}, is {odds}.")
    else:
        text = gettext("North is taken at {taken}. The other orientation, {north}, is {odds}.")
    return text.format(taken=taken, north=_format_north(other), odds=_format_odds(other.odds))


def _format_odds(odds: float) -> str:
    if odds > _MAX_ODDS_SHOWN:
        # Translators: of an orientation; the three phrases end "The other orientation, ..., is {odds}."
        return gettext("more than {odds} times less likely", odds=number(_MAX_ODDS_SHOWN))
    decimals = 1 if odds < 10 else 0
    if round(odds, decimals) <= 1:
        return gettext("equally likely")
    return gettext("{odds} times less likely", odds=number(odds, decimals))


def _format_north(one: Alternative) -> str:
    return f"{_format_angle(one)} {_format_mirroring(one.mirrored)}"


def _format_angle(one: Evidence | Alternative) -> str:
    return degrees(one.north_angle_deg, 1, signed=True)


def _format_mirroring(mirrored: bool) -> str:
    return gettext("mirrored") if mirrored else gettext("not mirrored")


def _source(orientation: Orientation) -> str:
    """Return how north is known, and within what error where that is known."""
    kinds = {piece.kind for piece in orientation.evidence if agrees(piece, orientation)}
    error = "" if orientation.sigma_deg is None else degrees(max(orientation.sigma_deg, _MIN_SHOWN_DEG), 1)
    if orientation.status == "assumed":
        if kinds == {"refraction"}:
            return _with_error(
                error,
                gettext("North assumed from the flattening of the low Sun."),
                gettext("North assumed from the flattening of the low Sun, within {error}."),
            )
        return _with_error(
            error, gettext("North assumed from the mount."), gettext("North assumed from the mount, within {error}.")
        )
    if not kinds:
        return _with_error(error, gettext("North measured."), gettext("North measured, within {error}."))
    if "stated" in kinds:
        return _with_error(
            error,
            gettext("North as stated by the observer."),
            gettext("North as stated by the observer, within {error}."),
        )
    names = joined([gettext(name) for kind, name in EVIDENCE_NAMES.items() if kind in kinds])
    return _with_error(
        error,
        gettext("North measured from {evidence}."),
        gettext("North measured from {evidence}, within {error}."),
        evidence=names,
    )


def _with_error(error: str, without: str, text: str, **values: str) -> str:
    return text.format(error=error, **values) if error else without.format(**values)
