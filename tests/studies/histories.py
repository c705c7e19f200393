"""Histories: an archive that lives through many small changes, beside the same archive built from nothing.

A history is made by its number alone. It starts from a small drawn archive and goes on by steps such as observers make
(pictures, records, notes, settings and theme changed by command and by hand) and such as happen to disks (derived
things and files of the site deleted, damaged, or replaced by older copies), with `build` in between. What is the
observer's is then copied, built where nothing derived is, and the two sites are compared byte for byte.

    PYTHONPATH=.:tests python -m studies.histories FIRST LAST STEPS
"""

from __future__ import annotations

import io
import os
import shutil
import sys
import traceback
from collections import Counter
from collections.abc import Callable
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from functools import cache
from hashlib import sha256
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
import tomlkit
from PIL import Image
from scenes.discs import Scene, draw_disc, quantise
from scenes.sun_days import GroupPlan, Mount, SunNumbers, plan_days, world_of

from archive.commands.main import main
from archive.model import choices
from archive.sun.view import sun_view

__all__ = ["History", "lived", "sites_differ"]

EPOCH = datetime(2026, 6, 1, tzinfo=UTC)
LATITUDE_DEG, LONGITUDE_DEG = 52.1234, -1.3456
NEW = [
    "--title", "Sun over the quay", "--observer", "A. Teal", "--site", f"Quay,{LATITUDE_DEG},{LONGITUDE_DEG},41",
    "--time-zone", "Europe/London", "--instrument", "Doorstep", "--mount", "altaz", "--mirrored", "no",
]  # fmt: skip
SECOND = {"name": "Pier", "mount": "equatorial", "mirrored": "unknown"}
# Nothing of this is the observer's.
DERIVED = (".northlimb", "site", "removed")
DAYS = (*range(12), 26, 27)
# L0 is some 50 degrees at the epoch.
GROUPS = (
    GroupPlan("a", 14.0, 40.0, 2.6, 1.9, 9.0, 2, seed=1),
    GroupPlan("b", -17.0, 75.0, 2.4, 0.0, 3.0, 0, seed=2),
    GroupPlan("c", 22.0, 350.0, 2.8, 2.0, 8.0, 1, seed=3),
    GroupPlan("d", -9.0, 300.0, 2.9, 2.0, 10.0, 0, seed=4),
    GroupPlan("e", -24.0, 100.0, 2.2, 1.6, 6.0, 0, birth_day=-60.0, life_days=66.0, seed=5),
)
LOOK = Scene(width_px=320, height_px=300, x_px=158.3, y_px=151.2, radius_px=132.0, blur_px=1.1, noise=0.004)
MOUNTS = {
    "Doorstep": Mount("altaz", LOOK, camera_angle_deg=3.0, levelling_rms_deg=0.3, centre_rms_px=2.0, seed=1),
    "Pier": Mount("equatorial", LOOK, camera_angle_deg=-8.0, mirrored=True, centre_rms_px=2.0, seed=2),
}


@cache
def drawn(time_utc: datetime, instrument: str, spotless: bool) -> bytes:
    """The picture (PNG) that an instrument takes at a time."""
    sun = sun_view(time_utc, latitude_deg=LATITUDE_DEG, longitude_deg=LONGITUDE_DEG)
    view = SunNumbers(time_utc, sun.p_deg, sun.b0_deg, sun.l0_deg, sun.parallactic_angle_deg)
    world = world_of(() if spotless else GROUPS, epoch_utc=EPOCH)
    ((_, scene),) = plan_days(world, [view], mount=MOUNTS[instrument])
    stream = io.BytesIO()
    Image.fromarray(quantise(draw_disc(scene), 8)).save(stream, format="PNG")
    return stream.getvalue()


