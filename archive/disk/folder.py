"""A folder of the disk: all that is done with files below it, and nothing with what lies elsewhere."""

from __future__ import annotations

import ctypes
import errno
import os
import shutil
import stat
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from io import BufferedReader, BufferedWriter
from pathlib import Path
from typing import IO

from archive.disk.reaching import FOLDER_FLAGS, IS_LINK, NO_LINK, Follow, Way, is_link, is_safe_name
from archive.disk.streams import READ_FLAGS, regular_stream, whole_content
from archive.errors import clear_refusal

__all__ = ["DEEPEST", "MOST_READ_BYTES", "TEMPORARY_SUFFIX", "Folder", "Stamp", "StoredFile", "stamp_of"]

TEMPORARY_SUFFIX = ".northlimb-part"
DEEPEST = 100  # each folder is opened step by step, so thousands of nested ones would take minutes
# Lists and kept values of the largest archives have less; a sparse file can claim any size.
MOST_READ_BYTES = 1 << 30

_BLOCK_BYTES = 1 << 20
_CREATE_FLAGS = os.O_WRONLY | os.O_CREAT | os.O_EXCL | NO_LINK
_CREATE_FLAGS |= getattr(os, "O_CLOEXEC", 0) | getattr(os, "O_BINARY", 0)
_MISSING = frozenset({errno.ENOENT, errno.ENOTDIR, errno.ELOOP, errno.ENAMETOOLONG})
# The file system will not make a second name for a file: another disk, no hard links, too many of them.
_NO_HARD_LINK = frozenset({errno.EXDEV, errno.EPERM, errno.EMLINK, errno.EOPNOTSUPP, errno.ENOSYS, errno.EACCES})
# <linux/fs.h> FICLONE; what kernels and file systems answer that know no clones, or not of these two files.
_FICLONE = 0x40049409
_NO_CLONE = (errno.EXDEV, errno.EOPNOTSUPP, errno.ENOTTY, errno.EINVAL, errno.ENOSYS, errno.EPERM)
# <linux/fs.h> RENAME_EXCHANGE; what kernels and file systems answer that know no exchange.
_RENAME_EXCHANGE = 2
_NO_EXCHANGE = (errno.ENOSYS, errno.EINVAL, errno.EOPNOTSUPP)

# Size, time of the bytes, time of the entry, and number of a file: the third cannot be set by programs, so a file that
# was written over, copied or brought from elsewhere has another stamp, whatever it pretends.
Stamp = tuple[int, int, int, int]


def stamp_of(status: os.stat_result) -> Stamp:
    """Return the stamp of a file, which shows that it was not modified."""
    return (status.st_size, status.st_mtime_ns, status.st_ctime_ns, status.st_ino)


