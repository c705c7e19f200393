"""The record of one picture, stated and read from the file, editable by hand; also the note beside a new one."""

from __future__ import annotations

from pathlib import Path, PurePosixPath
from typing import Annotated

import tomlkit
from pydantic import AfterValidator, BeforeValidator, Field, ValidationInfo, field_validator

from archive.disk import Folder
from archive.errors import SettingsError
from archive.model.choices import Band
from archive.model.observation import Capture
from archive.records.corrections import Dust, StatedCounts, StatedGroup
from archive.records.places import PICTURE_SUFFIXES
from archive.records.toml_files import TomlModel, parse_toml, read_named_toml, read_toml
from archive.records.value_kinds import AwareTime, PlainTime, Text, YesNoOrBool, Zone

__all__ = [
    "CAPTURE_FACTS",
    "PictureEntry",
    "Record",
    "Sidecar",
    "capture_of",
    "check_picture",
    "read_record",
    "read_sidecar",
    "record_text",
]

CAPTURE_FACTS = (
    "length_s",
    "filter",
    "exposure_s",
    "gain",
    "binning",
    "frames_captured",
    "frames_stacked",
    "seeing",
    "transparency",
)


def _inside_archive(file: str) -> str:
    year, _, rest = file.partition("/")
    day, _, name = rest.partition("/")
    if not (day.startswith(f"{year}-") and name and not name.startswith(".") and not set(name) & set("/\\")):
        raise ValueError("must be the picture's place in the archive, such as 2026/2026-06-03/0915Z.png")
    return file


def _of_64_digits(sha256: str) -> str:
    if len(sha256) != 64 or set(sha256) - set("0123456789abcdef"):
        raise ValueError("must be 64 digits 0 to 9 and a to f, as in checksums.sha256")
    return sha256


def _writable_name(name: object) -> object:
    """Return a file's name with bytes that are not valid text written as escapes."""
    return name.encode("utf-8", "backslashreplace").decode("utf-8") if isinstance(name, str) else name


_DriftPx = Annotated[float, Field(ge=-100000, le=100000)]


class _StatedKeys(TomlModel):
    """Keys that a record and a note beside a new picture share."""

    length_s: float | None = Field(default=None, ge=0, le=86400)
    site: Text | None = None
    instrument: Text | None = None
    observer: Text | None = None
    band: Band | None = None
    filter: Text | None = None
    exposure_s: float | None = Field(default=None, gt=0, le=86400)
    gain: float | None = Field(default=None, ge=-1000, le=100000)
    binning: int | None = Field(default=None, ge=1, le=64)
    frames_captured: int | None = Field(default=None, ge=1, le=10**9)
    frames_stacked: int | None = Field(default=None, ge=1, le=10**9)
    seeing: float | None = Field(default=None, ge=1, le=5)
    transparency: Text | None = None
    north_angle_deg: float | None = Field(default=None, ge=-360, le=360)
    north_angle_sigma_deg: float | None = Field(default=None, gt=0, le=180)
    mirrored: YesNoOrBool | None = None
    drift_px: tuple[_DriftPx, ...] | None = None
    drift_sigma_px: float | None = Field(default=None, gt=0, le=10000)
    drift_turn_deg: float | None = Field(default=None, ge=-180, le=180)

    @field_validator("drift_px")
    @classmethod
    def _with_a_direction(cls, drift_px: tuple[float, ...] | None) -> tuple[float, ...] | None:
        if drift_px is not None and len(drift_px) != 2:
            raise ValueError("must be two numbers, pixels to the right and down")
        if drift_px is not None and max(map(abs, drift_px)) < 1.0:
            raise ValueError("is less than a pixel, which has no direction; remove it")
        return drift_px

    @field_validator("drift_sigma_px", "drift_turn_deg")
    @classmethod
    def _of_a_drift(cls, value: float | None, info: ValidationInfo) -> float | None:
        if value is not None and info.data.get("drift_px", value) is None:
            raise ValueError("is of drift_px, which is missing; add that")
        return value

    @field_validator("frames_stacked")
    @classmethod
    def _stacked_within_captured(cls, stacked: int | None, info: ValidationInfo) -> int | None:
        captured = info.data.get("frames_captured")
        if stacked and captured and stacked > captured:
            raise ValueError(f"is more than frames_captured = {captured}; are they exchanged?")
        return stacked

    @field_validator("north_angle_sigma_deg")
    @classmethod
    def _sigma_of_an_angle(cls, sigma_deg: float | None, info: ValidationInfo) -> float | None:
        if sigma_deg is not None and info.data.get("north_angle_deg", sigma_deg) is None:
            raise ValueError("is the standard error of north_angle_deg, which is missing; add that")
        return sigma_deg

    @property
    def stated_mirrored(self) -> bool | None:
        """Whether the picture is said to be mirrored; None where nothing is said."""
        return None if self.mirrored is None else self.mirrored == "yes"