@dataclass
class History:
    """An archive on its way; `told` lists the steps, `differing` what was unlike the archive built from nothing."""

    rng: np.random.Generator
    root: Path
    scratch: Path
    told: list[str] = field(default_factory=list)
    differing: list[str] = field(default_factory=list)
    compared: int = 0
    removed: list[str] = field(default_factory=list)
    amended: list[str] = field(default_factory=list)
    old_sites: list[Path] = field(default_factory=list)

    def run(self, *words: object) -> int:
        """Run a command; refused is as good as done, so long as it is said."""
        streams = io.StringIO()
        with redirect_stdout(streams), redirect_stderr(streams):
            try:
                status = main([str(word) for word in words])
            except Exception:
                status = -1
                streams = io.StringIO(traceback.format_exc()[-700:])
        self.told.append(f"    {' '.join(map(str, words))}: {status} {streams.getvalue().strip()[-700:]!r}")
        if status not in (0, 1):
            self.differing.append(f"exit {status}: {self.told[-1]}")
        return status

    def one_of(self, choices: Any) -> Any:
        """Draw one of them; None where there is none."""
        choices = list(choices)
        return choices[int(self.rng.integers(len(choices)))] if choices else None

    def records(self) -> list[Path]:
        """The records in the archive."""
        return sorted(path for path in self.root.glob("2*/2*/*.toml"))

    def identifier(self) -> str | None:
        """An observation that is there."""
        record = self.one_of(self.records())
        return None if record is None else f"{record.parent.name}T{record.stem}"


Step = Callable[[History], None]


def add(history: History) -> None:
    """A picture of another day or hour, earlier or later; now and then one that is there already."""
    time_utc = EPOCH + timedelta(days=int(history.one_of(DAYS)), minutes=5 * int(history.rng.integers(96, 192)))
    instrument = "Pier" if history.rng.random() < 0.25 else "Doorstep"
    put_in(history, time_utc, instrument)


def add_same_day(history: History) -> None:
    """A second picture of a day, or of the same minute by another instrument."""
    record = history.one_of(history.records())
    if record is None:
        return
    minute = datetime.strptime(f"{record.parent.name}T{record.stem[:4]}", "%Y-%m-%dT%H%M").replace(tzinfo=UTC)
    off = int(history.one_of((0, 0, 1, 40)))
    put_in(history, minute + timedelta(minutes=off), str(history.one_of(MOUNTS)))


def put_in(history: History, time_utc: datetime, instrument: str) -> None:
    """File the picture of a time by `add`."""
    picture = history.scratch / f"{time_utc:%Y%m%dT%H%M%S}Z-{instrument}.png"
    picture.write_bytes(drawn(time_utc, instrument, spotless=bool(history.rng.random() < 0.1)))
    more = ["--note", f"Seen at {time_utc:%H:%M}."] if history.rng.random() < 0.3 else []
    history.run("add", history.root, picture, "--instrument", instrument, *more)
    if history.rng.random() < 0.15:
        history.run("add", history.root, picture, "--instrument", instrument)


def edit_record(history: History) -> None:
    """A hand changes, adds or takes out a key of a record."""
    record = history.one_of(history.records())
    if record is None:
        return
    document = tomlkit.parse(record.read_text())
    key, values = history.one_of(
        [
            ("north_angle_deg", [12.5, -100.0, 33.3]),
            ("mirrored", ["yes", "no"]),
            ("instrument", ["Doorstep", "Pier"]),
            ("seeing", [2, 4.5]),
            ("transparency", ["thin haze", "clear"]),
            ("band", ["white", "h-alpha"]),
            ("exposure_s", [0.004]),
            ("length_s", [100, 20]),
            ("groups", [None]),
            ("counts", [None]),
            ("dust", [None]),
        ]
    )
    history.told.append(f"    {record.name}: {key}")
    if key in document and key != "instrument" and history.rng.random() < 0.4:
        del document[key]
    elif key == "groups":
        document["groups"] = _stated_groups(history)
    elif key == "counts":
        document["counts"] = {"groups": int(history.rng.integers(1, 5)), "spots": int(history.rng.integers(5, 20))}
    elif key == "dust":
        specks = tomlkit.aot()
        specks.append(tomlkit.item({"x_px": 160.0, "y_px": 130.0, "radius_px": float(history.one_of((8.0, 60.0)))}))
        document["dust"] = specks
    else:
        value = history.one_of(values)
        document.pop(key, None)
        # Above the tables, where plain keys belong.
        record.write_text(f"{key} = {tomlkit.item(value).as_string()}\n{tomlkit.dumps(document)}")
        return
    record.write_text(tomlkit.dumps(document))


def _stated_groups(history: History) -> Any:
    groups = tomlkit.aot()
    for _ in range(int(history.rng.integers(1, 3))):
        plan = history.one_of(GROUPS)
        group = tomlkit.item(
            {
                "latitude_deg": plan.latitude_deg,
                "carrington_longitude_deg": (plan.longitude_deg + float(history.rng.normal())) % 360.0,
                "spots": int(history.rng.integers(1, 5)),
            }
        )
        names = [line.split('"')[1] for line in _names_text(history).splitlines() if line.startswith("name")]
        if names and history.rng.random() < 0.4:
            group["name"] = history.one_of(names)
        elif history.rng.random() < 0.2:
            group["name"] = history.one_of(("2298-40", "2298-7"))
        groups.append(group)
    return groups


