"""The one door to the disk: files of an archive, a site or a target are reached through a `Folder`, and nowhere else.

A `Folder` reaches what lies below it by names with forward slashes, through directory descriptors where the system has
them, so that no link below it is followed and no name leads out of it, whatever somebody put there and whenever. New
bytes are written under a new temporary name, synced and renamed. What the user names on the command
line is read by `open_named`; what comes with the program by `read_own`. `tests/test_one_door.py` holds this.
"""

from archive.disk.folder import TEMPORARY_SUFFIX, Folder, Stamp, StoredFile, stamp_of
from archive.disk.named import (
    make_named_folder,
    names_in_named,
    open_named,
    read_named,
    read_own,
    sync_disk,
    walk_named,
)
from archive.disk.reaching import is_safe_name
from archive.disk.stamps import stamp_digest, stamps_digest, summed

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
    "stamp_digest",
    "stamp_of",
    "stamps_digest",
    "summed",
    "sync_disk",
    "walk_named",
]
