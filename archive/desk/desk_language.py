"""In which language the desk speaks: the archive's own, else one that the browser's user reads."""

from __future__ import annotations

from contextlib import suppress

from archive.disk import Folder, Stamp, stamp_of
from archive.errors import ArchiveError
from archive.language import known_language
from archive.records.settings import SETTINGS_NAME, read_settings

__all__ = ["ArchiveLanguage", "browser_language"]


def browser_language(accepted: str) -> str:
    """Return the first language of a request's `Accept-Language` that there is a catalogue of; else English.

    The header is that of RFC 9110, section 12.5.4: tags, each with a weight where it is not 1.
    """
    wanted: list[tuple[float, int, str]] = []
    for part in accepted[:500].split(","):
        tag, _, weight = part.partition(";")
        quality = 1.0
        with suppress(ValueError):
            quality = float(weight.strip().removeprefix("q="))
        if quality > 0.0 and (known := known_language(tag.strip())) is not None:
            wanted.append((-quality, len(wanted), known))
    return min(wanted)[2] if wanted else "en"


class ArchiveLanguage:
    """The language of an archive's settings, read again whenever these have changed."""

    def __init__(self, files: Folder) -> None:
        self._files = files
        self._held: tuple[Stamp | None, str] | None = None

    def __call__(self, accepted: str) -> str:
        """Return the language; that of the browser where the settings cannot be read."""
        status = self._files.status(SETTINGS_NAME)
        stamp = None if status is None else stamp_of(status)
        if self._held is None or self._held[0] != stamp:
            try:
                self._held = stamp, read_settings(self._files).language
            except ArchiveError:
                return browser_language(accepted)
        return self._held[1]
