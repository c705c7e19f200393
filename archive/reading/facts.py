"""Facts of the capture that a picture file itself holds, in order of trust."""

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
    """Facts from the FITS header or EXIF, then from the file's name; only those that say something.

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
        Where a FITS header cannot be read or gives a date that is none. A broken EXIF block says nothing.
    """
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        inside = fits_facts(data, name) if kind == "fits" else exif_facts(data, kind)
    return tuple(facts for facts in (inside, name_facts(name)) if facts != Facts(facts.source))
