"""Days beside each other: each day's disc turned back, by the rotation law, to the moment of the day before it."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from archive.disc.aligned import STANDARD_FRAME
from archive.disc.carried import SPOT_LAW, Share, Standpoint, disc_canvas, seen_surface
from archive.disc.painted import disc_palette, painted
from archive.disc.tone import flatten_disc
from archive.disk import Folder
from archive.execution.executor import IN_THIS_PROCESS, Executor
from archive.execution.progress import Progress
from archive.kept import is_sealed, seal
from archive.model.observation import Observation
from archive.model.times import days_since_1970
from archive.records.archive_files import derived_files
from archive.records.disc_files import jpeg_bytes, read_disc
from archive.stages.pictures import disc_file, folder_of_pictures
from archive.sun.heliographic import DISTANCE_RADII
from archive.website import Content, DerotatedDisc, DerotationLaw
from archive.website.observing_days import observing_days

__all__ = ["CARRYING", "turned_disc", "turned_picture", "with_turned_back"]

_VERSION = "1"  # raise it when carrying or painting change their results
# In a week the Sun turns by 100 degrees: of what faced us little is left.
_REACH = timedelta(days=7)
_PICTURE, _KEY = "turned-back.jpg", "turned-back-key"

CARRYING = DerotationLaw(SPOT_LAW.at_equator_deg_per_day, SPOT_LAW.sine_squared_deg_per_day, DISTANCE_RADII)


def with_turned_back(
    root: Path, content: Content, *, on_progress: Progress, executor: Executor = IN_THIS_PROCESS
) -> Content:
    """Add to each day's main picture itself as it was at the moment of the main picture before it, of the same band."""
    pairs, derived = _pairs(content), derived_files(root)
    wanted = [(before, after) for before, after in pairs if not _still_right(derived, before, after)]
    made = executor.map(
        turned_picture,
        ((derived.read(disc_file(after.id)), _standpoint(after), _standpoint(before)) for before, after in wanted),
    )
    for number, ((before, after), picture) in enumerate(zip(wanted, made, strict=True)):
        on_progress("comparing days", number, len(wanted))
        folder = folder_of_pictures(after.id)
        derived.remove(f"{folder}/{_KEY}")
        derived.write(f"{folder}/{_PICTURE}", picture)
        seal(derived, f"{folder}/{_KEY}", [f"{folder}/{_PICTURE}"], key=_key(before, after))
    on_progress("comparing days", len(wanted), len(wanted))
    turned = {after.id: DerotatedDisc(before.id, _PICTURE) for before, after in pairs}
    entries = [
        replace(entry, turned_back=turned[entry.observation.id]) if entry.observation.id in turned else entry
        for entry in content.entries
    ]
    return replace(content, entries=entries, carrying=CARRYING)


def turned_picture(disc: bytes, seen_at: Standpoint, at: Standpoint) -> bytes:
    """A disc (FITS, as derived) as seen from another standpoint, as JPEG; see `turned_disc`."""
    turned = turned_disc(flatten_disc(read_disc(disc), STANDARD_FRAME), seen_at, at)
    return jpeg_bytes(turned.astype(np.float32) / np.float32(255.0))


def turned_disc(flat: NDArray[np.float32], seen_at: Standpoint, at: Standpoint) -> NDArray[np.uint8]:
    """Return a flattened disc in the standard frame as seen from another standpoint, in the flat look.

    What did not face us is hatched.
    """
    canvas = disc_canvas(STANDARD_FRAME)
    share = Share(seen_surface(flat, STANDARD_FRAME, seen_at), 1.0, 1.0)
    palette = disc_palette(STANDARD_FRAME, canvas, "flat")
    return painted((share,), canvas, at, drift=SPOT_LAW, palette=palette, size_px=STANDARD_FRAME.size_px)


def _pairs(content: Content) -> list[tuple[Observation, Observation]]:
    latest: dict[str, Observation] = {}
    pairs = []
    for day in observing_days(content):
        one = day.main.observation
        if one.orientation.status == "unknown":
            continue
        before = latest.get(one.band)
        if before is not None and one.time_utc - before.time_utc <= _REACH:
            pairs.append((before, one))
        latest[one.band] = one
    return pairs


def _still_right(derived: Folder, before: Observation, after: Observation) -> bool:
    folder = folder_of_pictures(after.id)
    return is_sealed(derived, f"{folder}/{_KEY}", [f"{folder}/{_PICTURE}"], key=_key(before, after))


def _key(before: Observation, after: Observation) -> str:
    """Of the picture before, nothing but its standpoint matters; the folder goes when the picture itself changes."""
    return hashlib.sha256(repr((_VERSION, _standpoint(before), _standpoint(after))).encode()).hexdigest()


def _standpoint(one: Observation) -> Standpoint:
    return Standpoint(days_since_1970(one.time_utc), one.sun.b0_deg, one.sun.l0_deg)