@dataclass(frozen=True, slots=True)
class StoredFile:
    """A file by its name in a folder."""

    folder: Folder
    file: str

    def read(self) -> bytes:
        """Return its bytes; see `Folder.read`."""
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
        self._way = Way(os.fspath(path), follow)

    def __repr__(self) -> str:
        return f"Folder({self._way.path_of('')!r})"

    @property
    def path(self) -> Path:
        """Where it is, for messages and for programs of the system."""
        return Path(self._way.path_of(""))

    def below(self, folder: str) -> Folder:
        """Return a folder in this one as a `Folder`; it need not exist, and is reached through this one each time."""
        if not is_safe_name(folder):
            raise OSError(errno.EINVAL, "not a name within this folder", self._way.path_of(folder))
        return self._reached(Way(self._way.base, self._way.follow, self._way.from_base(folder)))

    @contextmanager
    def held(self, folder: str = "") -> Iterator[Folder]:
        """This folder, or one in it, kept open meanwhile, so that names in it are reached in one step.

        What takes its place on the disk meanwhile is not seen.
        """
        with self._way.opened(folder) as at:
            yield self._reached(Way(self._way.base, self._way.follow, self._way.from_base(folder), at.descriptor))

    @classmethod
    def _reached(cls, way: Way) -> Folder:
        folder = cls.__new__(cls)
        folder._way = way
        return folder

    # Looking

    def status(self, file: str) -> os.stat_result | None:
        """Return the status of a file, a folder or a link, which is not followed; None where there is none."""
        try:
            with self._way.parent(file) as (at, name):
                return self._way.status_at(at, name, top=self._way.is_top(file))
        except OSError as error:
            if error.errno in _MISSING:
                return None
            raise

    def exists(self, file: str) -> bool:
        """Return whether anything of that name is there, be it a link that leads nowhere."""
        return self.status(file) is not None

    def is_file(self, file: str) -> bool:
        """Return whether a regular file is there; a link is none."""
        status = self.status(file)
        return status is not None and stat.S_ISREG(status.st_mode)

    def is_folder(self, folder: str) -> bool:
        """Return whether a folder is there; a link is one only where it may be followed."""
        status = self.status(folder)
        return status is not None and stat.S_ISDIR(status.st_mode)

    def names(self, folder: str = "") -> list[str]:
        """Return all names in a folder, sorted."""
        with self._way.opened(folder) as at:
            return sorted(os.listdir(at.path if at.descriptor is None else at.descriptor))  # noqa: PTH208

    def files(self, folder: str = "") -> list[str]:
        """Return the names of regular files in a folder, sorted."""
        with self._way.scanned(folder) as entries:
            return sorted(entry.name for entry in entries if entry.is_file(follow_symlinks=False))

    def folders(self, folder: str = "") -> list[str]:
        """Return the names of folders in a folder, sorted; links among them only where they may be followed."""
        with self._way.scanned(folder) as entries:
            return sorted(entry.name for entry in entries if self._way.is_folder_entry(folder, entry))

    def statuses(self, folder: str = "") -> dict[str, os.stat_result]:
        """Return the status of everything in a folder but its folders, by name; links are not followed."""
        with self._way.scanned(folder) as entries:
            found = [entry for entry in entries if not self._way.is_folder_entry(folder, entry)]
            return {entry.name: entry.stat(follow_symlinks=False) for entry in found}

    def walk(self, folder: str = "") -> Iterator[tuple[str, os.stat_result]]:
        """Yield everything below a folder but folders, each with its status, in no particular order."""
        self._check_depth(folder)
        prefix = f"{folder}/" if folder else ""
        inner: list[os.DirEntry[str]] = []
        found: list[tuple[str, os.stat_result]] = []
        with self._way.opened(folder) as at:
            with os.scandir(at.path if at.descriptor is None else at.descriptor) as entries:
                for entry in entries:
                    if self._way.is_folder_entry(folder, entry):
                        inner.append(entry)
                    else:
                        found.append((prefix + entry.name, entry.stat(follow_symlinks=False)))
            yield from found
            for entry in inner:
                if at.descriptor is None or entry.is_symlink():
                    yield from self.walk(prefix + entry.name)
                else:
                    yield from self._walk_at(at.descriptor, entry.name, prefix + entry.name)

    def _walk_at(self, above: int, name: str, folder: str) -> Iterator[tuple[str, os.stat_result]]:
        """Walk a folder that lies in an open one: one step from there in place of the whole way."""
        self._check_depth(folder)
        with self._way.with_full_path(folder):
            descriptor = os.open(name, FOLDER_FLAGS | NO_LINK, dir_fd=above)
        try:
            inner: list[str] = []
            found: list[tuple[str, os.stat_result]] = []
            with os.scandir(descriptor) as entries:
                for entry in entries:
                    if entry.is_dir(follow_symlinks=False):
                        inner.append(entry.name)
                    else:
                        found.append((f"{folder}/{entry.name}", entry.stat(follow_symlinks=False)))
            yield from found
            for inside in inner:
                yield from self._walk_at(descriptor, inside, f"{folder}/{inside}")
        finally:
            os.close(descriptor)

    def walk_folders(self, folder: str = "") -> list[str]:
        """Yield every folder below a folder, each before those in it."""
        found, waiting = [], [folder]
        while waiting:
            here = waiting.pop()
            self._check_depth(here)
            inner = [f"{here}/{name}" if here else name for name in self.folders(here)]
            found += inner
            waiting += inner
        return found

    def _check_depth(self, folder: str) -> None:
        if folder.count("/") > DEEPEST:
            raise OSError(errno.ENAMETOOLONG, f"over {DEEPEST} nested folders; remove them", self._way.path_of(""))

    # Reading

    def open(self, file: str) -> BufferedReader:
        """Return a regular file for reading."""
        with self._way.parent(file) as (at, name), self._way.with_full_path(file):
            descriptor = os.open(at.name(name), READ_FLAGS, dir_fd=at.descriptor)
        return regular_stream(descriptor, self._way.path_of(file))

    def read(self, file: str, *, most_bytes: int | None = MOST_READ_BYTES) -> bytes:
        """Return the bytes of a regular file; one of more than `most_bytes` is refused as an OSError of EFBIG.

        None reads whatever there is.
        """
        with self.open(file) as stream:
            return whole_content(stream, most_bytes, self._way.path_of(file))

    # Writing

    def make_folder(self, folder: str = "", *, mode: int | None = None) -> None:
        """Make a folder, this one itself without a name, and those above it, where there are none."""
        with suppress(FileNotFoundError), self._way.opened(folder):
            return
        whole = self._way.from_base(folder)
        if not whole:
            raise FileNotFoundError(errno.ENOENT, os.strerror(errno.ENOENT), self._way.base)
        self._reached(Way(self._way.base, self._way.follow))._make_with_those_above(whole, mode)

    def _make_with_those_above(self, folder: str, mode: int | None) -> None:
        try:
            self._make_one(folder, mode)
        except FileNotFoundError:
            above = folder.rpartition("/")[0]
            if not above:
                raise
            self._make_with_those_above(above, mode)
            self._make_one(folder, mode)

    def _make_one(self, folder: str, mode: int | None) -> None:
        made = False
        with self._way.parent(folder) as (at, name), self._way.with_full_path(folder), suppress(FileExistsError):
            os.mkdir(at.name(name), dir_fd=at.descriptor)
            made = True
        if made and mode is not None:
            self.chmod(folder, mode)
        with self._way.opened(folder):  # a link or a file in its place is refused now
            return

    def make_new_folder(self, folder: str) -> None:
        """Make a folder, which must not be there in any form; the one above it must be."""
        with self._way.parent(folder) as (at, name), self._way.with_full_path(folder):
            os.mkdir(at.name(name), dir_fd=at.descriptor)

    @contextmanager
    def create(self, file: str, *, mode: int = 0o666) -> Iterator[BufferedWriter]:
        """A new file for writing, which must not be there in any form; it goes where the writing fails.

        The folder must be there. The caller brings the disk up to date (`sync`, `sync_disk`).
        """
        with self._way.parent(file) as (at, name):
            with self._way.with_full_path(file):
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
        with clear_refusal(self._way.path_of(file)):
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
        with clear_refusal(self._way.path_of(file)):
            self.make_folder(file.rpartition("/")[0])
            self.remove(part)  # of an interrupted run
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
        with (
            self._way.parent(source) as (given, name),
            other._way.parent(target) as (taken, new),
            self._way.with_full_path(source),
        ):
            os.replace(given.name(name), taken.name(new), src_dir_fd=given.descriptor, dst_dir_fd=taken.descriptor)

    def exchange(self, first: str, second: str) -> bool:
        """Exchange two names in one step; False where this system cannot."""
        try:
            call = ctypes.CDLL(None, use_errno=True).renameat2
        except (AttributeError, OSError, TypeError):  # another system, or a C library older than 2018
            return False
        call.argtypes = (ctypes.c_int, ctypes.c_char_p, ctypes.c_int, ctypes.c_char_p, ctypes.c_uint)
        with self._way.parent(first) as (one, name), self._way.parent(second) as (other, new):
            if one.descriptor is None or other.descriptor is None:
                return False
            names = os.fsencode(name), os.fsencode(new)
            if call(one.descriptor, names[0], other.descriptor, names[1], _RENAME_EXCHANGE) == 0:
                return True
        number = ctypes.get_errno()
        if number in _NO_EXCHANGE:
            return False
        raise OSError(number, os.strerror(number), self._way.path_of(second))

    def link(self, source: str, target: str, *, to: Folder | None = None) -> bool:
        """Give a file a second name, here or in another folder; False where the file system cannot."""
        other = to or self
        with (
            self._way.parent(source) as (given, name),
            other._way.parent(target) as (taken, new),
            self._way.with_full_path(source),
        ):
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

    def clone(self, source: str, target: str, *, to: Folder | None = None) -> bool:
        """Make a new file that shares its space with another until one of them changes; False where that cannot be."""
        with self.open(source) as given:
            try:
                with (to or self).create(target) as taken:
                    _share_space(given, taken)
            except _NoCloneError:
                return False
        return True

    def chmod(self, file: str, mode: int) -> None:
        """Set the access rights of a regular file or a folder."""
        with self._way.parent(file) as (at, name), self._way.with_full_path(file):
            if sys.platform == "win32" or at.descriptor is None:
                if is_link(os.lstat(at.name(name))):
                    raise OSError(errno.ELOOP, IS_LINK, at.name(name))
                os.chmod(at.name(name), mode)  # noqa: PTH101
                return
            descriptor = os.open(name, READ_FLAGS, dir_fd=at.descriptor)
            try:
                os.fchmod(descriptor, mode)
            finally:
                os.close(descriptor)

    def give_owner(self, folder: str, *, user: int, group: int) -> None:
        """Set owner and group of a folder, on systems that know them."""
        with self._way.opened(folder) as at, self._way.with_full_path(folder):
            if sys.platform != "win32" and at.descriptor is not None:
                os.fchown(at.descriptor, user, group)

    def set_times(self, file: str, *, accessed_ns: int, changed_ns: int) -> None:
        """Set the times of a file."""
        with self._way.parent(file) as (at, name), self._way.with_full_path(file):
            if at.descriptor is None:
                os.utime(at.name(name), ns=(accessed_ns, changed_ns))
            else:
                os.utime(name, ns=(accessed_ns, changed_ns), dir_fd=at.descriptor, follow_symlinks=False)

    def open_for_lock(self, file: str) -> IO[bytes]:
        """Return a file to hold a lock on, made where there is none and its folder too; read only where no more is
        allowed.
        """
        try:
            self.make_folder(file.rpartition("/")[0])
            flags = os.O_RDWR | os.O_CREAT | (READ_FLAGS & ~os.O_RDONLY)
            with self._way.parent(file) as (at, name), self._way.with_full_path(file):
                descriptor = os.open(at.name(name), flags, 0o666, dir_fd=at.descriptor)
        except OSError as error:
            if error.errno not in (errno.EACCES, errno.EPERM, errno.EROFS):
                raise
            with suppress(FileNotFoundError):
                return self.open(file)
            raise  # that it may not be made says more than that it is not there
        if not stat.S_ISREG(os.fstat(descriptor).st_mode):
            os.close(descriptor)
            raise OSError(errno.EINVAL, "not a regular file", self._way.path_of(file))
        return os.fdopen(descriptor, "r+b")

    def leads_to(self, name: str) -> str | None:
        """Return the target of a link directly in the folder, as it is written; None where there is no link."""
        with self._way.parent(name) as (at, last), suppress(OSError):
            return os.readlink(at.name(last), dir_fd=at.descriptor)
        return None

    # Removing

    def remove(self, file: str) -> bool:
        """Remove a file, or a link itself; False where nothing is there."""
        try:
            with self._way.parent(file) as (at, name), self._way.with_full_path(file):
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
            with self._way.parent(folder) as (at, name):
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
        status = self._way.own_status(name) if self._way.is_top(name) else self.status(name)
        if status is None:
            return False
        if not stat.S_ISDIR(status.st_mode):
            return self.remove(name)
        with self._way.parent(name) as (at, last), self._way.with_full_path(name):
            try:
                shutil.rmtree(at.name(last), dir_fd=at.descriptor)
            except RecursionError as error:  # hundreds of nested folders, which nobody made by hand
                reason = f"over {DEEPEST} nested folders; remove them"
                raise OSError(errno.ENAMETOOLONG, reason, self._way.path_of(name)) from error
        return True

    # To the disk

    def sync(self, folder: str = "") -> None:
        """Make renames in a folder durable, where the system can."""
        with self._way.opened(folder) as at:
            if at.descriptor is not None:
                os.fsync(at.descriptor)

    def sync_file(self, file: str) -> None:
        """Bring to disk what a program of the system wrote into a file."""
        with self._way.parent(file) as (at, name), self._way.with_full_path(file):
            descriptor = os.open(at.name(name), os.O_RDWR | (READ_FLAGS & ~os.O_RDONLY), dir_fd=at.descriptor)
            try:
                os.fsync(descriptor)
            finally:
                os.close(descriptor)


class _NoCloneError(Exception):
    pass


def _share_space(given: BufferedReader, taken: BufferedWriter) -> None:
    """Let a file share the space of another; where that cannot be, raise _NoCloneError."""
    if sys.platform == "win32":
        raise _NoCloneError
    import fcntl

    try:
        fcntl.ioctl(taken.fileno(), _FICLONE, given.fileno())
    except OSError as error:
        if error.errno in _NO_CLONE:
            raise _NoCloneError from error
        raise
