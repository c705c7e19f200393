"""Digests of values: equal for equal ones, else different."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import Any

import msgspec

__all__ = ["DIGEST_BYTES", "digest", "encoded"]

DIGEST_BYTES = 16


def digest(value: object) -> bytes:
    """Return a digest of a value.

    Parameters
    ----------
    value : object
        Made of plain values, dataclasses, arrays of numpy and paths. The keys of a mapping are strings.
    """
    return hashlib.blake2b(_encoder.encode(value), digest_size=DIGEST_BYTES).digest()


def encoded(value: object) -> bytes:
    """Return a value as MessagePack, from which `msgspec` makes it again."""
    return _value_encoder.encode(value)


def _plain(value: Any) -> object:
    """Return what the encoder knows in place of what it does not: markup, paths, numbers and arrays of numpy."""
    if isinstance(value, str):
        return str.__str__(value)
    if isinstance(value, Path):
        return str(value)
    if getattr(value, "ndim", 0):
        return [value.dtype.str, value.shape, value.tobytes()]
    return value.item()


_encoder = msgspec.msgpack.Encoder(enc_hook=_plain, order="deterministic")
_value_encoder = msgspec.msgpack.Encoder(enc_hook=_plain)
