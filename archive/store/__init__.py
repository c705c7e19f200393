"""Store of all derived data: one SQLite file, a folder of blobs, one way to derive, one way to forget."""

from archive.model.blob import NO_BLOB, Blob
from archive.store.blobs import DamagedBlobError, StoredBlob
from archive.store.digest import digest
from archive.store.store import Store, made_from

__all__ = ["NO_BLOB", "Blob", "DamagedBlobError", "Store", "StoredBlob", "digest", "made_from"]
