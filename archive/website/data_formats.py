"""Plain data as bytes: figures rounded to what they mean, JSON and CSV.

References
----------
RFC 8259 (JSON); RFC 4180 (CSV).
"""

from __future__ import annotations

import csv
import io
import json
import math
from collections.abc import Collection, Mapping, Sequence
from datetime import datetime

import msgspec

from archive.website.data_columns import Column

__all__ = ["Record", "csv_bytes", "json_bytes", "rounded", "rounded_by", "time_text"]

Record = dict[str, object]


def time_text(time_utc: datetime) -> str:
    """Write a UTC time to the second, as ISO 8601."""
    return f"{time_utc.replace(tzinfo=None).isoformat(timespec='seconds')}Z"


def rounded(value: float | None, decimals: int) -> float | None:
    """Round; what is not a finite figure is not known."""
    if value is None or not math.isfinite(value):
        return None
    return round(float(value), decimals) + 0.0  # -0.0 becomes 0.0


def rounded_by(value: float | None, sigma: float | None, decimals: int) -> float | None:
    """Round to two digits of the standard error, and to so many decimals at most."""
    if not sigma or not math.isfinite(sigma):
        return rounded(value, decimals)
    return rounded(value, min(decimals, 1 - math.floor(math.log10(sigma))))


def json_bytes(value: object) -> bytes:
    """Write JSON, a line a value; a figure that is not finite is null."""
    return msgspec.json.format(msgspec.json.encode(value), indent=1) + b"\n"


def csv_bytes(columns: Sequence[Column], records: Sequence[Record]) -> bytes:
    """Write a table with a row a record; names inside other names are joined by ``_``."""
    stream = io.StringIO(newline="")
    writer = csv.writer(stream, lineterminator="\r\n")
    names = [column.name for column in columns]
    wanted = frozenset(names)
    writer.writerow(names)
    for record in records:
        flat: Record = {}
        _flatten(record, "", wanted, flat)
        # Without an alternative reading its columns are missing here, and stay empty, as does what is None.
        writer.writerow(map(flat.get, names))
    return stream.getvalue().encode()


def _flatten(record: Mapping[str, object], prefix: str, wanted: Collection[str], flat: Record) -> None:
    """Bring wanted names inside other names to one level, joined by ``_``; what a table cannot hold becomes JSON."""
    for name, value in record.items():
        column = prefix + name
        if isinstance(value, dict):
            _flatten(value, f"{column}_", wanted, flat)
        elif column in wanted:
            flat[column] = json.dumps(value, ensure_ascii=False) if isinstance(value, bool | list) else value
