"""Originals of an archive, read only where they hold what was filed."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable

from archive.disk import Folder
from archive.errors import FolderError
from archive.model.observation import PictureFile
from archive.reading import Content
from archive.reading.contents import content_of
from archive.records.places import Listing, is_further_picture, originals_on_disk
from archive.records.record import PictureEntry

__all__ = ["unfiled", "whole_original"]


def whole_original(files: Folder, picture: PictureEntry | PictureFile) -> Content:
    """Return an original's content, made sure that they are those that were filed.

    Raises
    ------
    FolderError
        It is gone or has changed.
    """
    path = files.path / picture.file
    if not files.is_file(picture.file):
        raise FolderError(f"{path}: the original is missing; run `northlimb verify`")
    with files.open(picture.file) as file:
        data = content_of(file)
        found = hashlib.sha256(data) if isinstance(data, bytes) else hashlib.file_digest(file, "sha256")
    if found.hexdigest() != picture.sha256:
        raise FolderError(f"{path}: the original has changed since it was filed; run `northlimb verify`")
    return data


def unfiled(files: Listing, filed: Iterable[str]) -> list[str]:
    """Return pictures named as observations are that no record speaks of; `filed` names those that one does."""
    known = set(filed)
    return [file for file in originals_on_disk(files) if file not in known and not is_further_picture(file)]
