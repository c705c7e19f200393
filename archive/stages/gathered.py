"""All that the site shows besides notes, as the stages have left it, kept whole: a new note opens no picture."""

from __future__ import annotations

from dataclasses import dataclass

import msgspec

from archive.model.choices import FilmMaking
from archive.model.eclipse import EclipseAt
from archive.model.film import Film
from archive.model.forecast import ExpectedGroup, ExpectedReturn
from archive.model.group import Group
from archive.model.rotation_law import RotationLaw
from archive.model.rotation_map import RotationMap
from archive.store import Store
from archive.store.digest import encoded
from archive.website.content import DerotationLaw, Entry, SiteInfo, UnmeasuredPicture

__all__ = ["Gathered", "forget_gathered", "keep_gathered", "kept_gathered", "last_gathered"]

_NAME, _FILMS_AS_THEY_ARE = "site", "site, its films as they are"


@dataclass(frozen=True)
class Gathered:
    """What the site shows but notes, what is amiss, and until when that holds (days since 1970; None for ever).

    `films_out_of_date` names the films that were left for another build.
    """

    info: SiteInfo
    entries: tuple[Entry, ...]
    films: tuple[Film, ...]
    groups: tuple[Group, ...]
    rotations: tuple[RotationMap, ...]
    own_law: RotationLaw | None
    published_laws: tuple[RotationLaw, ...]
    derotation: DerotationLaw
    warnings: tuple[str, ...]
    valid_until: float | None = None
    unmeasured: tuple[UnmeasuredPicture, ...] = ()
    films_out_of_date: tuple[str, ...] = ()
    smoothed_number: tuple[tuple[float, float], ...] = ()
    expected: tuple[ExpectedGroup, ...] = ()
    expected_returns: tuple[ExpectedReturn, ...] = ()
    eclipses: tuple[EclipseAt, ...] = ()
    eclipse_to_come: EclipseAt | None = None


def kept_gathered(store: Store, inputs: bytes, films: FilmMaking) -> Gathered | None:
    """Return what was gathered from these inputs, see `archive.stages.unchanged.Inputs.of_stages`.

    Where films may be as they are, so may those of what is returned.
    """
    whole = store.get(keep_gathered, _NAME, inputs, Gathered)
    if whole is not None or films == "made":
        return whole
    return store.get(keep_gathered, _FILMS_AS_THEY_ARE, inputs, Gathered)


def last_gathered(store: Store, inputs: bytes) -> Gathered | None:
    """Return what was gathered from these inputs, else what was gathered last from any."""
    found = kept_gathered(store, inputs, "as they are")
    names = (_FILMS_AS_THEY_ARE, _NAME) if found is None else ()
    return found or next((one for name in names if (one := store.latest(keep_gathered, name, Gathered))), None)


def keep_gathered(store: Store, inputs: bytes, gathered: Gathered, films: FilmMaking) -> Gathered:
    """Keep what was gathered, and return it as it will be found, down to the kinds of numbers.

    The values that it came from hold its blobs.
    """
    if films == "made":
        store.forget(keep_gathered, keep=[_NAME])
    store.put(keep_gathered, _NAME if films == "made" else _FILMS_AS_THEY_ARE, inputs, gathered)
    words = encoded(gathered)
    del gathered  # of a long archive two would not fit into the memory that one has
    return msgspec.msgpack.decode(words, type=Gathered)


def forget_gathered(store: Store) -> None:
    """Forget it, where a blob that it names turned out to be damaged."""
    store.forget(keep_gathered, keep=())
