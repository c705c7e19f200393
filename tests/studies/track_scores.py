"""How far names given to spots agree with the regions that the spots are of."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass, field

__all__ = ["SpotLabels", "TrackScore", "track_score"]


@dataclass(frozen=True)
class SpotLabels:
    """The spots of a picture: area, the region (one passage over the disc) each is of, and the name it was given."""

    areas_msh: Sequence[float]
    regions: Sequence[Hashable]
    names: Sequence[str]


@dataclass
class TrackScore:
    """Numbers to be added up over histories, with the region-days and names that are wrong."""

    regions: int = 0
    regions_of_several_names: int = 0
    names: int = 0
    names_of_several_regions: int = 0
    region_days: int = 0
    pieces_split_off: int = 0
    regions_folded: int = 0
    details: list[tuple[str, Hashable]] = field(default_factory=list)

    def __iadd__(self, other: TrackScore) -> TrackScore:
        for name in vars(self):
            setattr(self, name, getattr(self, name) + getattr(other, name))
        return self

    @property
    def one_name(self) -> float:
        """Share of regions with one name."""
        return 1.0 - self.regions_of_several_names / self.regions

    @property
    def one_region(self) -> float:
        """Share of names of one region."""
        return 1.0 - self.names_of_several_regions / self.names

    @property
    def joined_or_split(self) -> float:
        """Pieces split off and regions folded into another's group, per region-day."""
        return (self.pieces_split_off + self.regions_folded) / self.region_days

    def told(self) -> str:
        """Return the figures as a line."""
        return (
            f"one name {100 * self.one_name:.1f} % of {self.regions}, "
            f"one region {100 * self.one_region:.1f} % of {self.names}, "
            f"split {self.pieces_split_off} + joined {self.regions_folded} of {self.region_days}: "
            f"{100 * self.joined_or_split:.1f} %"
        )


def track_score(pictures: Iterable[SpotLabels]) -> TrackScore:
    """Return how regions and names agree.

    A region's name on a day is that of the largest part of its area; a name's region is the one with the largest area
    in it. A region is folded into another where it is not the largest under its name.
    """
    names_of: dict[Hashable, set[str]] = defaultdict(set)
    regions_of: dict[str, set[Hashable]] = defaultdict(set)
    score = TrackScore()
    for number, picture in enumerate(pictures):
        shares: dict[Hashable, Counter[str]] = defaultdict(Counter)
        within: dict[str, Counter[Hashable]] = defaultdict(Counter)
        for area, region, name in zip(picture.areas_msh, picture.regions, picture.names, strict=True):
            shares[region][name] += area  # type: ignore[assignment]
            within[name][region] += area  # type: ignore[assignment]
        for name, parts in within.items():
            regions_of[name].add(parts.most_common(1)[0][0])
        for region, parts_named in shares.items():
            name = parts_named.most_common(1)[0][0]
            names_of[region].add(name)
            score.region_days += 1
            score.pieces_split_off += len(parts_named) - 1
            folded = within[name].most_common(1)[0][0] != region
            score.regions_folded += folded
            if folded or len(parts_named) > 1:
                score.details.append((f"{number}: {dict(parts_named)}{' folded' if folded else ''}", region))
    score.regions, score.names = len(names_of), len(regions_of)
    several = [region for region, names in names_of.items() if len(names) > 1]
    score.regions_of_several_names = len(several)
    score.details += [(f"names {sorted(names_of[region])}", region) for region in several]
    mixed = [name for name, regions in regions_of.items() if len(regions) > 1]
    score.names_of_several_regions = len(mixed)
    score.details += [(f"{name} holds {regions_of[name]}", name) for name in mixed]
    return score
