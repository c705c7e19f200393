"""Laws of the Sun's differential rotation, published and fitted."""

from __future__ import annotations

import math
from dataclasses import dataclass

__all__ = ["ALL_SPOTS", "PUBLISHED_LAWS", "RotationLaw"]


@dataclass(frozen=True)
class RotationLaw:
    """Sidereal rate A + B sin^2 + C sin^4 (latitude), deg/day.

    Standard errors and the number of `groups` only where fitted here; `source` where published.
    """

    name: str
    equator_deg_per_day: float
    sine_squared_deg_per_day: float
    sine_fourth_deg_per_day: float = 0.0
    equator_sigma: float | None = None
    sine_squared_sigma: float | None = None
    groups: int | None = None
    source: str = ""

    def rate_deg_per_day(self, latitude_deg: float) -> float:
        """Return the sidereal rate at a latitude."""
        squared = math.sin(math.radians(latitude_deg)) ** 2
        return (
            self.equator_deg_per_day
            + self.sine_squared_deg_per_day * squared
            + self.sine_fourth_deg_per_day * squared**2
        )


# All numbers are quoted from memory, without the papers at hand: the tables or equations they stand in are not named.
# Each is of one kind of feature, and the papers have others. Howard, Gilman & Gilman: all single spots, Mount Wilson
# 1921 to 1982. Newton & Nunn: recurrent spots, 1934 to 1944. Snodgrass & Ulrich, "Rotation of Doppler features in the
# solar photosphere": the Doppler features, 2.972 - 0.484 sin^2 - 0.361 sin^4 microrad/s, which are 14.713, 2.396 and
# 1.787 deg/day; they are often quoted as those of magnetic features, which rotate otherwise.
ALL_SPOTS = RotationLaw("all spots", 14.522, -2.84, source="Howard, Gilman & Gilman (1984), Astrophys. J. 283, 373")
PUBLISHED_LAWS = (
    ALL_SPOTS,
    RotationLaw("recurrent spots", 14.368, -2.69, source="Newton & Nunn (1951), Mon. Not. R. Astron. Soc. 111, 413"),
    RotationLaw("Doppler features", 14.713, -2.396, -1.787, source="Snodgrass & Ulrich (1990), Astrophys. J. 351, 309"),
)
