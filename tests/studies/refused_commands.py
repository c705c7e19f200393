"""Commands whose disk is full, may not be written, or vanishes in the midst; run by `test_kill_study`.

What must hold: one clear line a cause and exit status 1, no traceback; then all that must hold after a kill (see
`killed_commands`); and once the disk is well again the same command ends as if nothing had been. Where this user may
mount, the disk is a small one in memory; else a limit on the size of files stands for it. A superuser gives up its
right to write anywhere.
"""

from __future__ import annotations

import ctypes
import os
import re
import shutil
import subprocess
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from functools import partial
from pathlib import Path

from studies.killed_commands import Case, archive_faults, faults_of, forked, kept, placed, prepared

FREE_KB = {"add": (0, 4, 12, 24, 40, 80), "build": (60, 0, 300), "film": (20, 0, 60), "publish": (0, 8, 30, 60)}
# From <linux/capability.h>.
CAP_DAC_OVERRIDE, CAP_DAC_READ_SEARCH, CAPABILITY_VERSION_3 = 1, 2, 0x20080522


@contextmanager
def small_disk(folder: Path) -> Iterator[bool]:
    """A disk in memory at `folder`; False where this user may not mount one."""
    folder.mkdir()
    command = ["mount", "-t", "tmpfs", "-o", "size=64m", "none", str(folder)]
    mounted = os.geteuid() == 0 and subprocess.run(command, capture_output=True, check=False).returncode == 0
    try:
        yield mounted
    finally:
        if mounted:
            subprocess.run(["umount", str(folder)], check=True)
        shutil.rmtree(folder)


def fill(folder: Path, free_kb: int) -> Path:
    """A file that leaves so much of a disk free."""
    there = os.statvfs(folder)
    filler = folder / "filler"
    with filler.open("wb") as stream:
        for _ in range(max(0, there.f_bavail * there.f_frsize // 1024 - free_kb)):
            stream.write(bytes(1024))
    return filler


def limit_files(size: int) -> Callable[[], None]:
    def limit() -> None:
        import resource

        resource.setrlimit(resource.RLIMIT_FSIZE, (size, size))

    return limit


def be_no_superuser() -> None:
    """Give up the right to pass over permissions."""
    if os.geteuid() != 0:
        return
    header = (ctypes.c_uint32 * 2)(CAPABILITY_VERSION_3, 0)
    sets = (ctypes.c_uint32 * 6)()  # effective, permitted, inheritable; twice 32 bits
    libc = ctypes.CDLL(None, use_errno=True)
    assert libc.capget(header, sets) == 0
    for number in (0, 1):
        sets[number] &= ~(1 << CAP_DAC_OVERRIDE | 1 << CAP_DAC_READ_SEARCH)
    assert libc.capset(header, sets) == 0


def told_faults(status: int, errors: Path) -> list[str]:
    """What is wrong with what a refused command said."""
    lines = [line for line in errors.read_text().splitlines() if line.strip()]
    expected = re.compile(r"(northlimb|warning): .*|[a-z ]+: \d+ of \d+")  # the last is progress
    faults = [f"said {line!r}" for line in lines if not expected.fullmatch(line)]
    if status == 1 and not any(line.startswith("northlimb: ") for line in lines):
        faults.append("no cause told")
    return faults if status in (0, 1) else [*faults, f"ends with {status}"]


def full(case: Case, scratch: Path, free_kb: int) -> tuple[int, list[str]]:
    """A disk with so much room left, then with plenty."""
    with small_disk(scratch / "small") as mounted:
        work = Path(shutil.copytree(case.start, scratch / "small" / "work"))
        errors, words = scratch / "errors", placed(case.words, work)
        if mounted:
            filler = fill(scratch / "small", free_kb)
            status = forked(words, errors=errors)
            filler.unlink()
        else:
            status = forked(words, errors=errors, first=limit_files(max(free_kb * 100, 50)))
        return status, told_faults(status, errors) + well_again(case, work, words)


def vanishing(case: Case, scratch: Path, share: float) -> tuple[int, list[str]]:
    """The archive's disk goes in the midst of the run, and comes back after it."""
    work, away, errors = scratch / "work", scratch / "away", scratch / "errors"
    shutil.copytree(case.start, work)
    words = placed(case.words, work)
    step = int(share * case.steps)
    status = forked(words, step=step, at_step=lambda: (work / "sun").rename(away), errors=errors)
    shutil.rmtree(work / "sun", ignore_errors=True)  # what was made where the disk had been
    away.rename(work / "sun")
    faults = told_faults(status, errors) + well_again(case, work, words)
    shutil.rmtree(work)
    return status, faults


def well_again(case: Case, work: Path, words: Sequence[object]) -> list[str]:
    faults = faults_of(case, work)
    if forked(words) != 0:
        faults.append("the next run fails")
    found = kept(work)
    return faults + [f"{name}: not as it should be" for name in case.after if found.get(name) != case.after[name]]


def read_only(case: Case, scratch: Path) -> tuple[int, list[str]]:
    """Folders that may not be written: nothing changes, and what only reads works."""
    work, errors = scratch / "work", scratch / "errors"
    shutil.copytree(case.start, work)
    folders = [path for path in (work / "sun", *(work / "sun").rglob("*")) if path.is_dir()]
    for folder in folders:
        folder.chmod(0o555)
    before, faults = kept(work), []
    status = forked(placed(case.words, work), errors=errors, first=be_no_superuser)
    faults += told_faults(status, errors)
    if case.name == "publish":
        faults += [] if status == 0 else ["publish only reads the archive"]
    elif status != 1 or kept(work) != before:
        faults.append(f"ends with {status}, or something changed")
    for words in (["verify", "sun"], ["show", "sun", "2026-06-01"]):
        if forked(placed(words, work), first=be_no_superuser) != 0:
            faults.append(f"{words[0]} only reads")
    for folder in folders:
        folder.chmod(0o755)
    faults += archive_faults(case, kept(work))
    shutil.rmtree(work)
    return status, faults


def refusals(cases: Sequence[Case], scratch: Path, *, every: bool = True) -> dict[str, object]:
    """All cases, or the quicker ones; how many of them were refused, and what did not hold."""
    tried, refused, faults = 0, 0, []
    for case in cases:
        slow = case.name in ("build", "film") and not every
        room, shares = (FREE_KB[case.name][:1], ()) if slow else (FREE_KB[case.name], (0.3, 0.8))
        room = room if every else room[::2]
        runs = {f"{free_kb} kB free": partial(full, case, scratch, free_kb) for free_kb in room}
        runs |= {f"gone at {share}": partial(vanishing, case, scratch, share) for share in shares}
        for what, run in {**runs, "read-only": partial(read_only, case, scratch)}.items():
            status, found = run()
            tried += 1
            refused += status == 1
            faults += [f"{case.name}, {what}: {fault}" for fault in found]
    return {"disks": tried, "refused": refused, "faults": faults}


if __name__ == "__main__":
    import json
    import sys

    print(json.dumps(refusals(prepared(Path(sys.argv[1])), Path(sys.argv[1])), indent=1))
