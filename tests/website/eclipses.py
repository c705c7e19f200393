"""Eclipses as Quillmere Hill of the invented content sees them, and its pictures of one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta

from archive.model.eclipse import EclipseAt
from archive.model.observatory import Site
from archive.store import Store
from archive.sun.eclipse import eclipse_at, eclipses_seen
from website.invented import SOLVED, InventedContent, entry

__all__ = ["QUILLMERE_HILL", "eclipse", "with_eclipse"]

QUILLMERE_HILL = Site("Quillmere Hill", 52.1, -1.3, 120.0)


def eclipse(noon: datetime = datetime(2026, 8, 12, 12, tzinfo=UTC), site: Site = QUILLMERE_HILL) -> EclipseAt:
    """Return the eclipse of a day; that of 2026 August 12 is partial at Quillmere Hill."""
    (found,) = eclipses_seen(noon - timedelta(days=1), noon + timedelta(days=1), site)
    return eclipse_at(found, site, found.greatest.time_utc.date())


def with_eclipse(content: InventedContent, at: EclipseAt, covered: Sequence[float | None]) -> InventedContent:
    """Return the content with pictures from before the eclipse on, a quarter of an hour apart."""
    start = at.eclipse.first.time_utc - timedelta(minutes=10)
    with Store(content.derived) as store:
        taken = [
            replace(entry(store, start + n * timedelta(minutes=15), SOLVED), covered=share)
            for n, share in enumerate(covered)
        ]
    return replace(content, entries=[*content.entries, *taken], eclipses=(at,))
