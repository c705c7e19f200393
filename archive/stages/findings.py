"""What a build found that needs the observer's attention, kept whether or not films were made with it."""

from __future__ import annotations

import msgspec

from archive.stages.gathered import Gathered
from archive.store import Store
from archive.website.content import Entry

__all__ = ["Findings", "PictureFindings", "keep_findings", "latest_findings"]

_NAME = "site"
_SPOTS = "spots "
_NOT_COUNTED = "spots are not counted because "


class PictureFindings(msgspec.Struct, frozen=True):
    """What needs attention in one picture: `not_counted` holds why its spots are not, None where they are."""

    id: str
    north_unknown: bool
    disputes: tuple[str, ...]
    not_counted: str | None
    remarks: tuple[str, ...]


class Findings(msgspec.Struct, frozen=True):
    """What is said of the whole archive, and the pictures of which something is, in order of time."""

    warnings: tuple[str, ...]
    pictures: tuple[PictureFindings, ...]


def keep_findings(store: Store, gathered: Gathered) -> None:
    """Keep what needs attention, in place of what did before."""
    pictures = (_findings_of(entry) for entry in gathered.entries)
    told = tuple(
        one for one in pictures if one.north_unknown or one.disputes or one.remarks or one.not_counted is not None
    )
    store.put(keep_findings, _NAME, b"", Findings(gathered.warnings, told))


def latest_findings(store: Store) -> Findings | None:
    """Return what the last build that looked at the pictures found; None where none has."""
    return store.latest(keep_findings, _NAME, Findings)


def _findings_of(entry: Entry) -> PictureFindings:
    one = entry.observation
    why = [remark.removeprefix(_NOT_COUNTED) for remark in one.remarks if remark.startswith(_NOT_COUNTED)]
    return PictureFindings(
        one.id,
        not one.orientation.is_known,
        one.orientation.disputes,
        "; ".join(why) if one.band == "white" and one.counts is None else None,
        # What its count leaves open is no mistake.
        tuple(words for words in entry.warnings if not words.lower().startswith(_SPOTS)),
    )
