"""Maps that grow by one picture after the other are those made at once, and old ones keep no sums."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta
from pathlib import Path

import pytest
from scenes.discs import draw_disc

from archive.commands.main import main
from archive.model.observation import Observation
from archive.model.rotation_map import RotationMap
from archive.records.disc_files import fits_bytes
from archive.stages.archive import opened_archive
from archive.stages.discs import keep_disc
from archive.stages.maps import rotation_maps
from whole.conftest import NEW
from whole.film_scenes import EPOCH, STANDARD_SCENE, observed

DAYS = (0, 1, 2, 27, 28, 55, 56, 84)
DISC = fits_bytes(draw_disc(STANDARD_SCENE), [])


def maps_of(root: Path, found: Sequence[Observation]) -> tuple[RotationMap, ...]:
    with opened_archive(root) as archive:
        disc = archive.store.add_blob(DISC)
        for one in found:
            keep_disc(archive, one.id, disc, disc)
        return rotation_maps(archive, found, {one.id: disc for one in found})


@pytest.fixture
def roots(tmp_path: Path) -> tuple[Path, Path]:
    for name in ("grown", "at-once"):
        assert main(["new", str(tmp_path / name), *NEW]) == 0
    return tmp_path / "grown", tmp_path / "at-once"


def test_a_map_is_the_same_in_whatever_steps_it_grew(roots: tuple[Path, Path]) -> None:
    grown, at_once = roots
    days = [observed(EPOCH + timedelta(days=day)) for day in DAYS]
    # One after the other; then all but a late one of the oldest rotation, which is begun anew.
    for number in range(1, len(days)):
        late = [one for one in days[: number + 1] if one is not days[2]]
        maps_of(grown, late)
    assert maps_of(grown, days) == maps_of(at_once, days)


def test_only_the_newest_maps_keep_what_they_grow_from(roots: tuple[Path, Path]) -> None:
    _, root = roots
    maps = maps_of(root, [observed(EPOCH + timedelta(days=day)) for day in DAYS])
    assert len(maps) > 3
    blobs = [path for path in (root / ".northlimb" / "blobs").rglob("*") if path.is_file()]
    shown = {blob.sha256 for one in maps for blob in (one.picture, one.fits)}
    assert len(blobs) == len(shown) + 2 + 1, "pictures and FITS of the maps, two sums, the disc"
