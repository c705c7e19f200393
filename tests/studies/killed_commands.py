"""Commands that are killed in the midst of their work, and what must hold then; run by `test_kill_study`.

Each case is a process of its own.
Three quarters kill themselves before the n-th call that changes the disk, counted by the audit events of PEP 578, n
spread evenly over the run; the rest are started as a user starts them and killed by the clock.

What must hold, whatever the moment: `verify` finds nothing, or names what was left, which `verify --repair` clears;
every original that is listed has the bytes of its line, and its record; what was filed before is all there; the site
is that of before, or that of after, or says that it is unfinished, and then no page that a reader can come to shows or
links to what is missing; what is published is one whole version; and the same command, run again, ends as one that was
never stopped. The checks read the files themselves, with nothing of the program but `verify`.
"""

from __future__ import annotations

import contextlib
import hashlib
import io
import json
import os
import random
import re
import shutil
import signal
import subprocess
import sys
import time
import traceback
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

# Brought in once, before the children are forked.
import scipy.ndimage
import scipy.optimize  # noqa: F401
from scenes.discs import Scene, draw_disc, quantise
from website.killed_update import broken, tree

import archive.delivery.evening
import archive.filing.adding
import archive.stages.films  # noqa: F401
from archive.commands.group import SHORT_HELPS, load_command
from archive.commands.main import main

for _name in SHORT_HELPS:
    load_command(_name)

Tree = dict[str, bytes]
CHECKOUT = Path(__file__).resolve().parents[2]
WRITES = os.O_WRONLY | os.O_RDWR | os.O_CREAT
EVENTS = {"os.rename", "os.mkdir", "os.remove", "os.rmdir", "os.link", "os.utime", "ctypes.dlsym", "subprocess.Popen"}
NEW = [
    *("--title", "Sun over the quay", "--observer", "A. Teal", "--site", "Quay,52.1,-1.3", "--time-zone", "UTC"),
    *("--instrument", "Doorstep", "--mount", "altaz", "--mirrored", "no", "--camera-angle", "0"),
]
FILM = ("--size", "480", "--pace", "0.2")


def changes_the_disk(event: str, arguments: tuple[object, ...]) -> bool:
    if event == "open":
        flags = arguments[2]
        return isinstance(flags, int) and bool(flags & WRITES)
    return event in EVENTS


def kill_oneself() -> None:
    os.kill(os.getpid(), signal.SIGKILL)


def forked(
    words: Sequence[object],
    *,
    step: int | None = None,
    at_step: Callable[[], object] = kill_oneself,
    first: Callable[[], None] | None = None,
    errors: Path | None = None,
    count: Path | None = None,
) -> int:
    """Run a command in a forked child, with something done first and before a step; its status, or -9 when killed.

    What it says on standard error goes to the file `errors`, the number of its steps to the file `count`.
    """
    pid = os.fork()
    if pid == 0:
        done, said = 0, io.StringIO()

        def hook(event: str, arguments: tuple[object, ...]) -> None:
            nonlocal done
            if changes_the_disk(event, arguments):
                done += 1
                if done - 1 == step:
                    at_step()

        if first is not None:
            first()
        sys.addaudithook(hook)
        try:
            with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(said):
                status = main([str(word) for word in words])
        except BaseException as error:
            status = 70
            traceback.print_exc(file=said)
            said.write(repr(error))
        steps, step = done, None
        if count is not None:
            count.write_text(str(steps))
        if errors is not None:
            with contextlib.suppress(OSError):
                errors.write_text(said.getvalue())
        os._exit(status)
    return os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1])


