"""The one door to the disk: files of an archive, a site or a target are reached through a `Folder`, and nowhere else.

A `Folder` reaches what lies below it by names with forward slashes, through directory descriptors where the system has
them, so that no link below it is followed and no name leads out of it, whatever somebody put there and whenever. New
bytes are written under a temporary name that is created anew, synced and renamed. What the user names on the command
line is read by `open_named`; what comes with the program by `read_own`. `tests/test_one_door.py` holds this.
"""

from __future__ import annotations

import ctypes
import errno
import os
import shutil
import stat
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from io import BufferedReader, BufferedWriter
from pathlib import Path
from typing import IO

from archive.errors import clear_refusal

__all__ = [
    "TEMPORARY_SUFFIX",
    "Folder",
    "Stamp",
    "StoredFile",
    "is_safe_name",
    "make_named_folder",
    "names_in_named",
    "open_named",
    "read_named",
    "read_own",
    "stamp_of",
    "sync_disk",
    "walk_named",
]

TEMPORARY_SUFFIX = ".northlimb-part"

_BLOCK_BYTES = 1 << 20
_DEEPEST = 100  # the way into each folder is gone anew, so thousands in each other would take minutes
# Lists and kept values of the largest archives have less; a file of holes can tell of any size.
_MOST_READ_BYTES = 1 << 30
_NO_LINK = getattr(os, "O_NOFOLLOW", 0)
_FOLDER_FLAGS = os.O_RDONLY | getattr(os, "O_DIRECTORY", 0) | getattr(os, "O_CLOEXEC", 0)
# Without O_NONBLOCK, opening a pipe would wait for a writer for ever.
_READ_FLAGS = os.O_RDONLY | _NO_LINK | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_CLOEXEC", 0)
_READ_FLAGS |= getattr(os, "O_BINARY", 0)
_CREATE_FLAGS = (
    os.O_WRONLY | os.O_CREAT | os.O_EXCL | _NO_LINK | getattr(os, "O_CLOEXEC", 0) | getattr(os, "O_BINARY", 0)
)
_BY_DESCRIPTOR = {os.open, os.stat, os.mkdir, os.unlink, os.rmdir, os.rename} <= os.supports_dir_fd
_MISSING = frozenset({errno.ENOENT, errno.ENOTDIR, errno.ELOOP, errno.ENAMETOOLONG})
# The file system will not make a second name for a file: another disk, no hard links, too many of them.
_NO_HARD_LINK = frozenset({errno.EXDEV, errno.EPERM, errno.EMLINK, errno.EOPNOTSUPP, errno.ENOSYS, errno.EACCES})
# <linux/fs.h> RENAME_EXCHANGE; what kernels and file systems answer that know no exchange.
_RENAME_EXCHANGE = 2
_NO_EXCHANGE = (errno.ENOSYS, errno.EINVAL, errno.EOPNOTSUPP)

Follow = Callable[[str], bool]
# Size, time of the bytes, time of the entry, and number of a file: the third cannot be set by programs, so a file that
# was written over, copied or brought from elsewhere has another stamp, whatever it pretends.
Stamp = tuple[int, int, int, int]


def stamp_of(status: os.stat_result) -> Stamp:
    """The stamp of a file, by which it is known not to have been touched."""
    return (status.st_size, status.st_mtime_ns, status.st_ctime_ns, status.st_ino)


def is_safe_name(file: str) -> bool:
    """Whether a name with forward slashes leads to a place below its folder, on any system."""
    return bool(file) and not any(step in ("", ".", "..") or set(step) & _UNSAFE for step in file.split("/"))


_UNSAFE = frozenset("\\\0:" if os.name == "nt" else "\\\0")


