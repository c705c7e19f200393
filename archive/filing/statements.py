"""Facts stated of a new picture: from the options, the note beside it and the file itself."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from itertools import pairwise, product
from pathlib import Path
from typing import Any, Literal, TypeVar

from archive.errors import FactsError, SettingsError
from archive.model.choices import TimeMeaning
from archive.reading import Facts
from archive.records.capture_time import CaptureTime, TimeCandidate, capture_time, in_utc
from archive.records.record import CAPTURE_FACTS, PictureEntry, Record, Sidecar, read_sidecar
from archive.records.settings import InstrumentSettings, Settings, SiteSettings, find_named
from archive.records.toml_files import check_table

__all__ = ["AddOptions", "StatedFacts", "read_sidecar_of", "record_of", "stated_facts", "stated_time"]

_BESIDE = "the note beside it"
_IN_WORDS = {
    "fits": "the FITS header",
    "exif": "EXIF",
    "xmp": "XMP",
    "name": "the file's name",
    "png": "the PNG's texts",
}
_SAME_LENGTH_S = 1.0
_TOML_ENDINGS = tuple(product(".", "tT", "oO", "mM", "lL"))  # the usual one first
_ORIENTATION_KEYS = (
    "band",
    "north_angle_deg",
    "north_angle_sigma_deg",
    "mirrored",
    "drift_px",
    "drift_sigma_px",
    "drift_turn_deg",
)


@dataclass(frozen=True)
class AddOptions:
    """What the observer states for all pictures of one `add`; `drift` are two more files, and fit one picture.

    `unmeasured` pictures are filed though their disc cannot be measured, and none is looked for. `day` takes the place
    of the time of further pictures; it is one of the archive's kind of days.
    """

    time: datetime | None = None
    day: date | None = None
    instrument: str | None = None
    site: str | None = None
    observer: str | None = None
    north_angle_deg: float | None = None
    mirrored: bool | None = None
    note: str | None = None
    drift: tuple[Path, Path] | None = None
    unmeasured: bool = False


@dataclass(frozen=True)
class StatedFacts:
    """Time, site and instrument of a new picture, its other record keys, notes for its day, doubts for the observer."""

    when: CaptureTime
    site: SiteSettings
    instrument: InstrumentSettings
    keys: dict[str, Any]
    notes: tuple[str, ...]
    doubts: tuple[str, ...]


def read_sidecar_of(picture: Path) -> Sidecar:
    """Return the note `NAME.toml` beside a picture `NAME.png`, or an empty one; its ending may have capitals.

    Raises
    ------
    SettingsError
        The note has mistakes; each is a cause of its own. Or there are several.
    """
    # Each spelling is asked for: to list the folder for every picture of a large one would take far longer.
    spelt = [picture.with_suffix("".join(letters)) for letters in _TOML_ENDINGS]
    notes = [path for path in spelt if path.is_file()]
    others = [path for path in notes[1:] if not path.samefile(notes[0])]  # where capitals do not count they are one
    if others:
        names = ", ".join(path.name for path in (notes[0], *others))
        raise SettingsError(f"{picture}: several notes beside it: {names}; keep one of them")
    return read_sidecar(notes[0]) if notes else Sidecar()


def stated_facts(
    settings: Settings, options: AddOptions, sidecar: Sidecar, facts: Sequence[Facts], *, name: str
) -> StatedFacts:
    """Take each fact from the first source that has it: options, note beside the picture, FITS, EXIF, XMP, name.

    What the observer wrote must be right; impossible values in the file are left out, with a doubt for each.

    Parameters
    ----------
    settings : Settings
    options : AddOptions
    sidecar : Sidecar
    facts : sequence of Facts
        In order of trust.
    name : str
        The picture's name, for messages.

    Raises
    ------
    ArchiveError
        A time, site or instrument is missing, impossible or unknown; an option is out of range.
    """
    span = _Span.of(sidecar, settings.time_zone, name)
    facts, doubts = _believable(facts, name)
    keys = {key: _first(key, sidecar, *(found.capture for found in facts)) for key in CAPTURE_FACTS}
    if span.length_s is not None:
        keys["length_s"] = span.length_s
    if _impossible_stack(keys):  # the note's own pair was checked when it was read
        doubts += (_stack_doubt(name, keys),)
        keys["frames_stacked"] = sidecar.frames_stacked
        keys["frames_captured"] = sidecar.frames_captured
    candidates = _time_candidates(options, span, facts, sidecar.time_zone)
    when = _when(candidates, settings, facts, length_s=keys["length_s"], name=name)
    keys |= _orientation_keys(options, sidecar)
    return StatedFacts(
        when=when,
        site=_choose(settings.sites, options, sidecar, facts, what="site", name=name),
        instrument=_choose(settings.instruments, options, sidecar, facts, what="instrument", name=name),
        keys={key: value for key, value in keys.items() if value is not None}
        | _observer(settings, options, sidecar, name),
        notes=tuple(note.strip() for note in (options.note, sidecar.note) if note and note.strip()),
        doubts=(*when.doubts, *doubts),
    )


def stated_time(
    settings: Settings, options: AddOptions, sidecar: Sidecar, facts: Sequence[Facts], *, name: str
) -> CaptureTime:
    """Take the time alone, from the same sources as `stated_facts`.

    Raises
    ------
    ArchiveError
        A time is missing or impossible.
    """
    span = _Span.of(sidecar, settings.time_zone, name)
    candidates = _time_candidates(options, span, facts, sidecar.time_zone)
    return _when(candidates, settings, facts, length_s=span.length_s, name=name)


def _when(
    candidates: Sequence[TimeCandidate],
    settings: Settings,
    facts: Sequence[Facts],
    *,
    length_s: float | None,
    name: str,
) -> CaptureTime:
    return capture_time(
        candidates,
        zone_name=settings.time_zone,
        now_utc=datetime.now(UTC),
        length_s=length_s,
        name=name,
        saved=next((f"{one.saved} ({_IN_WORDS[one.source]})" for one in facts if one.saved is not None), None),
    )


def record_of(stated: StatedFacts, picture: PictureEntry, *, measured: bool = True) -> Record:
    """Return the record to be kept."""
    fixed = {
        "time": stated.when.middle_utc,
        "time_from": stated.when.source,
        "start": stated.when.start_utc,
        "site": stated.site.name,
        "instrument": stated.instrument.name,
        "picture": picture,
        "measured": measured,
    }
    return Record.model_validate({**stated.keys, **fixed})


def _first(key: str, *sources: Any) -> Any:
    return next((getattr(source, key) for source in sources if getattr(source, key) is not None), None)


def _believable(facts: Sequence[Facts], name: str) -> tuple[tuple[Facts, ...], tuple[str, ...]]:
    """Return the facts that a record may hold, and a doubt for each one left out."""
    kept, doubts = [], []
    for found in facts:
        source = f"{name} ({_IN_WORDS[found.source]})"
        without: dict[str, None] = {}
        for key in CAPTURE_FACTS:
            try:
                check_table(Sidecar, {key: getattr(found.capture, key)}, name=source)
            except SettingsError as error:
                doubts.append(f"{error.causes[0]}; left out")
                without[key] = None
        believable = dataclasses.replace(found.capture, **without)
        kept.append(dataclasses.replace(found, capture=believable))
    return tuple(kept), tuple(doubts)


def _impossible_stack(keys: dict[str, Any]) -> bool:
    captured, stacked = keys["frames_captured"], keys["frames_stacked"]
    return captured is not None and stacked is not None and stacked > captured


def _stack_doubt(name: str, keys: dict[str, Any]) -> str:
    return (
        f"{name}: frames_stacked = {keys['frames_stacked']} is more than frames_captured = {keys['frames_captured']}; "
        "what the file says of them is left out"
    )


def _orientation_keys(options: AddOptions, sidecar: Sidecar) -> dict[str, Any]:
    """Return band, angle, mirroring and drift; a standard error belongs to the angle that it was stated with."""
    keys = {key: getattr(sidecar, key) for key in _ORIENTATION_KEYS}
    if options.north_angle_deg is not None:
        stated = check_table(Sidecar, {"north_angle_deg": options.north_angle_deg}, name="--north-angle")
        keys |= {"north_angle_deg": stated.north_angle_deg, "north_angle_sigma_deg": None}
    if options.mirrored is not None:
        keys["mirrored"] = options.mirrored
    return keys


@dataclass(frozen=True)
class _Span:
    """Start, middle, end and length as the note beside the picture gives them, times in UTC."""

    start: datetime | None
    middle: datetime | None
    end: datetime | None
    length_s: float | None

    @classmethod
    def of(cls, sidecar: Sidecar, archive_zone: str, name: str) -> _Span:
        """Return the span of a note, in UTC before anything is calculated: local times do not subtract across DST."""
        times = {
            key: None
            if moment is None
            else in_utc(moment, zone_name=sidecar.time_zone or archive_zone, source=f"{key} in {_BESIDE}", name=name)
            for key, moment in (("start", sidecar.start), ("time", sidecar.time), ("end", sidecar.end))
        }
        known = [(key, moment) for key, moment in times.items() if moment is not None]
        for (early_key, early), (late_key, late) in pairwise(known):
            if late < early:
                raise FactsError(
                    f"{name}: {_BESIDE}: {late_key} {late:%Y-%m-%dT%H:%M:%SZ} is before "
                    f"{early_key} {early:%Y-%m-%dT%H:%M:%SZ}; correct them"
                )
        start, end = times["start"], times["end"]
        length_s = sidecar.length_s
        if start is not None and end is not None:
            length_s = (end - start).total_seconds()
            _refuse_other_length(length_s, sidecar.length_s, name)
        return cls(start, times["time"], end, length_s)


def _refuse_other_length(length_s: float, stated_s: float | None, name: str) -> None:
    """Start and end in the note must leave a length that a record may hold, and the one that is stated."""
    check_table(Sidecar, {"length_s": length_s}, name=f"{name}: {_BESIDE}: from start to end")
    if stated_s is not None and abs(length_s - stated_s) > _SAME_LENGTH_S:
        raise FactsError(
            f"{name}: {_BESIDE}: length_s = {stated_s:g}, but from start to end are {length_s:g} s; correct one of them"
        )


def _time_candidates(
    options: AddOptions, span: _Span, facts: Sequence[Facts], note_zone: str | None
) -> list[TimeCandidate]:
    """Return every known time, in order of trust; of the note's the middle, else the start, else the end.

    The note's zone is that of the picture's other times, too, where they come without one.
    """
    candidates = [] if options.time is None else [TimeCandidate("--time", options.time, "middle")]
    stated: tuple[tuple[TimeMeaning, datetime | None], ...] = (
        ("middle", span.middle),
        ("start", span.start),
        ("end", span.end),
    )
    candidates += [TimeCandidate(_BESIDE, moment, meaning) for meaning, moment in stated if moment is not None][:1]
    for found in facts:
        if found.time is not None:
            source, time = _IN_WORDS[found.source], found.time
            candidates.append(TimeCandidate(source, time.value, time.meaning, note_zone, time.doubt, time.zone))
    return candidates


def _observer(settings: Settings, options: AddOptions, sidecar: Sidecar, name: str) -> dict[str, str]:
    """Return the observer stated, as archive.toml spells it; nothing where none is."""
    for source, wanted in (("--observer", options.observer), (f"{name}: {_BESIDE}: observer", sidecar.observer)):
        if wanted is not None:
            try:
                return {"observer": settings.observer_of(wanted)}
            except SettingsError as error:
                known = ", ".join(settings.observer_names)
                raise FactsError(f"{source} {wanted!r}: not in archive.toml (known: {known}); add it there") from error
    return {}


Named = TypeVar("Named", SiteSettings, InstrumentSettings)


def _choose(
    entries: Sequence[Named],
    options: AddOptions,
    sidecar: Sidecar,
    facts: Sequence[Facts],
    *,
    what: Literal["site", "instrument"],
    name: str,
) -> Named:
    """Return the entry stated; else the only one there is; else the one that the file names, if it is known."""
    known = ", ".join(entry.name for entry in entries)
    for source, wanted in (
        (f"--{what}", getattr(options, what)),
        (f"{name}: {_BESIDE}: {what}", getattr(sidecar, what)),
    ):
        if wanted is not None:
            try:
                return find_named(entries, wanted, what=what)
            except SettingsError as error:
                raise FactsError(f"{source} {wanted!r}: not in archive.toml (known: {known}); add it there") from error
    if len(entries) == 1:
        return entries[0]
    for found in facts:
        try:
            return find_named(entries, getattr(found, what) or "", what=what)
        except SettingsError:
            continue
    raise FactsError(f"{name}: which {what}? give --{what} with one of: {known}")
