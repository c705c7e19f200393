"""Takes away from Python what other systems lack: on ``PYTHONPATH``, it is loaded by every process of a test.

Facts of the systems: Python's documentation of `os`, `signal` and `ctypes` ("Availability"), and Microsoft, "Naming
Files, Paths, and Namespaces" (reserved names and characters; an open file keeps its name, common practice).
"""

import errno
import os
import re
import signal
import stat
from contextlib import suppress

_LACKING = "fork forkpty sync copy_file_range fchmod fchown chown O_NOFOLLOW O_DIRECTORY".split()
_RESERVED = re.compile(r"(?i)(con|prn|aux|nul|com[1-9]|lpt[1-9])(\..*)?$")
_REFUSED = re.compile(r'[<>:"|?*\x00-\x1f]|[. ]$')


def _take_away() -> None:
    for name in _LACKING:
        with suppress(AttributeError):
            delattr(os, name)
    with suppress(AttributeError):
        del signal.pthread_sigmask
    os.supports_dir_fd.clear()
    os.supports_fd.clear()
    os.supports_follow_symlinks.clear()
    _refuse_links()
    _refuse_names()


def _refuse_links() -> None:
    def refused(*_: object, **__: object) -> None:
        raise OSError(errno.EPERM, "no links here")

    os.symlink = os.link = refused


def _refuse_names() -> None:
    plain = {name: getattr(os, name) for name in ("open", "mkdir", "rename", "replace", "unlink", "remove")}

    def check(path: object) -> None:
        text = os.fsdecode(path)
        if text.startswith(("/proc", "/dev")) and not text.startswith("/dev/shm"):
            return
        for part in text.split("/"):
            if part not in ("", ".", "..") and (_RESERVED.match(part) or _REFUSED.search(part)):
                raise OSError(errno.EINVAL, "no name of a file here", text)

    def is_open(path: object) -> bool:
        try:
            there = os.lstat(path)
        except OSError:
            return False
        with os.scandir("/proc/self/fd") as descriptors:
            for descriptor in descriptors:
                with suppress(OSError):
                    if stat.S_ISREG(there.st_mode) and os.path.samestat(there, os.fstat(int(descriptor.name))):
                        return True
        return False

    def check_free(path):
        """An open file can be neither replaced nor removed."""
        if is_open(path):
            raise PermissionError(errno.EACCES, "the file is in use", os.fsdecode(path))

    def opened(path, flags, *more, **options):
        if flags & os.O_CREAT:
            check(path)
        return plain["open"](path, flags, *more, **options)

    def made(path, *more, **options):
        check(path)
        return plain["mkdir"](path, *more, **options)

    def moved(name):
        def move(source, target, **options):
            check(target)
            check_free(source)
            check_free(target)
            return plain[name](source, target, **options)

        return move

    def gone(name):
        def remove(path, **options):
            check_free(path)
            return plain[name](path, **options)

        return remove

    os.open, os.mkdir = opened, made
    os.rename, os.replace = moved("rename"), moved("replace")
    os.unlink, os.remove = gone("unlink"), gone("remove")


_take_away()
