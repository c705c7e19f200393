"""What is to be done in a folder for it to hold exactly the site."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from archive.publishing.digests import Digest
from archive.publishing.report import PublishReport
from archive.publishing.tree import Difference, Tree

__all__ = ["FolderPublication"]


@dataclass(frozen=True)
class FolderPublication:
    """The plan for a folder.

    `site` are the site's files but the list of them, `listing` the bytes of that list, `digests` what all of these
    hold. `current` is all that is in the target; `kept` of it, by the names in `keep`, stays as it is. `foreign` are
    files that no publication of ours had put there.
    """

    site: Tree
    listing: bytes
    digests: Mapping[str, Digest]
    current: Tree
    kept: tuple[str, ...]
    keep: tuple[str, ...]
    difference: Difference
    foreign: tuple[str, ...]

    @property
    def report(self) -> PublishReport:
        """What it does, in numbers."""
        copied, unchanged, removed = self.difference.copied, self.difference.unchanged, self.difference.removed
        size = sum(self.digests[name].size for name in copied)
        return PublishReport(len(copied), len(unchanged), len(removed), size, self.foreign)
