"""Bringing a place to hold exactly the site: one course for a folder, a host and an archive file."""

from __future__ import annotations

import posixpath
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

from archive.errors import PublishError
from archive.site_tree.digests import Digest, OnFile, StampsFile, digests_of
from archive.site_tree.manifest import MANIFEST, Manifest, manifest_bytes, read_manifest
from archive.site_tree.place import Delivery, Place, read_whole
from archive.site_tree.plan import Plan, check_kept, make_plan, refuse_foreign, removals
from archive.site_tree.target_checks import check_site, site_files
from archive.site_tree.tree import Tree, is_kept

__all__ = [
    "Publication",
    "PublishReport",
    "SiteFiles",
    "check_place_open",
    "prepare",
    "read_site",
    "refuse_odd_names",
    "send",
]

# Looking into a folder costs some round trips: beyond so many of them only those are looked into where something
# is to change, and the rest is taken to be as the target's list of files says.
_FOLDERS_LOOKED_INTO = 500


@dataclass(frozen=True)
class SiteFiles:
    """The built site: its files but the list of them, and what they hold."""

    tree: Tree
    digests: Mapping[str, Digest]


@dataclass(frozen=True)
class PublishReport:
    """How many files were copied, were there already, were removed; the bytes copied; and what was taken over.

    The list of files is not counted. `not_of_the_site` names the removed files that no earlier publication had put
    there.
    """

    copied: int
    unchanged: int
    removed: int
    bytes_copied: int
    not_of_the_site: tuple[str, ...] = ()


@dataclass(frozen=True)
class Publication:
    """What is to be done at a place; `listing` tells whether its list of files is other than it should be."""

    site: SiteFiles
    plan: Plan
    listing: bool

    @property
    def report(self) -> PublishReport:
        """What it does, in numbers."""
        plan = self.plan
        size = sum(self.site.digests[name].size for name in plan.send)
        return PublishReport(len(plan.send), len(plan.unchanged), len(plan.remove), size, plan.foreign)


def read_site(site_dir: Path, *, stamps: StampsFile | None, on_file: OnFile) -> SiteFiles:
    """Read what a built site holds, with whatever was put into its folder by hand.

    Raises
    ------
    PublishError
        The site is not built, or holds what is no file.
    """
    check_site(site_dir)
    try:
        tree = site_files(site_dir)
        return SiteFiles(tree, digests_of(tree, stamps=stamps, on_file=on_file))
    except OSError as error:
        raise PublishError(
            f"{error.filename or site_dir}: cannot be read: {error.strerror}; run build again"
        ) from error


def refuse_odd_names(site: SiteFiles) -> None:
    """Raise PublishError where a name is not UTF-8: most kinds of places take names of text alone."""
    for name in site.tree.files:
        try:
            name.encode()
        except UnicodeEncodeError as error:
            raise PublishError(f"{site.tree.folder.path / name}: the name is not UTF-8; rename the file") from error


def check_place_open(place: Place, *, keep: tuple[str, ...], adopt: bool) -> None:
    """Look whether a place would take a site, before there is one.

    Raises
    ------
    PublishError
        It cannot be reached, or holds other files and no list of ours.
    """
    held = read_manifest(read_whole(place, MANIFEST))
    if not held.ours:
        names = _not_kept(place.sizes(None if place.lists_fast else [""]), keep)
        refuse_foreign(place.name, removals((), held, names, keep=keep), names, ours=False, adopt=adopt)


def prepare(place: Place, site: SiteFiles, *, adopt: bool, keep: tuple[str, ...]) -> Publication:
    """Find out what has to travel and what has to go; nothing is changed.

    Raises
    ------
    PublishError
        The place cannot be reached, or holds what must not be removed without being told.
    """
    listing = read_whole(place, MANIFEST)
    held = read_manifest(listing)
    sizes = _sizes(place, site, held)
    names = _not_kept(sizes, keep)
    check_kept(place.name, site.digests, sizes.keys() - set(names) - site.digests.keys())
    gone = removals(site.digests, held, names, keep=keep)
    refuse_foreign(place.name, gone, names, ours=held.ours, adopt=adopt)
    plan = make_plan(site.digests, _with_size(place.digests(held), sizes), gone)
    return Publication(site, plan, listing != manifest_bytes(site.digests))


def _not_kept(names: Iterable[str], keep: tuple[str, ...]) -> list[str]:
    return [name for name in names if not is_kept(name, keep)]


def _with_size(digests: Mapping[str, Digest], sizes: Mapping[str, int]) -> Mapping[str, Digest | None]:
    """Return what the files hold that are there; unknown where one has another size than it should."""
    known = ((name, digests.get(name), size) for name, size in sizes.items())
    return {name: digest if digest is not None and digest.size == size else None for name, digest, size in known}


def _sizes(place: Place, site: SiteFiles, held: Manifest) -> Mapping[str, int]:
    folders = {posixpath.dirname(name) for name in (*site.digests, *held.files, *held.pending)} | {""}
    if place.lists_fast or not held.ours or len(folders) <= _FOLDERS_LOOKED_INTO:
        return place.sizes(None)
    plan = make_plan(site.digests, held.files, removals(site.digests, held, held.files, keep=()))
    touched = {posixpath.dirname(name) for name in (*plan.send, *plan.remove, *held.pending)} | {""}
    unseen = {name: row.size for name, row in held.files.items() if posixpath.dirname(name) not in touched}
    return {**unseen, **place.sizes(touched)}


def send(place: Place, publication: Publication, *, on_file: OnFile) -> None:
    """Bring the place to hold exactly the site; where it does already, no file is written.

    Raises
    ------
    PublishError
        The place refused, or could not be reached any more; what has arrived stays for the next run.
    """
    site = publication.site
    place.apply(Delivery(publication.plan, publication.listing, site.tree, site.digests, on_file))