def _names_text(history: History) -> str:
    path = history.root / "group-names.toml"
    return path.read_text() if path.is_file() else ""


def edit_time(history: History) -> None:
    """A hand writes another time into a record; `amend` follows, or does not yet."""
    record = history.one_of(history.records())
    if record is None:
        return
    document = tomlkit.parse(record.read_text())
    document["time"] = document["time"] + timedelta(seconds=int(history.one_of((20, 90, 3600, -7200))))
    document.pop("start", None)
    record.write_text(tomlkit.dumps(document))
    history.told.append(f"    {record.parent.name}/{record.name}: time = {document['time']}")
    if history.rng.random() < 0.6:
        history.run("amend", history.root, f"{record.parent.name}T{record.stem}")


def amend(history: History) -> None:
    """Another time by `amend`, or the last one taken back."""
    if history.amended and history.rng.random() < 0.4:
        history.run("amend", history.root, history.amended.pop(), "--undo")
        return
    before, name = set(history.records()), history.identifier()
    if name is None:
        return
    time_utc = datetime.strptime(name[:15], "%Y-%m-%dT%H%M").replace(tzinfo=UTC)
    time_utc += timedelta(minutes=int(history.one_of((1, 30, -45, 1440))))
    if history.run("amend", history.root, name, "--time", f"{time_utc:%Y-%m-%dT%H:%M:%SZ}") == 0:
        for record in set(history.records()) - before:
            history.amended.append(f"{record.parent.name}T{record.stem}")


def remove(history: History) -> None:
    """An observation out, or back in."""
    if history.removed and history.rng.random() < 0.5:
        history.run("remove", history.root, history.removed.pop(), "--undo")
    elif (name := history.identifier()) is not None and history.run("remove", history.root, name) == 0:
        history.removed.append(name)


def notes(history: History) -> None:
    """A day's notes written, changed, emptied, deleted."""
    record = history.one_of(history.records())
    if record is None:
        return
    path = record.parent / "notes.md"
    what = history.one_of(("new", "changed", "empty", "gone"))
    history.told.append(f"    {path.parent.name}/notes.md {what}")
    if what == "gone":
        path.unlink(missing_ok=True)
    else:
        before = path.read_text() if what == "changed" and path.is_file() else ""
        path.write_text("" if what == "empty" else f"{before}\n\nThin **haze** {history.rng.integers(1000)}.\n")


def settings(history: History) -> None:
    """A hand in archive.toml."""
    path = history.root / "archive.toml"
    document: Any = tomlkit.parse(path.read_text())
    key = history.one_of(
        "title observer looks language address precision k camera mirrored mount band films targets place".split()
    )
    instrument = history.one_of(document["instruments"])
    if key == "title":
        document["title"] = f"Sun {history.rng.integers(100)}"
    elif key == "observer":
        document["observer"] = history.one_of(("A. Teal", "B. Rook & C. Wren"))
    elif key == "looks":
        document["looks"] = history.one_of((["warm"], ["mono", "natural"], ["natural", "flat"], ["flat", "warm"]))
    elif key == "language":
        document["language"] = history.one_of(("en", "de", "cy"))
    elif key == "address":
        document["address"] = history.one_of(("https://example.org/", "https://example.org/sun/"))
        if history.rng.random() < 0.4:
            del document["address"]
    elif key == "precision":
        document["published_site_precision_deg"] = history.one_of((0.1, 0.01, 1.0))
    elif key == "k":
        document["relative_number_k"] = history.one_of((1.0, 0.85))
    elif key == "camera":
        instrument.pop("camera_angle_deg", None)
        if history.rng.random() < 0.6:
            instrument["camera_angle_deg"] = history.one_of((0, 3.0, -8))
    elif key == "mirrored":
        instrument["mirrored"] = history.one_of(("yes", "no", "unknown"))
    elif key == "mount":
        instrument["mount"] = history.one_of(choices.MOUNTS)
    elif key == "band":
        instrument["band"] = history.one_of(("white", "white", "calcium-k"))
    elif key == "films" and "films" in document:
        films = document["films"]
        if history.rng.random() < 0.5:
            films.pop(int(history.rng.integers(len(films))))
            if not films:
                del document["films"]
        else:
            films[0]["look"] = history.one_of(("mono", "warm"))
    elif key == "targets":
        document["targets"] = tomlkit.aot()
        document["targets"].append(tomlkit.item({"name": "web", "folder": str(history.scratch / "web")}))
    elif key == "place":
        document["sites"][0]["longitude_deg"] = history.one_of((LONGITUDE_DEG, -1.2, 3.0))
    history.told.append(f"    archive.toml {key}")
    path.write_text(tomlkit.dumps(document))


