"""Weighted combination of all evidence for the orientation, with disagreements reported."""

from __future__ import annotations

import math
from collections.abc import Sequence

from archive.model.angles import difference_deg, weighted_mean_deg
from archive.model.choices import EvidenceKind, OrientationStatus
from archive.model.observation import Evidence, Orientation

__all__ = ["combine_evidence"]

# In order of trust: the observer's statement, measurements on this picture, inference from the mount.
_RANK: tuple[EvidenceKind, ...] = ("stated", "header", "moon", "drift", "spots", "sky", "refraction")
_MEASURED: frozenset[EvidenceKind] = frozenset({"stated", "header", "moon", "drift", "spots"})
_AGREEMENT_SIGMAS = 3.0


def combine_evidence(evidence: Sequence[Evidence]) -> Orientation:
    """Return the weighted mean of all evidence that agrees with the most trusted one; the rest becomes disputes.

    An angle stated by the observer is not averaged. Evidence agrees where the mirroring
    is the same and the angles differ by no more than three standard errors of their difference.

    Parameters
    ----------
    evidence : sequence of Evidence

    Returns
    -------
    Orientation
        `solved` where stated or measured, `assumed` from the mount alone, `unknown` without evidence.
    """
    ranked = tuple(sorted(evidence, key=lambda piece: _RANK.index(piece.kind)))
    if not ranked:
        return Orientation("unknown", None, None, None)
    first = ranked[0]
    agreeing = [piece for piece in ranked if _agrees(piece, first)]
    disputes = tuple(_format_dispute(piece, first) for piece in ranked if not _agrees(piece, first))
    north_deg, sigma_deg = (
        (first.north_angle_deg, first.sigma_deg) if first.kind == "stated" else _weighted_mean(agreeing)
    )
    status: OrientationStatus = "solved" if first.kind in _MEASURED else "assumed"
    return Orientation(status, north_deg, first.mirrored, sigma_deg, ranked, disputes)


def _agrees(one: Evidence, other: Evidence) -> bool:
    apart_deg = abs(difference_deg(one.north_angle_deg, other.north_angle_deg))
    allowed_deg = _AGREEMENT_SIGMAS * math.hypot(one.sigma_deg, other.sigma_deg)
    return one.mirrored == other.mirrored and apart_deg <= allowed_deg


def _format_dispute(piece: Evidence, first: Evidence) -> str:
    return f"{first.kind} says {_format_angle(first)}; {piece.kind} says {_format_angle(piece)}"


def _format_angle(piece: Evidence) -> str:
    mirror = ", mirrored" if piece.mirrored else ""
    return f"{piece.north_angle_deg:+.1f} ± {piece.sigma_deg:.1f} deg{mirror}"


def _weighted_mean(pieces: Sequence[Evidence]) -> tuple[float, float]:
    weights = [piece.sigma_deg**-2 for piece in pieces]
    return weighted_mean_deg([piece.north_angle_deg for piece in pieces], weights), math.fsum(weights) ** -0.5
