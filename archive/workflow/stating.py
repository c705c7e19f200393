"""What is stated of a new picture, out of the options, the note beside it and the file itself."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from archive.errors import FactsError, SettingsError
from archive.reading import Facts
from archive.records.capture_time import CaptureTime, TimeCandidate, capture_time
from archive.records.record import PictureEntry, Record, Sidecar, read_sidecar
from archive.records.settings import InstrumentSettings, Settings, SiteSettings, find_named

__all__ = ["AddOptions", "Stated", "read_sidecar_of", "record_of", "stated_facts"]

_CAPTURE_KEYS = (
    "length_s", "filter", "exposure_s", "gain", "binning", "frames_captured", "frames_stacked", "seeing", "transparency",
)  # fmt: skip
_IN_WORDS = {"fits": "the FITS header", "exif": "EXIF", "name": "the file's name"}


@dataclass(frozen=True)
class AddOptions:
    """What the observer states for all pictures of one `add`."""

    time: datetime | None = None
    instrument: str | None = None
    site: str | None = None
    north_angle_deg: float | None = None
    mirrored: bool | None = None
    note: str | None = None


@dataclass(frozen=True)
class Stated:
    """Time, site and instrument of a new picture, its other record keys, and notes for its day."""

    when: CaptureTime
    site: SiteSettings
    instrument: InstrumentSettings
    keys: dict[str, Any]
    notes: tuple[str, ...]


def read_sidecar_of(picture: Path) -> Sidecar:
    """The note `NAME.toml` beside a picture `NAME.png`, or an empty one."""
    path = picture.with_suffix(".toml")
    return read_sidecar(path) if path.is_file() else Sidecar()


def stated_facts(
    settings: Settings, options: AddOptions, sidecar: Sidecar, facts: Sequence[Facts], *, name: str
) -> Stated:
    """Take each fact from the first source that has it: options, note beside the picture, FITS, EXIF, name.

    Raises
    ------
    ArchiveError
        A time, site or instrument is missing, impossible or unknown.
    """
    keys = {key: _first(key, sidecar, *facts) for key in _CAPTURE_KEYS}
    keys["band"] = sidecar.band
    keys["north_angle_deg"] = _either(options.north_angle_deg, sidecar.north_angle_deg)
    keys["north_angle_sigma_deg"] = sidecar.north_angle_sigma_deg if options.north_angle_deg is None else None
    keys["mirrored"] = _either(options.mirrored, sidecar.stated_mirrored)
    when = capture_time(
        _time_candidates(options, sidecar, facts, name=name),
        zone_name=settings.time_zone,
        now_utc=datetime.now(UTC),
        length_s=keys["length_s"],
        name=name,
    )
    return Stated(
        when=when,
        site=_choose(settings.sites, options.site or sidecar.site, _first("site", *facts), what="site", name=name),
        instrument=_choose(
            settings.instruments,
            options.instrument or sidecar.instrument,
            _first("instrument", *facts),
            what="instrument",
            name=name,
        ),
        keys={key: value for key, value in keys.items() if value is not None},
        notes=tuple(note for note in (options.note, sidecar.note) if note and note.strip()),
    )


def record_of(stated: Stated, picture: PictureEntry) -> Record:
    """The record to be kept; facts of the file that no record may hold are left out."""
    fixed = {
        "time": stated.when.middle_utc.replace(microsecond=0),
        "time_from": stated.when.source,
        "start": stated.when.start_utc.replace(microsecond=0) if stated.when.start_utc else None,
        "site": stated.site.name,
        "instrument": stated.instrument.name,
        "picture": picture,
    }
    return Record.model_validate({**stated.keys, **fixed})


def _first(key: str, *sources: Any) -> Any:
    return next((getattr(source, key) for source in sources if getattr(source, key) is not None), None)


def _either(first: Any, second: Any) -> Any:
    return second if first is None else first


def _time_candidates(
    options: AddOptions, sidecar: Sidecar, facts: Sequence[Facts], *, name: str
) -> list[TimeCandidate]:
    candidates = []
    if options.time is not None:
        candidates.append(TimeCandidate("--time", options.time, "middle"))
    beside = Path(name).with_suffix(".toml").name
    if sidecar.start is not None and sidecar.end is not None and sidecar.time is None:
        start, end = (_zoned(moment, sidecar, beside) for moment in (sidecar.start, sidecar.end))
        if end < start:
            raise FactsError(f"{beside}: end {end.isoformat()} is before start {start.isoformat()}; exchange them")
        candidates.append(TimeCandidate(beside, start + (end - start) / 2, "middle", (end - start).total_seconds()))
    elif sidecar.time is not None:
        candidates.append(TimeCandidate(beside, _zoned(sidecar.time, sidecar, beside), "middle"))
    elif sidecar.start is not None:
        candidates.append(TimeCandidate(beside, _zoned(sidecar.start, sidecar, beside), "start"))
    elif sidecar.end is not None:
        candidates.append(TimeCandidate(beside, _zoned(sidecar.end, sidecar, beside), "end"))
    for found in facts:
        if found.time is not None:
            source = _IN_WORDS[found.source]
            candidates.append(TimeCandidate(source, found.time.value, found.time.meaning, found.length_s))
    return candidates


def _zoned(moment: datetime, sidecar: Sidecar, beside: str) -> datetime:
    if moment.tzinfo is not None or sidecar.time_zone is None:
        return moment
    try:
        return moment.replace(tzinfo=ZoneInfo(sidecar.time_zone))
    except (KeyError, ValueError, OSError) as error:
        raise FactsError(f"{beside}: time_zone = {sidecar.time_zone!r}: no such zone; use a name such as Europe/London") from error


def _choose(entries: Sequence[Any], stated: str | None, found: str | None, *, what: str, name: str) -> Any:
    """The entry stated; else the one that the file names, if it is known; else the only one there is."""
    if stated is not None:
        return find_named(entries, stated, what=what)
    if len(entries) == 1:
        return entries[0]
    if found is not None:
        try:
            return find_named(entries, found, what=what)
        except SettingsError:
            pass
    known = ", ".join(entry.name for entry in entries)
    raise FactsError(f"{name}: which {what}? give --{what} with one of: {known}")
