"""All pictures of one original in one pass: those of the disc, and the disc derotated to the day before it."""

from __future__ import annotations

from collections.abc import Sequence

from archive.disc.derotation import ViewGeometry
from archive.model.choices import Band, Look
from archive.reading import Content
from archive.stages.comparison_picture import derotated_picture
from archive.stages.north_up_disc import Turned
from archive.stages.picture_files import FITS, picture_files

__all__ = ["Views", "first_pass"]

Views = tuple[ViewGeometry, ViewGeometry]
"""That of a disc, and that to which it is brought."""


def first_pass(
    original: Content, name: str, turned: Turned, looks: Sequence[Look], band: Band, views: Views | None
) -> tuple[dict[str, bytes], bytes | None]:
    """Return what `picture_files` makes, and what `derotated_picture` makes of its disc.

    In one process the disc is thus neither read nor flattened again.

    Parameters
    ----------
    original, name, turned, looks, band
        See `archive.stages.picture_files.picture_files`.
    views : Views or None
        None where the disc is not compared.

    Raises
    ------
    PictureError
        The original is no whole picture.
    """
    made = picture_files(original, name, turned, looks, band)
    return made, None if views is None or FITS not in made else derotated_picture(made[FITS], *views)