class _At:
    """A folder in use: by its descriptor, or by its path where the system has no such calls."""

    __slots__ = ("descriptor", "path")

    def __init__(self, path: str, descriptor: int | None) -> None:
        self.path = path
        self.descriptor = descriptor

    def name(self, name: str) -> str:
        """What the system is given for a name in this folder."""
        return name if self.descriptor is not None else os.path.join(self.path, name)  # noqa: PTH118


@dataclass(frozen=True, slots=True)
class StoredFile:
    """A file by its name in a folder."""

    folder: Folder
    file: str

    def read(self) -> bytes:
        """Its bytes; see `Folder.read`."""
        return self.folder.read(self.file)


class Folder:
    """A folder of the disk, below which no link is followed.

    Parameters
    ----------
    path : Path
        As the user named it; links on the way to it are followed.
    follow : callable, optional
        Asked with the name of a link directly in the folder whether it may be followed to the folder behind it;
        without it none is.

    Notes
    -----
    Names are relative, with forward slashes; one that leads out of the folder is refused as an OSError of EINVAL.
    Every method raises OSError with the whole path where the system refuses, and of ELOOP where a link is in the way.
    """

    def __init__(self, path: Path, *, follow: Follow | None = None) -> None:
        self._base = os.fspath(path)
        self._follow = follow
        self._above = ""

    def __repr__(self) -> str:
        return f"Folder({self._full('')!r})"

    @property
    def path(self) -> Path:
        """Where it is, for messages and for programs of the system."""
        return Path(self._full(""))

    def below(self, folder: str) -> Folder:
        """A folder in this one as a `Folder`; it need not be there, and is reached through this one each time."""
        if not is_safe_name(folder):
            raise OSError(errno.EINVAL, "not a name within this folder", self._full(folder))
        inner = Folder(Path(self._base), follow=self._follow)
        inner._above = self._from_base(folder)
        return inner

    # Looking

    def status(self, file: str) -> os.stat_result | None:
        """What the system tells of a file, a folder or a link, which is not followed; None where there is none."""
        try:
            with self._parent(file) as (at, name):
                return self._status_at(at, name, top=self._is_top(file))
        except OSError as error:
            if error.errno in _MISSING:
                return None
            raise

    def exists(self, file: str) -> bool:
        """Whether anything of that name is there, be it a link that leads nowhere."""
        return self.status(file) is not None

    def is_file(self, file: str) -> bool:
        """Whether a regular file is there; a link is none."""
        status = self.status(file)
        return status is not None and stat.S_ISREG(status.st_mode)

    def is_folder(self, folder: str) -> bool:
        """Whether a folder is there; a link is one only where it may be followed."""
        status = self.status(folder)
        return status is not None and stat.S_ISDIR(status.st_mode)

    def names(self, folder: str = "") -> list[str]:
        """All names in a folder, sorted."""
        with self._opened(folder) as at:
            return sorted(os.listdir(at.path if at.descriptor is None else at.descriptor))  # noqa: PTH208

    def files(self, folder: str = "") -> list[str]:
        """The names of regular files in a folder, sorted."""
        with self._scanned(folder) as entries:
            return sorted(entry.name for entry in entries if entry.is_file(follow_symlinks=False))

    def folders(self, folder: str = "") -> list[str]:
        """The names of folders in a folder, sorted; links among them only where they may be followed."""
        with self._scanned(folder) as entries:
            return sorted(entry.name for entry in entries if self._is_folder_entry(folder, entry))

    def statuses(self, folder: str = "") -> dict[str, os.stat_result]:
        """What the system tells of everything in a folder but its folders, by name; links are not followed."""
        with self._scanned(folder) as entries:
            found = [entry for entry in entries if not self._is_folder_entry(folder, entry)]
            return {entry.name: entry.stat(follow_symlinks=False) for entry in found}

    def walk(self, folder: str = "") -> Iterator[tuple[str, os.stat_result]]:
        """Everything below a folder but folders, each with what the system tells of it, in no certain order."""
        waiting = [folder]
        while waiting:
            here = waiting.pop()
            self._check_depth(here)
            prefix = f"{here}/" if here else ""
            found: list[tuple[str, os.stat_result]] = []
            with self._scanned(here) as entries:
                for entry in entries:
                    if self._is_folder_entry(here, entry):
                        waiting.append(prefix + entry.name)
                    else:
                        found.append((prefix + entry.name, entry.stat(follow_symlinks=False)))
            yield from found

    def walk_folders(self, folder: str = "") -> list[str]:
        """Every folder below a folder, each before those in it."""
        found, waiting = [], [folder]
        while waiting:
            here = waiting.pop()
            self._check_depth(here)
            inner = [f"{here}/{name}" if here else name for name in self.folders(here)]
            found += inner
            waiting += inner
        return found

    def _check_depth(self, folder: str) -> None:
        if folder.count("/") > _DEEPEST:
            raise OSError(errno.ENAMETOOLONG, f"over {_DEEPEST} folders in each other; remove them", self._full(""))

    # Reading

    def open(self, file: str) -> BufferedReader:
        """A regular file for reading."""
        with self._parent(file) as (at, name), self._told(file):
            descriptor = os.open(at.name(name), _READ_FLAGS, dir_fd=at.descriptor)
        return _regular(descriptor, self._full(file))

    def read(self, file: str, *, most_bytes: int | None = _MOST_READ_BYTES) -> bytes:
        """The bytes of a regular file; one of more than `most_bytes` is refused as an OSError of EFBIG.

        None reads whatever there is.
        """
        with self.open(file) as stream:
            return _whole(stream, most_bytes, self._full(file))

    # Writing

    def make_folder(self, folder: str = "", *, mode: int | None = None) -> None:
        """Make a folder, this one itself without a name, and those above it, where there are none."""
        with suppress(FileNotFoundError), self._opened(folder):
            return
        whole = self._from_base(folder)
        if not whole:
            raise FileNotFoundError(errno.ENOENT, os.strerror(errno.ENOENT), self._base)
        base, steps = Folder(Path(self._base), follow=self._follow), whole.split("/")
        for number in range(1, len(steps) + 1):
            base._make_one("/".join(steps[:number]), mode)

    def _make_one(self, folder: str, mode: int | None) -> None:
        made = False
        with self._parent(folder) as (at, name), self._told(folder), suppress(FileExistsError):
            os.mkdir(at.name(name), dir_fd=at.descriptor)
            made = True
        if made and mode is not None:
            self.chmod(folder, mode)
        with self._opened(folder):  # a link or a file in its place is told now
            return

    def make_new_folder(self, folder: str) -> None:
        """Make a folder, which must not be there in any form; the one above it must be."""
        with self._parent(folder) as (at, name), self._told(folder):
            os.mkdir(at.name(name), dir_fd=at.descriptor)

    @contextmanager
    def create(self, file: str, *, mode: int = 0o666) -> Iterator[BufferedWriter]:
        """A new file for writing, which must not be there in any form; it goes where the writing fails.

        The folder must be there. The caller brings the disk up to date (`sync`, `sync_disk`).
        """
        with self._parent(file) as (at, name):
            with self._told(file):
                descriptor = os.open(at.name(name), _CREATE_FLAGS, mode, dir_fd=at.descriptor)
            try:
                with os.fdopen(descriptor, "wb") as stream:
                    yield stream
            except BaseException:
                with suppress(OSError):
                    os.unlink(at.name(name), dir_fd=at.descriptor)
                raise

    def write(self, file: str, data: bytes) -> None:
        """Write to a temporary name beside the target, sync, rename; the permissions of a file replaced stay.

        Folders on the way are made.

        Raises
        ------
        FolderError
            The system refuses; the file is as it was before.
        """
        part = self.write_part(file, data)
        with clear_refusal(self._full(file)):
            try:
                there = self.status(file)
                if there is not None and stat.S_ISREG(there.st_mode):
                    self.chmod(part, stat.S_IMODE(there.st_mode))
                self.rename(part, file)
            except BaseException:
                self.remove(part)
                raise
            self.sync(file.rpartition("/")[0])

    def write_part(self, file: str, data: bytes) -> str:
        """Write and sync the bytes under the temporary name of `file`, which is returned; the caller renames.

        Raises
        ------
        FolderError
            The system refuses; nothing is left.
        """
        part = file + TEMPORARY_SUFFIX
        with clear_refusal(self._full(file)):
            self.make_folder(file.rpartition("/")[0])
            self.remove(part)  # of a run that was stopped
            with self.create(part) as stream:
                stream.write(data)
                stream.flush()
                os.fsync(stream.fileno())
        return part

    def copy(self, source: IO[bytes], file: str, *, synced: bool = False) -> int:
        """Copy what is left of an open file to a new one, and return its size."""
        with self.create(file) as taken:
            shutil.copyfileobj(source, taken, _BLOCK_BYTES)
            if synced:
                taken.flush()
                os.fsync(taken.fileno())
            return taken.tell()

    def rename(self, source: str, target: str, *, to: Folder | None = None) -> None:
        """Give a file or a folder another name, here or in another folder of the same disk; a file there is replaced.

        A link is renamed itself.
        """
        other = to or self
        with self._parent(source) as (given, name), other._parent(target) as (taken, new), self._told(source):
            os.replace(given.name(name), taken.name(new), src_dir_fd=given.descriptor, dst_dir_fd=taken.descriptor)

    def exchange(self, first: str, second: str) -> bool:
        """Exchange two names in one step; False where this system cannot."""
        try:
            call = ctypes.CDLL(None, use_errno=True).renameat2
        except (AttributeError, OSError, TypeError):  # another system, or a C library older than 2018
            return False
        call.argtypes = (ctypes.c_int, ctypes.c_char_p, ctypes.c_int, ctypes.c_char_p, ctypes.c_uint)
        with self._parent(first) as (one, name), self._parent(second) as (other, new):
            if one.descriptor is None or other.descriptor is None:
                return False
            names = os.fsencode(name), os.fsencode(new)
            if call(one.descriptor, names[0], other.descriptor, names[1], _RENAME_EXCHANGE) == 0:
                return True
        number = ctypes.get_errno()
        if number in _NO_EXCHANGE:
            return False
        raise OSError(number, os.strerror(number), self._full(second))

    def link(self, source: str, target: str, *, to: Folder | None = None) -> bool:
        """Give a file a second name, here or in another folder; False where the file system cannot."""
        other = to or self
        with self._parent(source) as (given, name), other._parent(target) as (taken, new), self._told(source):
            try:
                os.link(
                    given.name(name),
                    taken.name(new),
                    src_dir_fd=given.descriptor,
                    dst_dir_fd=taken.descriptor,
                    follow_symlinks=False,
                )
            except NotImplementedError:
                return False
            except OSError as error:
                if error.errno in _NO_HARD_LINK:
                    return False
                raise
        return True

    def chmod(self, file: str, mode: int) -> None:
        """Set the access rights of a regular file or a folder."""
        with self._parent(file) as (at, name), self._told(file):
            if at.descriptor is None:
                if _is_link(os.lstat(at.name(name))):
                    raise OSError(errno.ELOOP, _IS_LINK, at.name(name))
                os.chmod(at.name(name), mode)  # noqa: PTH101
                return
            descriptor = os.open(name, _READ_FLAGS, dir_fd=at.descriptor)
            try:
                os.fchmod(descriptor, mode)
            finally:
                os.close(descriptor)

    def give_owner(self, folder: str, *, user: int, group: int) -> None:
        """Set owner and group of a folder, on systems that know them."""
        with self._opened(folder) as at, self._told(folder):
            if at.descriptor is not None:
                os.fchown(at.descriptor, user, group)

    def set_times(self, file: str, *, accessed_ns: int, changed_ns: int) -> None:
        """Set the times of a file."""
        with self._parent(file) as (at, name), self._told(file):
            if at.descriptor is None:
                os.utime(at.name(name), ns=(accessed_ns, changed_ns))
            else:
                os.utime(name, ns=(accessed_ns, changed_ns), dir_fd=at.descriptor, follow_symlinks=False)

    def open_for_lock(self, file: str) -> IO[bytes]:
        """A file to hold a lock on, made where there is none and its folder too; read only where no more is allowed."""
        try:
            self.make_folder(file.rpartition("/")[0])
            flags = os.O_RDWR | os.O_CREAT | (_READ_FLAGS & ~os.O_RDONLY)
            with self._parent(file) as (at, name), self._told(file):
                descriptor = os.open(at.name(name), flags, 0o666, dir_fd=at.descriptor)
        except OSError as error:
            if error.errno not in (errno.EACCES, errno.EPERM, errno.EROFS):
                raise
            with suppress(FileNotFoundError):
                return self.open(file)
            raise  # that it may not be made says more than that it is not there
        if not stat.S_ISREG(os.fstat(descriptor).st_mode):
            os.close(descriptor)
            raise OSError(errno.EINVAL, "not a regular file", self._full(file))
        return os.fdopen(descriptor, "r+b")

    def leads_to(self, name: str) -> str | None:
        """Where a link directly in the folder leads, as it is written; None where there is none."""
        with self._parent(name) as (at, last), suppress(OSError):
            return os.readlink(at.name(last), dir_fd=at.descriptor)
        return None

    # Removing

    def remove(self, file: str) -> bool:
        """Remove a file, or a link itself; False where nothing is there."""
        try:
            with self._parent(file) as (at, name), self._told(file):
                os.unlink(at.name(name), dir_fd=at.descriptor)
        except FileNotFoundError:
            return False
        except OSError as error:
            if error.errno == errno.ENOTDIR:
                return False
            raise
        return True

    def remove_folder(self, folder: str) -> bool:
        """Remove a folder; False where it holds something, or is none."""
        try:
            with self._parent(folder) as (at, name):
                os.rmdir(at.name(name), dir_fd=at.descriptor)
        except OSError:
            return False
        return True

    def remove_empty(self, folder: str) -> None:
        """Remove a folder and those above it, up to this one, as far as they hold nothing."""
        while folder and self.remove_folder(folder):
            folder = folder.rpartition("/")[0]

    def remove_tree(self, name: str) -> bool:
        """Remove a file, a link itself, or a folder with all that is in it; False where nothing is there."""
        status = self._own_status(name) if self._is_top(name) else self.status(name)
        if status is None:
            return False
        if not stat.S_ISDIR(status.st_mode):
            return self.remove(name)
        with self._parent(name) as (at, last), self._told(name):
            try:
                shutil.rmtree(at.name(last), dir_fd=at.descriptor)
            except RecursionError as error:  # hundreds of folders in each other, which nobody made by hand
                reason = f"over {_DEEPEST} folders in each other; remove them"
                raise OSError(errno.ENAMETOOLONG, reason, self._full(name)) from error
        return True

    # To the disk

    def sync(self, folder: str = "") -> None:
        """Make renames in a folder durable, where the system can."""
        with self._opened(folder) as at:
            if at.descriptor is not None:
                os.fsync(at.descriptor)

    def sync_file(self, file: str) -> None:
        """Bring to disk what a program of the system wrote into a file."""
        with self._parent(file) as (at, name), self._told(file):
            descriptor = os.open(at.name(name), os.O_RDWR | (_READ_FLAGS & ~os.O_RDONLY), dir_fd=at.descriptor)
            try:
                os.fsync(descriptor)
            finally:
                os.close(descriptor)

    # Reaching

    @contextmanager
    def _parent(self, file: str) -> Iterator[tuple[_At, str]]:
        """The folder in which a file lies, opened, and the file's name in it."""
        above, _, name = file.rpartition("/")
        if not is_safe_name(file):
            raise OSError(errno.EINVAL, "not a name within this folder", self._full(file))
        with self._opened(above) as at:
            yield at, name

    @contextmanager
    def _opened(self, folder: str) -> Iterator[_At]:
        """A folder, opened step by step; no step is a link, but for a first one that may be followed."""
        if folder and not is_safe_name(folder):
            raise OSError(errno.EINVAL, "not a name within this folder", self._full(folder))
        whole = self._from_base(folder)
        steps = whole.split("/") if whole else []
        if not _BY_DESCRIPTOR:
            yield _At(self._checked_path(steps), None)
            return
        descriptor = os.open(self._base, _FOLDER_FLAGS)
        try:
            for number in range(1, len(steps) + 1):
                inner = self._step(descriptor, steps[:number])
                os.close(descriptor)
                descriptor = inner
            yield _At(self._full(folder), descriptor)
        finally:
            os.close(descriptor)

    def _step(self, descriptor: int, steps: list[str]) -> int:
        """Go from a folder into the one of its folders that is the last of `steps`."""
        *above, step = steps
        try:
            return os.open(step, _FOLDER_FLAGS | _NO_LINK, dir_fd=descriptor)
        except OSError as error:
            path, reason = os.path.join(self._base, *steps), error.strerror  # noqa: PTH118
            if error.errno in (errno.ELOOP, errno.ENOTDIR, errno.EMLINK):
                if not above and self._may_follow(step):
                    return os.open(step, _FOLDER_FLAGS, dir_fd=descriptor)
                if stat.S_ISLNK(os.stat(step, dir_fd=descriptor, follow_symlinks=False).st_mode):
                    raise OSError(errno.ELOOP, _IS_LINK, path) from error
            raise OSError(error.errno, reason, path) from error

    def _checked_path(self, steps: list[str]) -> str:
        """The path of a folder, each step of which was looked at: what can be had without descriptors."""
        path = self._base
        for number, step in enumerate(steps):
            path = os.path.join(path, step)  # noqa: PTH118
            status = os.lstat(path)
            if _is_link(status) and not (number == 0 and self._may_follow(step)):
                raise OSError(errno.ELOOP, _IS_LINK, path)
            if not _is_link(status) and not stat.S_ISDIR(status.st_mode):
                raise OSError(errno.ENOTDIR, os.strerror(errno.ENOTDIR), path)
        return path

    def _may_follow(self, name: str) -> bool:
        return self._follow is not None and self._follow(name)

    def _status_at(self, at: _At, name: str, *, top: bool) -> os.stat_result:
        status = os.stat(at.name(name), dir_fd=at.descriptor, follow_symlinks=False)
        if top and _is_link(status) and self._may_follow(name):
            return os.stat(at.name(name), dir_fd=at.descriptor)
        return status

    def _own_status(self, name: str) -> os.stat_result | None:
        """Of a link itself, also where it may be followed."""
        with self._parent(name) as (at, last), suppress(FileNotFoundError):
            return os.stat(at.name(last), dir_fd=at.descriptor, follow_symlinks=False)
        return None

    @contextmanager
    def _scanned(self, folder: str) -> Iterator[Iterator[os.DirEntry[str]]]:
        with self._opened(folder) as at, os.scandir(at.path if at.descriptor is None else at.descriptor) as entries:
            yield entries

    def _is_folder_entry(self, folder: str, entry: os.DirEntry[str]) -> bool:
        if entry.is_dir(follow_symlinks=False):
            return not _is_link(entry.stat(follow_symlinks=False)) if os.name == "nt" else True
        return not self._from_base(folder) and entry.is_symlink() and self._may_follow(entry.name)

    def _is_top(self, file: str) -> bool:
        """Whether a name is one directly in the folder that was named first, where a link may be followed."""
        return not self._above and "/" not in file

    def _from_base(self, name: str) -> str:
        return "/".join(filter(None, (self._above, name)))

    def _full(self, file: str) -> str:
        steps = self._from_base(file)
        return os.path.join(self._base, *steps.split("/")) if steps else self._base  # noqa: PTH118

    @contextmanager
    def _told(self, file: str) -> Iterator[None]:
        """The system's refusals with the whole path in place of the last name."""
        try:
            yield
        except OSError as error:
            if error.errno is None:
                raise
            reason = _IS_LINK if error.errno == errno.ELOOP else error.strerror
            raise OSError(error.errno, reason, self._full(file)) from error


