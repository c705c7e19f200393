"""Capture metadata in a picture file, in order of trust."""

from __future__ import annotations

import warnings

from archive.reading.exif import exif_facts
from archive.reading.file_name import name_facts
from archive.reading.fits_header import fits_facts
from archive.reading.found import Facts, FoundTime, HeaderAxes
from archive.reading.mapped import Content
from archive.reading.raster import PictureKind

__all__ = ["Facts", "FoundTime", "HeaderAxes", "facts_in_file"]


def facts_in_file(data: Content, kind: PictureKind, name: str) -> tuple[Facts, ...]:
    """Return facts from the FITS header or EXIF, then from the file's name, without empty ones.

    Parameters
    ----------
    data : bytes or mmap
        The file's content.
    kind : {"png", "jpeg", "tiff", "fits"}
        As `picture_kind` found it.
    name : str
        The file's name, with or without folders; also for messages.

    Raises
    ------
    FactsError
        A FITS header cannot be read or has an invalid date. A broken EXIF block is ignored.
    """
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        inside = fits_facts(data, name) if kind == "fits" else exif_facts(data, kind)
    return tuple(facts for facts in (inside, name_facts(name)) if facts != Facts(facts.source))