class PictureEntry(TomlModel):
    """Which original the record belongs to; `original_name` is what its file was called before it was filed."""

    file: Annotated[Text, AfterValidator(_inside_archive)]
    sha256: Annotated[str, AfterValidator(_of_64_digits)]
    original_name: Annotated[str, BeforeValidator(_writable_name), Field(max_length=2000)] | None = None


class Record(_StatedKeys):
    """A picture's record in the archive; `time` is the middle of the capture.

    `counts` and `groups` replace what is measured (`groups = []`: none is there); nothing at a place of
    `dust` is a spot. Where it is not `measured` the picture is shown as it came, and stands in nothing else.
    """

    time: AwareTime
    time_from: Text | None = None
    start: AwareTime | None = None
    picture: PictureEntry
    counts: StatedCounts | None = None
    groups: tuple[StatedGroup, ...] | None = Field(default=None, max_length=1000)
    dust: tuple[Dust, ...] = Field(default=(), max_length=1000)
    measured: bool = True

    @property
    def is_counted(self) -> bool:
        """Whether it holds a count by hand."""
        return self.counts is not None or self.groups is not None


class Sidecar(_StatedKeys):
    """`NAME.toml` beside a new picture `NAME.png`; times without a zone are in `time_zone`, else the archive's zone."""

    time: PlainTime | None = None
    start: PlainTime | None = None
    end: PlainTime | None = None
    time_zone: Zone | None = None
    note: str | None = Field(default=None, max_length=20000)


def read_record(files: Folder, file: str) -> Record:
    """Read and check a record of the archive.

    Parameters
    ----------
    file : str
        Relative to the archive; also one in `removed/`.

    Raises
    ------
    SettingsError
        Every mistake is a cause of its own; a record that names another observation's picture has one.
    """
    record = read_toml(files, file, Record)
    check_picture(record, file, name=str(files.path / file))
    return record


def check_picture(record: Record, file: str, *, name: str) -> None:
    """Refuse a record whose picture is not its own: the one in the same folder with the same stem.

    Raises
    ------
    SettingsError
    """
    own = "/".join(file.removesuffix(".toml").split("/")[-3:])
    stem, dot, ending = record.picture.file.rpartition(".")
    if stem != own or f"{dot}{ending}" not in PICTURE_SUFFIXES:
        raise SettingsError(
            f"{name}: picture.file = {record.picture.file!r}: not this record's own picture, which is "
            f"{own}{_endings(record.picture.file)}; correct it, or remove the record"
        )


def _endings(file: str) -> str:
    """Return the extension that a picture's name has, or those that it may have."""
    ending = PurePosixPath(file).suffix
    return ending if ending in PICTURE_SUFFIXES else " with " + ", ".join(sorted(PICTURE_SUFFIXES))


def read_sidecar(path: Path) -> Sidecar:
    """Read and check the note beside a new picture.

    Raises
    ------
    SettingsError
        Every mistake is a cause of its own.
    """
    return read_named_toml(path, Sidecar)


def capture_of(record: Record) -> Capture:
    """Return the capture facts of a record."""
    return Capture(start_utc=record.start, **{key: getattr(record, key) for key in CAPTURE_FACTS})


_COMMENTS = {
    "time": "middle of the capture, UTC",
    "time_from": "where the time was found",
    "measured": "shown as it came; not oriented, counted or filmed",
    "length_s": "of the whole capture",
    "seeing": "1 (worst) to 5 (best)",
    "north_angle_deg": "from the picture's up to solar north, counter-clockwise, un-mirrored",
    "drift_px": "motion of the disc with tracking off: right, down",
    "drift_sigma_px": "standard error of either",
    "drift_turn_deg": "turn of north since then, counter-clockwise, un-mirrored",
}


def record_text(record: Record) -> str:
    """Return the record as TOML, known keys only, one a line."""
    document = tomlkit.document()
    document.add(
        tomlkit.comment("What is known of this picture. Edit by hand; only `northlimb amend` changes this file.")
    )
    kept = record.model_dump(exclude_none=True)
    if record.measured:
        del kept["measured"]
    for key in ("time", "time_from", "start", "measured", *_StatedKeys.model_fields):
        if key in kept:
            item = tomlkit.item(kept[key])
            document.add(key, item.comment(_COMMENTS[key]) if key in _COMMENTS else item)
    picture = tomlkit.table()
    for key, value in kept["picture"].items():
        picture.add(key, value)
    document.add("picture", picture)
    text = tomlkit.dumps(document)
    parse_toml(text, Record, name="record")
    return text
