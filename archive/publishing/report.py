"""What a publication did, or would do."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from archive.publishing.digests import Digest
from archive.publishing.plan import Plan

__all__ = ["PublishReport", "report_of"]


@dataclass(frozen=True)
class PublishReport:
    """How many files were copied, were there already, were removed; the bytes copied; and what was taken over.

    `not_of_the_site` names the removed files that no earlier publication had put there.
    """

    copied: int
    unchanged: int
    removed: int
    bytes_copied: int
    not_of_the_site: tuple[str, ...] = ()


def report_of(plan: Plan, digests: Mapping[str, Digest]) -> PublishReport:
    """Count what a plan sends and removes."""
    size = sum(digests[name].size for name in plan.send)
    return PublishReport(len(plan.send), len(plan.unchanged), len(plan.remove), size, plan.foreign)