def theme(history: History) -> None:
    """The observer's own face of the site."""
    folder = history.root / "theme"
    what = history.one_of(("style", "colophon", "part", "gone"))
    history.told.append(f"    theme {what}")
    if what == "gone":
        shutil.rmtree(folder, ignore_errors=True)
        return
    folder.mkdir(exist_ok=True)
    number = history.rng.integers(100)
    if what == "style":
        (folder / "style.css").write_text(f"main {{ max-width: {60 + number}rem }}\n")
    elif what == "colophon":
        block = f"{{% block colophon %}}{{{{ super() }}}}<p>Pier {number}.</p>{{% endblock %}}"
        (folder / "base.html").write_text(f'{{% extends "original/base.html" %}}\n{block}\n')
    else:
        (folder / "parts").mkdir(exist_ok=True)
        (folder / "parts" / "pier.txt").write_text(f"Pier {number}, by itself.")
        block = '{% block colophon %}{{ super() }}<p>{% include "parts/pier.txt" %}</p>{% endblock %}'
        (folder / "base.html").write_text(f'{{% extends "original/base.html" %}}\n{block}\n')


def film(history: History) -> None:
    """A small film that the site keeps."""
    style = history.one_of(("daily", "daily", "smooth", "corotating"))
    span = history.one_of((["--days", 2], ["--days", 3], ["--from", "2026-06-02", "--to", "2026-06-05"]))
    more = ["--group-names"] if history.rng.random() < 0.4 else []
    history.run("film", history.root, *span, "--style", style, "--pace", 0.2, "--size", 480, *more)


def lose_derived(history: History) -> None:
    """A blob or the table of derived things gone or damaged; a picture of the site may be the same file."""
    folder = history.root / ".northlimb"
    files = sorted(path for path in folder.rglob("*") if path.is_file())
    # By kind first, else it would nearly always be a blob.
    kind = history.one_of(sorted({one.relative_to(folder).parts[0] for one in files}))
    path = history.one_of([one for one in files if one.relative_to(folder).parts[0] == kind])
    if path is None:
        return
    what = history.one_of(("deleted", "cut", "a bit", "nonsense"))
    if history.rng.random() < 0.1:
        what = "folder deleted"
    history.told.append(f"    {path.relative_to(history.root)} {what}")
    if what == "folder deleted":
        shutil.rmtree(path.parent)
    elif what == "deleted":
        path.unlink()
    else:
        _damage(history, path, what)


