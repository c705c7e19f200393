"""Metadata for machines: preview picture, and linked data by schema.org.

References
----------
The Open Graph protocol; JSON-LD 1.1 (W3C, 2020); schema.org: ImageObject, Dataset, WebSite.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import replace

from markupsafe import Markup

from archive.language import gettext, spoken
from archive.model.constants import DISC_SIDE_PX
from archive.model.observation import Observation
from archive.website import addresses
from archive.website.addresses import Here, picture_files
from archive.website.content import Entry, SiteInfo
from archive.website.data_formats import time_text
from archive.website.pages import Frame, Picture, Preview, SiteFace

__all__ = ["dataset_frame", "disc_frame"]

_CONTEXT = "https://schema.org"


def disc_frame(frame: Frame, entry: Entry, disc: Picture, face: SiteFace) -> Frame:
    """Give a page's frame the disc that stands for it, as the page shows it."""
    observation = entry.observation
    files, here = picture_files(observation), Here(frame.path)
    data = {
        "@type": "ImageObject",
        "name": disc.words,
        "description": disc.alt,
        "contentUrl": face.address_of(files.disc) or disc.src,
        "thumbnailUrl": face.address_of(files.small) or here.to(files.small),
        "encodingFormat": "image/jpeg",
        "width": DISC_SIDE_PX,
        "height": DISC_SIDE_PX,
        "dateCreated": time_text(observation.time_utc),
        "creator": _creator_of(observation, face),
        "creditText": observation.observer or face.observer,
        "representativeOfPage": True,
        **_in_language(),
        **_licensed(face),
    }
    preview = Preview(face.address_of(files.disc), disc.alt, DISC_SIDE_PX)
    return replace(frame, preview=preview if preview.src else None, data=_linked(data))


def dataset_frame(frame: Frame, info: SiteInfo, entries: Sequence[Entry], face: SiteFace) -> Frame:
    """Give the frame of the page on the data a description of the archive as a set of data; entries in time order."""
    here = Here(frame.path)
    files = {
        addresses.OBSERVATIONS_CSV: "text/csv",
        addresses.OBSERVATIONS_JSON: "application/json",
        addresses.GROUPS_CSV: "text/csv",
        addresses.GROUPS_JSON: "application/json",
    }
    data: dict[str, object] = {
        "@type": "Dataset",
        "name": gettext("{title}: observations of the Sun", title=info.title),
        "description": gettext(
            "Observations of the Sun in white light, each with its time, orientation, positions and areas of its "
            "sunspot groups, and the relative number; one row per observation."
        ),
        "creator": _creator(face),
        "variableMeasured": [
            gettext("relative sunspot number"),
            gettext("sunspot area"),
            gettext("heliographic position of sunspot groups"),
        ],
        "distribution": [
            {"@type": "DataDownload", "encodingFormat": kind, "contentUrl": face.address_of(path) or here.to(path)}
            for path, kind in files.items()
        ],
        **_in_language(),
        **_licensed(face),
    }
    if entries:
        first, last = entries[0].observation.time_utc, entries[-1].observation.time_utc
        data["temporalCoverage"] = f"{first:%Y-%m-%d}/{last:%Y-%m-%d}"
    if face.address is not None:
        data["url"] = face.address_of(frame.path)
    return replace(frame, data=_linked(data))


def _creator_of(observation: Observation, face: SiteFace) -> dict[str, object]:
    """Return who took a picture; the archive's contact is that of its own observer."""
    if observation.observer in ("", face.observer):
        return _creator(face)
    return {"@type": "Person", "name": observation.observer}


def _in_language() -> dict[str, object]:
    """Tell the language of the words, where it is not English."""
    return {} if spoken() == "en" else {"inLanguage": spoken()}


def _creator(face: SiteFace) -> dict[str, object]:
    person: dict[str, object] = {"@type": "Person", "name": face.observer}
    contact = face.contact
    if contact is None:
        return person
    if contact.mail is None and contact.web is None:
        return person | {"contactPoint": {"@type": "ContactPoint", "description": contact.words}}
    return person | ({"email": contact.mail} if contact.mail else {"url": contact.web})


def _licensed(face: SiteFace) -> dict[str, object]:
    """Return the licence of the archive's pictures and data, as schema.org names it; nothing where there is none."""
    licence = face.licence
    if licence is None:
        return {}
    return {"license": licence.address or {"@type": "CreativeWork", "name": licence.words}}


def _linked(data: Mapping[str, object]) -> Markup:
    """Write JSON-LD for the inside of a script element, where nothing may look like the end of it."""
    text = json.dumps({"@context": _CONTEXT, **data}, ensure_ascii=False, indent=1)
    return Markup(text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026"))