_IS_LINK = "is a link, and no link is followed here"


def _is_link(status: os.stat_result) -> bool:
    """A link, or on Windows a junction."""
    return stat.S_ISLNK(status.st_mode) or getattr(status, "st_reparse_tag", 0) == 0xA0000003


def _regular(descriptor: int, path: str) -> BufferedReader:
    """An open file as a stream, made sure that it is one: a pipe or a device would keep its reader for ever."""
    if not stat.S_ISREG(os.fstat(descriptor).st_mode):
        os.close(descriptor)
        raise OSError(errno.EINVAL, "not a regular file", path)
    return os.fdopen(descriptor, "rb")


def _whole(stream: BufferedReader, most_bytes: int | None, path: str) -> bytes:
    size = os.fstat(stream.fileno()).st_size
    if most_bytes is not None and size > most_bytes:
        raise OSError(errno.EFBIG, f"{size / 1e6:.1f} MB, over the {most_bytes / 1e6:g} MB that it may have", path)
    return stream.read()


def open_named(path: Path) -> BufferedReader:
    """A file that the user named, for reading; links are followed, pipes and devices refused as an OSError."""
    return _regular(os.open(path, _READ_FLAGS & ~_NO_LINK), os.fspath(path))


def read_named(path: Path, *, most_bytes: int | None = None) -> bytes:
    """The bytes of a file that the user named; see `Folder.read`."""
    with open_named(path) as stream:
        return _whole(stream, most_bytes, os.fspath(path))