def _damage(history: History, path: Path, what: str) -> None:
    data = bytearray(path.read_bytes())
    if what == "cut" or not data:
        path.write_bytes(data[: len(data) // 2])
    elif what == "nonsense":
        path.write_bytes(b"\xff" * 300)
    else:
        data[int(history.rng.integers(len(data)))] ^= 1 << int(history.rng.integers(8))
        path.write_bytes(data)


def spoil_site(history: History) -> None:
    """A page or picture of the site deleted, damaged, or an older copy in its place."""
    site = history.root / "site"
    files = sorted(path for path in site.rglob("*") if path.is_file() and path.name != "files.json")
    if not files:
        return
    path = history.one_of([one for one in files if one.suffix == history.one_of(sorted({f.suffix for f in files}))])
    what = history.one_of(("deleted", "damaged", "older", "older, time kept", "folder deleted", "all deleted"))
    if what == "all deleted" and history.rng.random() < 0.7:
        what = "older"
    if path is None:
        return
    history.told.append(f"    {path.relative_to(history.root)} {what}")
    older = [old / path.relative_to(site) for old in history.old_sites if (old / path.relative_to(site)).is_file()]
    if what == "deleted":
        path.unlink()
    elif what == "folder deleted" and path.parent != site:
        shutil.rmtree(path.parent)
    elif what == "all deleted":
        shutil.rmtree(site)
    elif what.startswith("older") and older:
        shutil.copy2(history.one_of(older), path) if "kept" in what else shutil.copyfile(older[0], path)
    else:
        _damage(history, path, str(history.one_of(("cut", "a bit", "nonsense"))))


def clock(history: History) -> None:
    """A date of the build that somebody set and forgot."""
    os.environ["SOURCE_DATE_EPOCH"] = str(history.one_of((0, 1_500_000_000, 1_900_000_000)))


def look_only(history: History) -> None:
    """Commands that only read, and keep what they found."""
    if (name := history.identifier()) is not None:
        history.run("show", history.root, name[:10])


STEPS: dict[Step, int] = {
    add: 8, add_same_day: 4, edit_record: 9, edit_time: 2, amend: 3, remove: 5, notes: 3, settings: 7, theme: 3,
    film: 2, lose_derived: 4, spoil_site: 4, clock: 1, look_only: 1,
}  # fmt: skip


def tree(folder: Path) -> dict[str, str]:
    """Every file's digest by its place."""
    found = (path for path in folder.rglob("*") if path.is_file())
    return {path.relative_to(folder).as_posix(): sha256(path.read_bytes()).hexdigest() for path in found}


def sites_differ(history: History) -> None:
    """Build the archive and, in another place, the observer's part of it from nothing; note what differs."""
    if history.run("build", history.root) != 0:
        # It must refuse both, or a kept thing is in the way.
        afresh = _afresh(history)
        if history.run("build", afresh) == 0:
            history.differing.append("refused, but not from nothing")
        shutil.rmtree(afresh)
        return
    afresh = _afresh(history)
    status = history.run("build", afresh)
    history.compared += 1
    one, other = tree(history.root / "site"), tree(afresh / "site")
    differing = sorted(path for path in {*one, *other} if one.get(path) != other.get(path))
    if differing or status:
        history.differing.append(f"build {history.compared}: {differing}")
        if os.environ.get("NORTHLIMB_HISTORIES_KEPT"):
            kept = Path(os.environ["NORTHLIMB_HISTORIES_KEPT"])
            shutil.copytree(history.root, kept / "lived")
            shutil.copytree(afresh, kept / "afresh")
    shutil.rmtree(afresh)
    old = history.scratch / f"old-site-{history.compared}"
    shutil.copytree(history.root / "site", old)
    history.old_sites.append(old)


def _afresh(history: History) -> Path:
    afresh = history.scratch / "afresh"
    shutil.copytree(history.root, afresh, ignore=lambda at, _: DERIVED if Path(at) == history.root else ())
    return afresh


def lived(number: int, steps: int, scratch: Path, *, compare_every: int = 4) -> History:
    """Live through a history, up to the first difference."""
    history = History(np.random.default_rng([number, 77]), scratch / "my-sun", scratch)
    os.environ.pop("SOURCE_DATE_EPOCH", None)
    history.run("new", history.root, *NEW)
    document: Any = tomlkit.parse((history.root / "archive.toml").read_text())
    document["instruments"].append(tomlkit.item(SECOND))
    document["looks"] = ["natural"]
    (history.root / "archive.toml").write_text(tomlkit.dumps(document))
    for day in range(int(history.rng.integers(1, 4))):
        put_in(history, EPOCH + timedelta(days=2 + day, hours=9, minutes=20 * day), "Doorstep")
    choices, weights = list(STEPS), np.array(list(STEPS.values()), dtype=float)
    try:
        for done in range(1, steps + 1):
            step = choices[int(history.rng.choice(len(choices), p=weights / weights.sum()))]
            history.told.append(f"  {step.__name__}")
            step(history)
            if done % compare_every == 0 or done == steps:
                sites_differ(history)
            elif history.rng.random() < 0.35:
                history.run("build", history.root)
            if history.differing:
                break
    finally:
        os.environ.pop("SOURCE_DATE_EPOCH", None)
    return history


def _tell(first: int, last: int, steps: int) -> int:
    ends: Counter[str] = Counter()
    for number in range(first, last):
        with TemporaryDirectory(prefix="northlimb-history-") as scratch:
            history = lived(number, steps, Path(scratch))
        ends["differing" if history.differing else "same"] += 1
        ends["compared"] += history.compared
        if history.differing:
            print(f"history {number}:", *history.told[-60:], *history.differing, sep="\n", flush=True)
        else:
            print(f"history {number}: same, {history.compared} compared", flush=True)
    print(dict(ends))
    return int(ends["differing"] > 0)


if __name__ == "__main__":
    raise SystemExit(_tell(*map(int, sys.argv[1:])))
