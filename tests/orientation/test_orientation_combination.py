"""Evidence weighed together: what stands, what is averaged, what is named as a dispute."""

from __future__ import annotations

import math

import pytest

from archive.model.choices import EvidenceKind
from archive.model.observation import Evidence
from archive.orientation.combination import combine_evidence
from archive.orientation.stated import stated_evidence


def piece(kind: EvidenceKind, north_deg: float, sigma_deg: float, *, mirrored: bool = False) -> Evidence:
    return Evidence(kind, north_deg, sigma_deg, mirrored)


def test_no_evidence_leaves_the_way_up_unknown() -> None:
    orientation = combine_evidence([])
    assert orientation.status == "unknown"
    assert orientation.north_angle_deg is None
    assert orientation.mirrored is None
    assert orientation.sigma_deg is None


def test_the_mount_alone_is_assumed() -> None:
    orientation = combine_evidence([piece("sky", 12.0, 1.1)])
    assert (orientation.status, orientation.north_angle_deg, orientation.sigma_deg) == ("assumed", 12.0, 1.1)


@pytest.mark.parametrize("kind", ["stated", "header", "drift", "spots"])
def test_what_is_measured_or_stated_is_solved(kind: EvidenceKind) -> None:
    orientation = combine_evidence([piece(kind, -8.0, 0.4, mirrored=True)])
    assert (orientation.status, orientation.north_angle_deg, orientation.mirrored) == ("solved", -8.0, True)


def test_a_statement_stands_unaveraged() -> None:
    orientation = combine_evidence([piece("sky", 11.0, 0.1), piece("stated", 10.0, 0.5)])
    assert orientation.north_angle_deg == 10.0
    assert orientation.sigma_deg == 0.5
    assert orientation.disputes == ()


def test_agreeing_evidence_is_averaged_by_its_weights() -> None:
    """Inverse variances: weights 4 and 1, so 10.2 and the error 1 / sqrt(5); any textbook of statistics."""
    orientation = combine_evidence([piece("spots", 10.0, 0.5), piece("sky", 11.0, 1.0)])
    assert orientation.north_angle_deg == pytest.approx(10.2)
    assert orientation.sigma_deg == pytest.approx(1.0 / math.sqrt(5.0))
    assert orientation.status == "solved"


def test_the_mean_is_taken_the_short_way_round() -> None:
    orientation = combine_evidence([piece("spots", 179.5, 1.0), piece("sky", -178.5, 1.0)])
    assert orientation.north_angle_deg == pytest.approx(-179.5)


def test_disagreement_is_named_and_not_averaged() -> None:
    orientation = combine_evidence([piece("sky", 40.0, 1.0), piece("spots", 10.0, 0.5)])
    assert orientation.north_angle_deg == 10.0
    assert orientation.sigma_deg == 0.5
    (dispute,) = orientation.disputes
    assert "spots says +10.0 ± 0.5 deg" in dispute
    assert "sky says +40.0 ± 1.0 deg" in dispute
    assert len(orientation.evidence) == 2


def test_agreement_ends_at_three_standard_errors_of_the_difference() -> None:
    spots = piece("spots", 0.0, 0.3)
    limit_deg = 3.0 * math.hypot(0.3, 0.4)
    assert not combine_evidence([spots, piece("sky", limit_deg - 0.01, 0.4)]).disputes
    assert combine_evidence([spots, piece("sky", limit_deg + 0.01, 0.4)]).disputes


def test_unlike_mirroring_is_a_dispute_at_any_angle() -> None:
    orientation = combine_evidence([piece("stated", 10.0, 0.5), piece("header", 10.0, 0.2, mirrored=True)])
    assert orientation.mirrored is False
    (dispute,) = orientation.disputes
    assert "mirrored" in dispute


def test_the_order_of_evidence_does_not_matter() -> None:
    pieces = [piece("sky", 11.0, 1.0), piece("header", 10.0, 0.2), piece("drift", 10.4, 0.7)]
    assert combine_evidence(pieces) == combine_evidence(pieces[::-1])


def test_a_statement_wraps_and_has_half_a_degree_unless_told() -> None:
    assert stated_evidence(270.0, mirrored=True) == Evidence("stated", -90.0, 0.5, True, "stated by the observer")
    assert stated_evidence(3.0, mirrored=False, sigma_deg=0.1).sigma_deg == 0.1