def names_in_named(folder: Path) -> list[str]:
    """All names in a folder that the user named, sorted."""
    return sorted(os.listdir(folder))  # noqa: PTH208


def walk_named(folder: Path) -> Iterator[Path]:
    """Every regular file below a folder that the user named, in order of name; links below it are not followed."""
    yield from (folder / name for name in sorted(name for name, status in Folder(folder).walk() if _is_plain(status)))


def _is_plain(status: os.stat_result) -> bool:
    return stat.S_ISREG(status.st_mode)


def make_named_folder(folder: Path, *, mode: int = 0o777) -> None:
    """Make a folder that the user named, and those above it, where there are none."""
    try:
        folder.mkdir(mode=mode, parents=True, exist_ok=True)
    except FileExistsError as error:
        raise NotADirectoryError(errno.ENOTDIR, os.strerror(errno.ENOTDIR), os.fspath(folder)) from error


def read_own(path: Path) -> bytes:
    """The bytes of a file that came with the program."""
    return path.read_bytes()


def sync_disk(folder: Path) -> None:
    """Bring to disk all that was written to the disk of a folder: one call for many files.

    Linux syncs that disk alone, other POSIX systems all of theirs; Windows has no such call, and keeps what it kept.

    Raises
    ------
    OSError
        The disk failed, or is full after all.
    """
    if os.name != "posix":
        return
    try:
        call = ctypes.CDLL(None, use_errno=True).syncfs
    except (AttributeError, OSError):
        os.sync()
        return
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        if call(descriptor) != 0:
            number = ctypes.get_errno()
            raise OSError(number, os.strerror(number), str(folder))
    finally:
        os.close(descriptor)
