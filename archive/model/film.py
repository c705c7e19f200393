"""A film of the Sun: its files, how long it is, and which observations it shows when."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime

from archive.model.blob import Blob

__all__ = ["ENGLISH", "CaptionWords", "Film"]


@dataclass(frozen=True)
class Film:
    """A finished film; `stem` names its files, `loop` is a short clip for sharing, `av1` the same film in AV1.

    `first_frames` holds the first frame that shows each of `observation_ids` alone; `rotation` is the Carrington
    rotation that the film is of, None where it is of another span.
    """

    stem: str
    title: str
    mp4: Blob
    poster: Blob
    frames_json: Blob
    loop: Blob | None
    width_px: int
    height_px: int
    frames: int
    frames_per_second: int
    first_utc: datetime
    last_utc: datetime
    observation_ids: tuple[str, ...]
    av1: Blob | None = None
    first_frames: Mapping[str, int] = field(default_factory=dict)
    rotation: int | None = None


@dataclass(frozen=True)
class CaptionWords:
    """The words of a film's captions: how a date is written, of {day}, {month} or {month_number} and {year}; names."""

    date: str = "{day} {month} {year}"
    months: tuple[str, ...] = (
        "January", "February", "March", "April", "May", "June",
        "July", "August", "September", "October", "November", "December",
    )  # fmt: skip
    observed: str = "observed"
    observed_at: str = "observed at {time}"
    between: str = "between observations"
    not_observed: str = "not observed"


ENGLISH = CaptionWords()
