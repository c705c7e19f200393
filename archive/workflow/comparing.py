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
from archive.observation import Observation
from archive.records.disc_files import write_jpeg
from archive.records.writing import write_whole
from archive.sun.heliographic import DISTANCE_RADII
from archive.website import Carrying, Content, TurnedBack
from archive.website.observing_days import observing_days
from archive.workflow.picturing import derived_folder_of, load_flat
from archive.workflow.progress import Progress
from archive.workflow.solving import days_since_1970

__all__ = ["CARRYING", "turned_disc", "with_turned_back"]

_VERSION = "1"  # raise it when carrying or painting change their results
# In a week the Sun turns by 100 degrees: of what faced us little is left.
_REACH = timedelta(days=7)

CARRYING = Carrying(SPOT_LAW.at_equator_deg_per_day, SPOT_LAW.sine_squared_deg_per_day, DISTANCE_RADII)


def with_turned_back(root: Path, content: Content, *, on_progress: Progress) -> Content:
    """Add to each day's main picture itself as it was at the moment of the main picture before it, of the same band."""
    pairs = _pairs(content)
    turned: dict[str, TurnedBack] = {}
    for number, (before, after) in enumerate(pairs):
        on_progress("comparing days", number, len(pairs))
        turned[after.id] = TurnedBack(before.id, _kept_picture(root, before, after))
    on_progress("comparing days", len(pairs), len(pairs))
    entries = [
        replace(entry, turned_back=turned.get(entry.observation.id)) if entry.observation.id in turned else entry
        for entry in content.entries
    ]
    return replace(content, entries=entries, carrying=CARRYING)


def turned_disc(flat: NDArray[np.float32], seen_at: Standpoint, at: Standpoint) -> NDArray[np.uint8]:
    """Return a flattened disc in the standard frame as seen from another standpoint, in the flat look.

    What did not face us is hatched.
    """
    canvas = disc_canvas(STANDARD_FRAME)
    share = Share(seen_surface(flat, STANDARD_FRAME, seen_at), 1.0, 1.0)
    palette = disc_palette(STANDARD_FRAME, canvas, "flat")
    picture = painted((share,), canvas, at, drift=SPOT_LAW, palette=palette)
    frame = np.zeros((STANDARD_FRAME.size_px, STANDARD_FRAME.size_px, 3), dtype=np.uint8)
    height, width = picture.shape[:2]
    frame[canvas.top : canvas.top + height, canvas.left : canvas.left + width] = picture
    return frame


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


def _kept_picture(root: Path, before: Observation, after: Observation) -> Path:
    folder = derived_folder_of(root, after.id)
    picture, key_file = folder / "turned-back.jpg", folder / "turned-back-key"
    # Of the picture before, nothing but its standpoint matters; the folder goes when the picture itself changes.
    key = hashlib.sha256(repr((_VERSION, _standpoint(before), _standpoint(after))).encode()).hexdigest()
    if not (picture.is_file() and key_file.is_file() and key_file.read_text(encoding="utf-8") == key):
        flat = load_flat(root, after.id)
        turned = turned_disc(flat, _standpoint(after), _standpoint(before))
        write_jpeg(picture, turned.astype(np.float32) / np.float32(255.0))
        write_whole(key_file, key.encode("utf-8"))
    return picture


def _standpoint(one: Observation) -> Standpoint:
    return Standpoint(days_since_1970(one.time_utc), one.sun.b0_deg, one.sun.l0_deg)
