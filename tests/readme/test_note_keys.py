"""Every key of the note beside a picture, as the README shows it, is changed and seen to take effect."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from scenes.discs import Spot

from archive.records.record import Sidecar
from readme.small import answer_of, draw, new_archive
from readme.text import block_with, keys_of, with_value

NOTE = block_with("start = 2026-06-03T10:14:10").text
SPOT = Spot(10.0, 5.0, 4.0)
MORE = """
[[sites]]
name = "Pier"
latitude_deg = -10.0
longitude_deg = 20.0

[[instruments]]
name = "Pier refractor"

[[observers]]
name = "B. Wren"
"""


@dataclass(frozen=True)
class Filed:
    """What came of one `add`: its answer, the record, the day's notes, and what `show` tells."""

    added: Any
    record: dict[str, Any]
    notes: str
    shown: Any

    def drift(self) -> Any:
        """The piece of evidence that the drift gave."""
        (found,) = [one for one in self.added["orientation"]["evidence"] if one["kind"] == "drift"]
        return found


def captured(key: str) -> Callable[[Filed], object]:
    """A capture fact where `show` tells it, which is what the record holds."""

    def look(filed: Filed) -> object:
        assert filed.shown["capture"][key] == filed.record[key]
        return filed.shown["capture"][key]

    return look


# Each key: what is written instead, where it shows, and what stands there with the README's own value and with ours.
CHANGES: dict[str, tuple[str, Callable[[Filed], object], object, object]] = {
    "start": ("2026-06-03T10:20:10", lambda f: f.shown["time_utc"], "2026-06-03T09:15:00Z", "2026-06-03T09:21:00Z"),
    "observer": ('"B. Wren"', lambda f: f.shown["observer"], "A. Teal", "B. Wren"),
    "time_zone": ('"Europe/Paris"', lambda f: f.shown["time_utc"], "2026-06-03T09:15:00Z", "2026-06-03T08:15:00Z"),
    "length_s": ("160", lambda f: (f.record["length_s"], f.shown["time_utc"]), (100, "2026-06-03T09:15:00Z"),
                 (160, "2026-06-03T09:15:30Z")),
    "site": ('"Pier"', lambda f: f.shown["site"], "Quay", "Pier"),
    "instrument": ('"Pier refractor"', lambda f: f.shown["instrument"], "Doorstep", "Pier refractor"),
    "filter": ('"wedge"', captured("filter"), "full-aperture film, neutral density 5", "wedge"),
    "band": ('"h-alpha"', lambda f: f.shown["band"], "white", "h-alpha"),
    "exposure_s": ("0.002", captured("exposure_s"), 0.004, 0.002),
    "gain": ("120", captured("gain"), 0, 120),
    "binning": ("2", captured("binning"), 1, 2),
    "frames_captured": ("3000", captured("frames_captured"), 2100, 3000),
    "frames_stacked": ("150", captured("frames_stacked"), 200, 150),
    "seeing": ("2", captured("seeing"), 4, 2),
    "transparency": ('"clear"', captured("transparency"), "thin haze", "clear"),
    "north_angle_deg": ("-40.0", lambda f: f.shown["orientation"]["north_angle_deg"], 12.5, -40.0),
    "north_angle_sigma_deg": ("2.0", lambda f: f.shown["orientation"]["sigma_deg"], 0.5, 2.0),
    "mirrored": ("true", lambda f: f.shown["orientation"]["mirrored"], False, True),
    "drift_px": ("[176.9, -348.1]", lambda f: f.record["drift_px"], [348.1, -176.9], [176.9, -348.1]),
    "drift_sigma_px": ("8.0", lambda f: f.record["drift_sigma_px"], 0.8, 8.0),
    "drift_turn_deg": ("5.1", lambda f: f.record["drift_turn_deg"], 0.1, 5.1),
    "note": ('"Rain at noon."', lambda f: f.notes.strip(), "Steady air. A **fine** spot near the middle.",
             "Rain at noon."),
}  # fmt: skip


def file_with(note: str, folder: Path, capsys: pytest.CaptureFixture[str]) -> Filed:
    """File a picture with this note beside it in an archive of two sites and two instruments."""
    root = new_archive(folder / "my-sun")
    with (root / "archive.toml").open("a", encoding="utf-8") as settings:
        settings.write(MORE)
    picture = draw(folder / "tuesday.png", spots=(SPOT,))
    (folder / "tuesday.TOML").write_text(note, encoding="utf-8")
    (added,) = answer_of(capsys, "add", root, picture)["pictures"]
    (shown,) = answer_of(capsys, "show", root, added["id"])
    day = root / "2026" / "2026-06-03"
    record = tomllib.loads(next(day.glob("*.toml")).read_text(encoding="utf-8"))
    notes = day / "notes.md"
    return Filed(added, record, notes.read_text(encoding="utf-8") if notes.is_file() else "", shown)


@pytest.fixture(scope="module")
def as_printed() -> list[Filed]:
    """Holds what came of the README's own note, once a test has filed it."""
    return []


@pytest.fixture
def printed(as_printed: list[Filed], tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Filed:
    if not as_printed:
        (tmp_path / "printed").mkdir()
        as_printed.append(file_with(NOTE, tmp_path / "printed", capsys))
    return as_printed[0]


def test_the_readme_shows_every_key_of_a_note_and_none_that_is_not_there() -> None:
    assert sorted(keys_of(NOTE)) == sorted(CHANGES)
    in_comment = set(re.findall(r"\b(time|end)\b", NOTE.splitlines()[0].partition("#")[2]))
    assert {*CHANGES, *in_comment} == set(Sidecar.model_fields)


@pytest.mark.parametrize("key", CHANGES)
def test_a_key_of_the_note_takes_effect(
    key: str, printed: Filed, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    value, look, before, after = CHANGES[key]
    assert look(printed) == before
    changed = file_with(with_value(NOTE, key, value), tmp_path, capsys)
    assert look(changed) == after
    if key.startswith("drift_"):  # how much is measured in tests/whole/test_add_drift.py
        assert changed.drift() != printed.drift()


@pytest.mark.parametrize(
    ("instead", "time_utc"),
    [
        ("time = 2026-06-03T10:31:00", "2026-06-03T09:31:00Z"),
        ("start = 2026-06-03T10:40:00\nend = 2026-06-03T10:41:40", "2026-06-03T09:40:50Z"),
    ],
    ids=["the middle", "start and end"],
)
def test_the_time_may_be_given_as_the_comment_says(
    instead: str, time_utc: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert re.search(r"# or time \(the middle\), or start and end$", NOTE.splitlines()[0])
    note = "\n".join([instead, *NOTE.splitlines()[1:]])
    assert file_with(note, tmp_path, capsys).shown["time_utc"] == time_utc
