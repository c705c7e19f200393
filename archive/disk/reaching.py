"""The way into a folder, step by step, on which no link is followed: what confines a `Folder` to what lies below it."""

from __future__ import annotations

import errno
import os
import stat
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress

__all__ = ["BY_DESCRIPTOR", "FOLDER_FLAGS", "IS_LINK", "NO_LINK", "At", "Follow", "Way", "is_link", "is_safe_name"]

NO_LINK = getattr(os, "O_NOFOLLOW", 0)
FOLDER_FLAGS = os.O_RDONLY | getattr(os, "O_DIRECTORY", 0) | getattr(os, "O_CLOEXEC", 0)
BY_DESCRIPTOR = {os.open, os.stat, os.mkdir, os.unlink, os.rmdir, os.rename} <= os.supports_dir_fd

Follow = Callable[[str], bool]

IS_LINK = "is a link, and no link is followed here"


def is_link(status: os.stat_result) -> bool:
    """Return whether this is a link, or on Windows a junction."""
    return stat.S_ISLNK(status.st_mode) or getattr(status, "st_reparse_tag", 0) == 0xA0000003


def is_safe_name(file: str) -> bool:
    """Return whether a name with forward slashes leads to a place below its folder, on any system."""
    return _UNSAFE.isdisjoint(file) and _NO_STEPS.isdisjoint(file.split("/"))


_NO_STEPS = frozenset(("", ".", ".."))
_UNSAFE = frozenset("\\\0:" if os.name == "nt" else "\\\0")


class At:
    """A folder in use: by its descriptor, or by its path, else empty, where the system has no such calls."""

    __slots__ = ("descriptor", "path")

    def __init__(self, path: str, descriptor: int | None) -> None:
        self.path = path
        self.descriptor = descriptor

    def name(self, name: str) -> str:
        """Return the path to give to the system for a name in this folder."""
        return name if self.descriptor is not None else os.path.join(self.path, name)  # noqa: PTH118


class Way:
    """The way from a folder as the user named it, links and all, to what lies below it.

    Parameters
    ----------
    base : str
        The folder that was named.
    follow : callable or None
        Asked with the name of a link directly in it whether it may be followed to the folder behind it.
    above : str
        The folder below it from which names are counted.
    held : int or None
        That folder's descriptor, where it is open.
    """

    def __init__(self, base: str, follow: Follow | None, above: str = "", held: int | None = None) -> None:
        self.base, self.follow, self.above, self.held = base, follow, above, held

    @contextmanager
    def parent(self, file: str) -> Iterator[tuple[At, str]]:
        """The folder in which a file lies, opened, and the file's name in it."""
        above, _, name = file.rpartition("/")
        if not is_safe_name(file):
            raise OSError(errno.EINVAL, "not a name within this folder", self.path_of(file))
        if self.held is not None and not above:
            yield At("", self.held), name
            return
        with self.opened(above) as at:
            yield at, name

    @contextmanager
    def opened(self, folder: str) -> Iterator[At]:
        """A folder, opened step by step; no step is a link, but for a first one that may be followed."""
        if folder and not is_safe_name(folder):
            raise OSError(errno.EINVAL, "not a name within this folder", self.path_of(folder))
        whole = self.from_base(folder)
        steps = whole.split("/") if whole else []
        if not BY_DESCRIPTOR:
            yield At(self._checked_path(steps), None)
            return
        first = len(self.above.split("/")) if self.held is not None and self.above else 0
        descriptor = os.open(self.base, FOLDER_FLAGS) if self.held is None else self.held
        try:
            for number in range(first + 1, len(steps) + 1):
                inner = self._step(descriptor, steps[:number])
                self._let_go(descriptor)
                descriptor = inner
            yield At("", descriptor)
        finally:
            self._let_go(descriptor)

    def _let_go(self, descriptor: int) -> None:
        if descriptor != self.held:
            os.close(descriptor)

    def _step(self, descriptor: int, steps: list[str]) -> int:
        """Go from a folder into the one of its folders that is the last of `steps`."""
        *above, step = steps
        try:
            return os.open(step, FOLDER_FLAGS | NO_LINK, dir_fd=descriptor)
        except OSError as error:
            path, reason = os.path.join(self.base, *steps), error.strerror  # noqa: PTH118
            if error.errno in (errno.ELOOP, errno.ENOTDIR, errno.EMLINK):
                if not above and self.may_follow(step):
                    return os.open(step, FOLDER_FLAGS, dir_fd=descriptor)
                if stat.S_ISLNK(os.stat(step, dir_fd=descriptor, follow_symlinks=False).st_mode):
                    raise OSError(errno.ELOOP, IS_LINK, path) from error
            raise OSError(error.errno, reason, path) from error

    def _checked_path(self, steps: list[str]) -> str:
        """Return the path of a folder with every step checked: the best that is possible without descriptors."""
        path = self.base
        for number, step in enumerate(steps):
            path = os.path.join(path, step)  # noqa: PTH118
            status = os.lstat(path)
            if is_link(status) and not (number == 0 and self.may_follow(step)):
                raise OSError(errno.ELOOP, IS_LINK, path)
            if not is_link(status) and not stat.S_ISDIR(status.st_mode):
                raise OSError(errno.ENOTDIR, os.strerror(errno.ENOTDIR), path)
        return path

    def may_follow(self, name: str) -> bool:
        return self.follow is not None and self.follow(name)

    def status_at(self, at: At, name: str, *, top: bool) -> os.stat_result:
        status = os.stat(at.name(name), dir_fd=at.descriptor, follow_symlinks=False)
        if top and is_link(status) and self.may_follow(name):
            return os.stat(at.name(name), dir_fd=at.descriptor)
        return status

    def own_status(self, name: str) -> os.stat_result | None:
        """Return the status of a link itself, also where it may be followed."""
        with self.parent(name) as (at, last), suppress(FileNotFoundError):
            return os.stat(at.name(last), dir_fd=at.descriptor, follow_symlinks=False)
        return None

    @contextmanager
    def scanned(self, folder: str) -> Iterator[Iterator[os.DirEntry[str]]]:
        with self.opened(folder) as at, os.scandir(at.path if at.descriptor is None else at.descriptor) as entries:
            yield entries

    def is_folder_entry(self, folder: str, entry: os.DirEntry[str]) -> bool:
        if entry.is_dir(follow_symlinks=False):
            return not is_link(entry.stat(follow_symlinks=False)) if os.name == "nt" else True
        return not self.from_base(folder) and entry.is_symlink() and self.may_follow(entry.name)

    def is_top(self, file: str) -> bool:
        """Return whether a name is one directly in the folder that was named first, where a link may be followed."""
        return not self.above and "/" not in file

    def from_base(self, name: str) -> str:
        return "/".join(filter(None, (self.above, name)))

    def path_of(self, file: str) -> str:
        steps = self.from_base(file)
        return os.path.join(self.base, *steps.split("/")) if steps else self.base  # noqa: PTH118

    @contextmanager
    def with_full_path(self, file: str) -> Iterator[None]:
        """The system's refusals with the whole path in place of the last name."""
        try:
            yield
        except OSError as error:
            if error.errno is None:
                raise
            reason = IS_LINK if error.errno == errno.ELOOP else error.strerror
            raise OSError(error.errno, reason, self.path_of(file)) from error
