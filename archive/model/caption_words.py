"""The words of a film's captions, in one language."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["ENGLISH", "CaptionWords"]


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
    earth_to_scale: str = "Earth to scale"
    longitude_axis: str = "Carrington longitude"
    latitude_axis: str = "Latitude"


ENGLISH = CaptionWords()
