"""The record of one picture: what was stated and what the file said, hand-editable; and the note beside a new picture."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated, Literal

import tomlkit
from pydantic import AfterValidator, Field, model_validator

from archive.observation import Band, Capture
from archive.records.toml_files import TomlModel, parse_toml, read_toml

__all__ = ["PictureEntry", "Record", "Sidecar", "capture_of", "read_record", "read_sidecar", "record_text"]

Text = Annotated[str, Field(min_length=1, max_length=200)]


def _aware_in_utc(moment: datetime) -> datetime:
    if moment.tzinfo is None:
        raise ValueError("a time without a zone; write it in UTC with a Z, such as 2026-06-03T09:15:00Z")
    return moment.astimezone(UTC)


AwareTime = Annotated[datetime, AfterValidator(_aware_in_utc)]


class _CaptureKeys(TomlModel):
    """Keys that a record and a note beside a new picture share."""

    length_s: float | None = Field(default=None, ge=0, le=86400)
    site: Text | None = None
    instrument: Text | None = None
    band: Band | None = None
    filter: Text | None = None
    exposure_s: float | None = Field(default=None, gt=0, le=86400)
    gain: float | None = Field(default=None, ge=-1000, le=100000)
    binning: int | None = Field(default=None, ge=1, le=64)
    frames_captured: int | None = Field(default=None, ge=1)
    frames_stacked: int | None = Field(default=None, ge=1)
    seeing: float | None = Field(default=None, ge=1, le=5)
    transparency: Text | None = None
    north_angle_deg: float | None = Field(default=None, ge=-360, le=360)
    north_angle_sigma_deg: float | None = Field(default=None, gt=0, le=180)
    mirrored: bool | Literal["yes", "no"] | None = None

    @model_validator(mode="after")
    def _stacked_within_captured(self) -> _CaptureKeys:
        if self.frames_captured and self.frames_stacked and self.frames_stacked > self.frames_captured:
            raise ValueError(
                f"frames_stacked = {self.frames_stacked} is more than frames_captured = {self.frames_captured}; "
                "are they exchanged?"
            )
        return self

    @property
    def stated_mirrored(self) -> bool | None:
        return self.mirrored if self.mirrored is None or isinstance(self.mirrored, bool) else self.mirrored == "yes"


class PictureEntry(TomlModel):
    """Which original the record belongs to."""

    file: Text
    sha256: str = Field(pattern=r"^[0-9a-f]{64}$")
    original_name: str | None = None


class Record(_CaptureKeys):
    """A picture's record in the archive; `time` is the middle of the capture."""

    time: AwareTime
    time_from: Text | None = None
    start: AwareTime | None = None
    picture: PictureEntry


class Sidecar(_CaptureKeys):
    """`NAME.toml` beside a new picture `NAME.png`; times without a zone are in `time_zone`, else the archive's zone."""

    time: datetime | None = None
    start: datetime | None = None
    end: datetime | None = None
    time_zone: str | None = None
    note: str | None = Field(default=None, max_length=20000)


def read_record(path: Path) -> Record:
    """Read and check a record of the archive."""
    return read_toml(path, Record)


def read_sidecar(path: Path) -> Sidecar:
    """Read and check the note beside a new picture."""
    return read_toml(path, Sidecar)


def capture_of(record: Record) -> Capture:
    """The capture facts of a record."""
    return Capture(
        start_utc=record.start,
        **{
            key: getattr(record, key)
            for key in (
                "length_s", "filter", "exposure_s", "gain", "binning",
                "frames_captured", "frames_stacked", "seeing", "transparency",
            )
        },
    )  # fmt: skip


_COMMENTS = {
    "time": "middle of the capture, UTC",
    "time_from": "where the time was found",
    "length_s": "of the whole capture",
    "seeing": "1 (best) to 5",
    "north_angle_deg": "from the picture's up to solar north, counter-clockwise, un-mirrored",
}


def record_text(record: Record) -> str:
    """The record as TOML, known keys only, one a line."""
    document = tomlkit.document()
    document.add(tomlkit.comment("What is known of this picture. Edit by hand; the program never changes this file."))
    for key, value in record.model_dump(exclude_none=True, exclude={"picture"}).items():
        item = tomlkit.item(value)
        if key in _COMMENTS:
            item.comment(_COMMENTS[key])
        document.add(key, item)
    picture = tomlkit.table()
    for key, value in record.picture.model_dump(exclude_none=True).items():
        picture.add(key, value)
    document.add("picture", picture)
    text = tomlkit.dumps(document)
    parse_toml(text, Record, name="record")
    return text