def by_the_clock(words: Sequence[object], after_s: float) -> int:
    """Run a command as a user does, and kill it after a time."""
    process = subprocess.Popen(
        [sys.executable, "-m", "archive", *map(str, words)],
        env={**os.environ, "PYTHONPATH": str(CHECKOUT)},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    try:
        return process.wait(after_s)
    except subprocess.TimeoutExpired:
        process.kill()
        return process.wait()


@dataclass(frozen=True)
class Case:
    """A command, the folder that it starts from, and how it ends when nothing stops it."""

    name: str
    words: tuple[str, ...]
    start: Path
    before: Tree
    after: Tree
    steps: int
    lasts_s: float


def picture(path: Path, seed: int) -> None:
    from PIL import Image

    scene = Scene(width_px=150, height_px=140, x_px=76.0, y_px=70.0, radius_px=55.0, seed=seed)
    Image.fromarray(quantise(draw_disc(scene), 8)).save(path)


def kept(folder: Path) -> Tree:
    """All but derived things, locks, and what is remembered of words, which knows their files' times."""
    passed = re.compile(
        r"(.*/)?(\.northlimb/.*|\.northlimb-work/(lock|(site|publish)-[0-9a-f]+)|remembered-words\.json)"
    )
    return {name: data for name, data in tree(folder).items() if not passed.fullmatch(name)}


def prepared(scratch: Path) -> list[Case]:
    """An archive with site, film and publication; and a new day for each command to work on, two for `add`."""
    start = scratch / "filed"
    start.mkdir()
    (start / "inbox").mkdir()
    sun = start / "sun"
    for number in range(3):
        picture(start / "inbox" / f"2026060{number + 1}T091500Z.png", number)
    run = [["new", sun, *NEW], ["add", sun, *sorted((start / "inbox").glob("*01T*"))]]
    run += [["film", sun, *FILM, "--from", "2026-06-01", "--to", "2026-06-01"], ["publish", sun, start / "www"]]
    for words in run:  # in this process, so that its children need not load and read anew what every command needs
        with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
            assert main([str(word) for word in words]) == 0, words
        settings = sun / "archive.toml"  # one look is as good as four here, and quicker
        settings.write_text(re.sub(r"looks = .*", 'looks = ["natural"]', settings.read_text()))
    added = scratch / "added"
    shutil.copytree(start, added)
    assert forked(["add", added / "sun", added / "inbox/20260602T091500Z.png", "--note", "Clear."]) == 0
    built = scratch / "built"
    shutil.copytree(added, built)
    assert forked(["build", built / "sun"]) == 0
    return [
        measured("add", ("add", "sun", "inbox", "--note", "Clear."), start, scratch),
        measured("build", ("build", "sun"), added, scratch),
        measured("film", ("film", "sun", *FILM, "--from", "2026-06-01", "--to", "2026-06-02"), built, scratch),
        measured("publish", ("publish", "sun", "www"), built, scratch),
    ]


def placed(words: Sequence[str], work: Path) -> list[object]:
    """The command in a copy of its start."""
    return [work / word if word in ("sun", "inbox", "www") else word for word in words]


def measured(name: str, words: tuple[str, ...], start: Path, scratch: Path) -> Case:
    work, count = scratch / "work", scratch / "steps"
    shutil.copytree(start, work)
    began = time.perf_counter()
    assert forked(placed(words, work), count=count) == 0, words
    lasts_s = time.perf_counter() - began
    case = Case(name, words, start, kept(start), kept(work), int(count.read_text()), lasts_s)
    shutil.rmtree(work)
    return case


def part(found: Tree, folder: str) -> Tree:
    return {name.removeprefix(folder): data for name, data in found.items() if name.startswith(folder)}


def faults_of(case: Case, work: Path) -> list[str]:
    """What does not hold after a kill; clears up with `verify --repair` on the way."""
    faults = []
    status, told = verified(work)
    if status not in (0, 1) or (status == 1 and not told["leftovers"]):
        faults.append(f"verify ends with {status} and names nothing left: {told}")
    faults += site_faults(case, work)
    if forked(["verify", work / "sun", "--repair"]) != 0 or verified(work)[0] != 0:
        faults.append("verify --repair does not clear it")
    return faults + archive_faults(case, kept(work))


def verified(work: Path) -> tuple[int, dict[str, object]]:
    with contextlib.redirect_stdout(io.StringIO()) as told, contextlib.redirect_stderr(io.StringIO()):
        status = main(["verify", str(work / "sun"), "--json"])
    return status, json.loads(told.getvalue())


def archive_faults(case: Case, found: Tree) -> list[str]:
    """Originals and records by hand: whole or absent, listed, and those of before all there."""
    sun = part(found, "sun/")
    listed = dict(reversed(line.split("  ")) for line in sun["checksums.sha256"].decode().splitlines())
    originals = {name for name in sun if re.fullmatch(r"\d{4}/[-\d]+/\d{4}Z\.png", name)}
    records = {name.removesuffix("toml") + "png" for name in sun if re.fullmatch(r"\d{4}/[-\d]+/\d{4}Z\.toml", name)}
    faults = []
    if not originals == records == set(listed):
        faults.append(f"originals {sorted(originals)}, records {sorted(records)}, list {sorted(listed)}")
    faults += [
        f"{name}: torn" for name in originals & set(listed) if hashlib.sha256(sun[name]).hexdigest() != listed[name]
    ]
    own = {name: data for name, data in part(case.before, "sun/").items() if re.match(r"\d{4}/", name)}
    return faults + [f"{name}: changed or gone" for name, data in own.items() if sun.get(name) != data]


def site_faults(case: Case, work: Path) -> list[str]:
    found = kept(work)
    site, before, after = (part(files, "sun/site/") for files in (found, case.before, case.after))
    whole = {name: data for name, data in site.items() if not name.endswith(".part")}
    faults = []
    if whole not in (before, after):
        if not json.loads(whole["files.json"]).get("pending"):
            faults.append("site: neither old nor new, and does not say so")
        faults += [
            f"site: {name} is neither old nor new"
            for name, data in whole.items()
            if name != "files.json" and data not in (before.get(name), after.get(name))
        ]
        faults += broken(whole, before)
    if part(found, "www/") not in (part(case.before, "www/"), part(case.after, "www/")):
        faults.append("www: neither old nor new")
    return faults


def tried(case: Case, work: Path, kill: Callable[[list[object]], int]) -> tuple[int, list[str]]:
    """Kill once, check, run again and compare with a run that was never stopped."""
    shutil.rmtree(work, ignore_errors=True)
    shutil.copytree(case.start, work)
    words = placed(case.words, work)
    status = kill(words)
    faults = faults_of(case, work)
    if forked(words) != 0:
        faults.append("the next run fails")
    found = kept(work)
    different = sorted(name for name in {*found, *case.after} if found.get(name) != case.after.get(name))
    beside = [path.name for path in work.iterdir() if path.name.startswith(".")]
    return status, faults + [f"the next run does not finish: {name}" for name in [*different, *beside]]


def killings(cases: Sequence[Case], scratch: Path, kills: int, seed: int) -> dict[str, object]:
    """Kill each command so many times; how they ended, and what did not hold."""
    chance, work = random.Random(seed), scratch / "work"
    faults, ends = [], Counter[str]()
    for case in cases:
        each = kills // len(cases)
        timed = each // 4
        steps = [int((number + chance.random()) * case.steps / (each - timed)) for number in range(each - timed)]
        waits_s = [chance.uniform(0.5, 2.5 + case.lasts_s) for _ in range(timed)]
        ways = {f"step {step} of {case.steps}": partial(forked, step=step) for step in steps}
        ways |= {f"after {wait_s:.2f} s": partial(by_the_clock, after_s=wait_s) for wait_s in waits_s}
        for what, kill in ways.items():
            status, found = tried(case, work, kill)
            ends[f"{case.name} {'killed' if status == -9 else 'ended'}"] += 1
            faults += [f"{case.name}, {what}: {fault}" for fault in found]
    shutil.rmtree(work, ignore_errors=True)
    return {"kills": sum(ends.values()), "ends": dict(ends), "faults": faults}
