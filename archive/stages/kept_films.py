"""The films that the settings keep: listed, and forgotten by their names."""

from __future__ import annotations

from dataclasses import dataclass

from archive.disk import Folder
from archive.errors import FactsError
from archive.execution.progress import Progress
from archive.records.history import text_digest
from archive.records.settings import SETTINGS_NAME, read_settings
from archive.records.toml_files import load_toml
from archive.stages.film_words import film_words, option_words
from archive.stages.films import film_stem
from archive.upkeep.editing import edit_settings, read_text

__all__ = ["FORGOTTEN", "ListedFilm", "forget_film", "list_films"]

FORGOTTEN = "film forgotten: "


@dataclass(frozen=True)
class ListedFilm:
    """A film of the settings: its name, which is that of its files, and words for what it is."""

    name: str
    words: str
    options: tuple[str, ...]


def list_films(files: Folder) -> tuple[ListedFilm, ...]:
    """Return the films that the site keeps, as their settings say."""
    spans = read_settings(files).films
    return tuple(ListedFilm(film_stem(span), film_words(span), tuple(option_words(span))) for span in spans)


def forget_film(files: Folder, name: str, *, on_progress: Progress, made_from: str | None = None) -> ListedFilm:
    """Take a film out of the settings, and so, at the next build, out of the site.

    Parameters
    ----------
    files : Folder
        The archive's.
    name : str
        Of the film, as it is listed.
    on_progress : callable
    made_from : str, optional
        Digest of the settings from which it was chosen; None for those that stand now.

    Raises
    ------
    FactsError
        No film of that name is kept.
    """
    listed = list_films(files)
    forgotten = next((film for film in listed if film.name == name), None)
    if forgotten is None:
        kept = ", ".join(film.name for film in listed)
        raise FactsError(f"{name}: no such film is kept; " + (f"kept are: {kept}" if kept else "none is kept"))
    written = load_toml(files, SETTINGS_NAME).get("films", [])
    stays = [entry for film, entry in zip(listed, written, strict=True) if film.name != name]
    stands = text_digest(read_text(files, SETTINGS_NAME) or "") if made_from is None else made_from
    words = FORGOTTEN + forgotten.words
    edit_settings(files, {"films": stays or None}, made_from=stands, words=words, on_progress=on_progress)
    return forgotten
