"""A digest of the code that makes a value: a module with all that it imports of ours, and the libraries it uses.

It is read from the sources, not from what happens to be loaded, so it is the same whichever command asks.
"""

from __future__ import annotations

import hashlib
import importlib.metadata
import re
import sys
from collections.abc import Callable, Iterator
from functools import cache
from pathlib import Path

from archive.disk import Folder, names_in_named, read_own, walk_named
from archive.store.digest import DIGEST_BYTES

__all__ = ["code_digest", "installation_digest", "modules_behind"]

_PACKAGE = Path(__file__).resolve().parents[1]
_OURS = _PACKAGE.name
# Names under which libraries are distributed, where it is not the name that is imported.
_DISTRIBUTIONS = {
    "PIL": "pillow",
    "erfa": "pyerfa",
    "markdown_it": "markdown-it-py",
}
# Sources that are no Python, by the room whose code reads them.
_TEMPLATES, _LOCALE = "site_templates", "locale"
_READS = {"website": (_PACKAGE / _TEMPLATES, _PACKAGE.parent / _TEMPLATES), "films": (_PACKAGE / "films" / "fonts",)}
_IMPORT = re.compile(
    r"^[ \t]*(?:from[ \t]+([\w.]+)[ \t]+import[ \t]+(\([^)]*\)|[^\n#(]+)|import[ \t]+([\w., \t]+))", re.MULTILINE
)
_TYPES_ONLY = re.compile(r"^if TYPE_CHECKING:\n(?:[ \t]+[^\n]*\n|\n)+", re.MULTILINE)


@cache
def code_digest(make: Callable[..., object]) -> bytes:
    """Return a digest of the code of a function and of what it stands on.

    Parameters
    ----------
    make : callable
        A function of one of our modules. All of its module counts, and of each of ours that this imports; of
        other libraries their versions.
    """
    found = hashlib.blake2b(sys.version.encode(), digest_size=DIGEST_BYTES)
    libraries: set[str] = set()
    rooms: set[str] = set()
    for name in sorted(modules_behind(make.__module__)):
        found.update(name.encode() + b"\0" + _source(name))
        libraries |= _imports(name)[1]
        rooms.add(name.split(".")[1] if "." in name else "")
    for library in sorted(libraries):
        found.update(f"{library} {_version(library)}\n".encode())
    for room in sorted(rooms & _READS.keys()):
        found.update(_files_digest(room))
    return found.digest()


def installation_digest() -> bytes:
    """Return a digest of all our code and all installed libraries, by names and stamps: faster than reading them."""
    found = hashlib.blake2b(sys.version.encode(), digest_size=DIGEST_BYTES)
    for folder in (_PACKAGE, _PACKAGE.parent / _TEMPLATES):
        for file, status in sorted(Folder(folder).walk()) if folder.is_dir() else ():
            if not file.endswith(".pyc"):
                found.update(f"{file} {status.st_size} {status.st_mtime_ns}\n".encode())
    for place in sys.path:
        # The folder of what a library says of itself bears its version.
        if place.endswith("-packages"):
            found.update("\n".join(name for name in names_in_named(Path(place)) if name.endswith("-info")).encode())
    return found.digest()


@cache
def modules_behind(module: str) -> frozenset[str]:
    """Return the names of a module of ours and of all of ours that it imports, directly or through others."""
    found, waiting = {module}, [module]
    while waiting:
        new = _imports(waiting.pop())[0] - found
        found |= new
        waiting += new
    return frozenset(found)


@cache
def _imports(module: str) -> tuple[frozenset[str], frozenset[str]]:
    """Return the modules of ours that a module imports, and the other libraries."""
    ours: set[str] = set()
    libraries: set[str] = set()
    for source, names in _import_lines(_TYPES_ONLY.sub("", _source(module).decode())):
        if source.split(".")[0] != _OURS:
            libraries.add(source.split(".")[0])
            continue
        # A name imported from a package is a module of it, or a name defined in another.
        for step in (source, *(f"{source}.{name}" for name in names)):
            if _path(step) is not None:
                ours.add(step)
    return frozenset(ours), frozenset(libraries - sys.stdlib_module_names)


def _import_lines(source: str) -> Iterator[tuple[str, tuple[str, ...]]]:
    for module, names, modules in _IMPORT.findall(source):
        if module:
            yield module, tuple(name.split()[0] for name in names.strip("() \n").split(",") if name.strip())
        else:
            yield from ((name.split()[0], ()) for name in modules.split(",") if name.strip())


@cache
def _path(module: str) -> Path | None:
    path = _PACKAGE.joinpath(*module.split(".")[1:])
    return next((file for file in (path.with_suffix(".py"), path / "__init__.py") if file.is_file()), None)


@cache
def _source(module: str) -> bytes:
    path = _path(module)
    return b"" if path is None else read_own(path)


@cache
def _files_digest(room: str) -> bytes:
    found = hashlib.blake2b(digest_size=DIGEST_BYTES)
    for folder in _READS[room]:
        if folder.is_dir():
            # Of a language's words those who show them tell themselves, so that other pages stay.
            for path in (path for path in walk_named(folder) if _LOCALE not in path.relative_to(folder).parts):
                found.update(path.relative_to(folder).as_posix().encode() + b"\0" + read_own(path))
    return found.digest()


@cache
def _version(library: str) -> str:
    names = (_DISTRIBUTIONS.get(library, library), library.replace("_", "-"))
    for name in names:
        try:
            return importlib.metadata.version(name)
        except importlib.metadata.PackageNotFoundError:
            continue
    return _version_by_search(library)


def _version_by_search(library: str) -> str:
    """Return the versions of whatever distributions bring a module; slow, for each is looked through."""
    brought_by = importlib.metadata.packages_distributions().get(library, [])
    return " ".join(f"{name} {importlib.metadata.version(name)}" for name in sorted(set(brought_by)))
