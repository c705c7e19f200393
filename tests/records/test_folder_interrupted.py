"""Filing that is cut short: killed at any step, refused by the system, or met by another writer. All real processes."""

import json
import os
import re
import shutil
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from archive.errors import FolderError
from archive.records.archive_files import files_of
from archive.records.folder import put_picture, writing
from archive.records.places import places

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork, signals and limits of POSIX systems")
CHECKOUT = Path(__file__).resolve().parents[2]

# Forks a child for each case, so that the interpreter starts once. In a child the interpreter's own audit events
# (PEP 578) count the calls that change what is on the disk, and before the n-th of them the child kills itself.
KILLER = """
import hashlib, json, os, random, shutil, signal, sys, time
from pathlib import Path
from archive.records.archive_files import files_of
from archive.records.checksums import read_checksums
from archive.records.folder import NewPicture, put_picture, writing
from archive.records.places import place_of_id

work, mode = Path(sys.argv[1]), sys.argv[2]
DATA = random.Random(7).randbytes(3_000_000 if mode == "instants" else 5000)
NEW = NewPicture(place_of_id("2026-06-03T0915Z"), ".png", DATA, hashlib.sha256(DATA).hexdigest(), b"x = 1\\n")
EVENTS = {"os.rename", "os.link", "os.mkdir", "os.remove", "os.rmdir", "os.chmod", "os.truncate", "os.utime"}
WRITES = os.O_WRONLY | os.O_RDWR | os.O_CREAT | os.O_TRUNC

def die_before(step):
    left = [step]
    def hook(event, arguments):
        if event in EVENTS or (event == "open" and arguments[2] & WRITES):
            left[0] -= 1
            if left[0] < 0:
                os.kill(os.getpid(), signal.SIGKILL)
    sys.addaudithook(hook)

def child(task, step=None):
    pid = os.fork()
    if pid == 0:
        if step is not None:
            die_before(step)
        task()
        os._exit(0)
    return pid

def ended(pid):
    return os.waitpid(pid, 0)[1] == 0

def put(root):
    with writing(files_of(root)):
        put_picture(files_of(root), NEW)

def clear(root):
    with writing(files_of(root)):
        pass

def fresh(name):
    return Path(shutil.copytree(work / "before", work / name))

def tree(root):
    return {p.relative_to(root).as_posix(): hashlib.sha256(p.read_bytes()).hexdigest() if p.is_file() else "folder"
            for p in sorted(root.rglob("*"))}

def after(root):
    clear(root)
    found = tree(root)
    shutil.rmtree(root)
    return found

def steps():
    outcomes, step, done = [], 0, False
    while not done:
        root = fresh(f"step-{step}")
        done = ended(child(lambda: put(root), step))
        outcomes.append(after(root))
        step += 1
    return outcomes

def steps_twice():
    outcomes, first, done = [], 0, False
    while not done:
        second, cleared = 0, False
        while not cleared:
            root = fresh(f"step-{first}-{second}")
            done = ended(child(lambda: put(root), first))
            cleared = ended(child(lambda: clear(root), second))
            outcomes.append(after(root))
            second += 1
        first += 1
    return outcomes

def instants():
    chance, outcomes = random.Random(20260603), []
    root = fresh("timed")
    began = time.perf_counter()
    ended(child(lambda: put(root)))
    whole_s = time.perf_counter() - began
    for number in range(40):
        root = fresh(f"instant-{number}")
        pid = child(lambda: put(root))
        time.sleep(chance.uniform(0, 1.1 * whole_s))
        os.kill(pid, signal.SIGKILL)
        ended(pid)
        outcomes.append(after(root))
    return outcomes

before, complete = tree(fresh("none")), fresh("all")
put(complete)
print(json.dumps({"none": before, "all": tree(complete),
                  "found": {"steps": steps, "twice": steps_twice, "instants": instants}[mode]()}))
"""


def run(script, *arguments, **options):
    environment = {**os.environ, "PYTHONPATH": str(CHECKOUT), "PYTHONDONTWRITEBYTECODE": "1"}
    return subprocess.run(
        [sys.executable, "-c", script, *map(str, arguments)],
        env=environment,
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
        **options,
    )


def killed(tmp_path, root, mode):
    """What lay in the folder after each kill and the next `writing`; and what must: all of it or none."""
    (root / ".northlimb-work").mkdir(exist_ok=True)
    (root / ".northlimb-work/lock").touch()  # the lock's file stays between runs
    shutil.copytree(root, tmp_path / "before")
    answer = run(KILLER, tmp_path, mode)
    assert answer.stderr == ""
    return json.loads(answer.stdout)


@pytest.mark.parametrize("state", ["first picture", "first of its day", "second of its day"])
def test_killed_before_any_step_all_of_a_picture_is_filed_or_none(tmp_path, root, picture, state):
    if state != "first picture":
        with writing(files_of(root)):
            put_picture(
                files_of(root), picture("2026-06-03T0900Z" if state == "second of its day" else "2026-06-02T0900Z")
            )
    answer = killed(tmp_path, root, "steps")
    outcomes = answer["found"]
    assert len(outcomes) > 12
    assert outcomes[0] == answer["none"]
    assert outcomes[-1] == answer["all"]
    assert [found for found in outcomes if found not in (answer["none"], answer["all"])] == []
    # None up to the step after which all is there, all from then on.
    assert outcomes == sorted(outcomes, key=lambda found: found == answer["all"])


def test_killed_again_while_clearing_up_it_is_still_all_or_none(tmp_path, root):
    answer = killed(tmp_path, root, "twice")
    outcomes = answer["found"]
    assert len(outcomes) > 60
    assert [found for found in outcomes if found not in (answer["none"], answer["all"])] == []
    assert answer["none"] in outcomes
    assert answer["all"] in outcomes


def test_killed_at_any_instant_it_is_all_or_none(tmp_path, root):
    answer = killed(tmp_path, root, "instants")
    assert [found for found in answer["found"] if found not in (answer["none"], answer["all"])] == []
    assert answer["none"] in answer["found"]


LIMITED = """
import hashlib, resource, sys
from pathlib import Path
from archive.errors import FolderError
from archive.records.archive_files import files_of
from archive.records.folder import NewPicture, put_picture, writing
from archive.records.places import place_of_id

root, size, limit = Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3])
data = bytes(size)
new = NewPicture(place_of_id("2026-06-03T0915Z"), ".png", data, hashlib.sha256(data).hexdigest(), bytes(300))
resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))
try:
    with writing(files_of(root)):
        put_picture(files_of(root), new)
except FolderError as error:
    print(error)
"""


@pytest.mark.parametrize(
    ("size", "limit", "at"),
    [
        (100_000, 50_000, "0915Z.png"),
        (500, 2000, "checksums.sha256"),
        (500, 50, "pending.json"),
        (90, 200, "0915Z.toml"),
    ],
    ids=["in the picture", "in the checksums", "at once", "in the record"],
)
def test_where_the_disk_takes_no_more_nothing_is_left(root, picture, size, limit, at):
    """A limit on the size of files stops a write half way, as a full disk does."""
    with writing(files_of(root)):
        for minute in range(10, 40):
            put_picture(files_of(root), picture(f"2026-06-01T09{minute}Z", bytes([minute])))
    before = {path: path.read_bytes() if path.is_file() else None for path in root.rglob("*")}
    answer = run(LIMITED, root, size, limit)
    assert answer.stderr == ""
    assert answer.stdout.endswith(": cannot be written: File too large; check permissions and free space\n")
    assert answer.stdout.count("\n") == 1
    assert f"{at}: cannot" in answer.stdout
    assert {path: path.read_bytes() if path.is_file() else None for path in root.rglob("*")} == before


# A superuser may write anywhere, so it steps down; the folders above are its own, hence the relative path.
READ_ONLY = """
import click, hashlib, os, sys
from pathlib import Path
from archive.errors import FolderError
from archive.records.archive_files import derived_files, files_of
from archive.records.folder import NewPicture, put_picture, writing
from archive.records.places import place_of_id, places
from archive.records.notes import append_note
from archive.records.settings import FilmSettings, keep_film, read_settings
from archive.store import Store
from archive.store.code import code_digest

os.chdir(sys.argv[1])
# Whatever the interpreter loads late may be closed to the other user.
read_settings(files_of(Path(".")))
code_digest(read_settings)
if os.geteuid() == 0:
    os.setgid(65534)
    os.setuid(65534)
root = Path(".")
new = NewPicture(place_of_id("2026-06-03T0915Z"), ".png", b"x", hashlib.sha256(b"x").hexdigest(), b"")

def file():
    with writing(files_of(root)):
        put_picture(files_of(root), new)

store = Store(derived_files(root))
store.put(read_settings, "a", None, "not kept")
store.close()  # says nothing
store = Store(derived_files(root))
print(len(places(files_of(root))), store.get(read_settings, "a", None, str))
for task in (
    file,
    lambda: put_picture(files_of(root), new),
    lambda: store.add_blob(b"x"),
    lambda: append_note(files_of(root), "2026-06-01", "Clear."),
    lambda: keep_film(files_of(root), FilmSettings(days=7)),
):
    try:
        task()
        print("written")
    except FolderError as error:
        print(error)
"""


@pytest.mark.parametrize("derived", ["with", "without"])
def test_a_read_only_folder_gives_one_clear_line_a_task(root, picture, derived):
    with writing(files_of(root)):
        put_picture(files_of(root), picture("2026-06-01T0915Z"))
    if derived == "without":
        shutil.rmtree(root / ".northlimb-work")
    folders = [path for path in (root, *root.rglob("*")) if path.is_dir()]
    for folder in folders:
        folder.chmod(0o555)
    try:
        answer = run(READ_ONLY, root)
    finally:
        for folder in folders:
            folder.chmod(0o755)
    assert answer.stderr == ""
    first, *lines = answer.stdout.splitlines()
    assert first == "1 None"
    assert len(lines) == 5
    assert [line for line in lines if ": cannot be written: Permission denied; check permissions and" not in line] == []
    assert (root / "archive.toml").read_text(encoding="utf-8").count("films") == 0


HOLDER = """
import signal, sys, time
from pathlib import Path
signal.signal(signal.SIGINT, signal.default_int_handler)  # ignored in a shell's background, and so inherited
from archive.records.archive_files import files_of
from archive.records.folder import writing
with writing(files_of(Path(sys.argv[1]))):
    print("holding", flush=True)
    time.sleep(60)
"""


@pytest.mark.parametrize("ending", [signal.SIGKILL, signal.SIGINT])
def test_two_writers_are_kept_apart_and_a_dead_one_holds_nothing(root, picture, ending):
    with subprocess.Popen(
        [sys.executable, "-c", HOLDER, str(root)],
        env={**os.environ, "PYTHONPATH": str(CHECKOUT)},
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
    ) as holder:
        try:
            assert holder.stdout.readline() == "holding\n"
            with pytest.raises(FolderError) as caught:
                with writing(files_of(root)):
                    pytest.fail("two writers at once")
            (cause,) = caught.value.causes
            since = r"\(.+ on .+, since \d{4}-\d\d-\d\d \d\d:\d\d UTC\)"
            told = rf"{re.escape(str(root))}: another northlimb is at work in this archive {since}; wait for it to end"
            assert re.fullmatch(told, cause)
            assert places(files_of(root)) == []  # reading is free
        finally:
            holder.send_signal(ending)
            holder.wait(timeout=30)
    with writing(files_of(root)):
        put_picture(files_of(root), picture("2026-06-03T0915Z"))
    assert len(places(files_of(root))) == 1


BUSY = """
import hashlib, sys
from pathlib import Path
from archive.errors import FolderError
from archive.records.archive_files import files_of
from archive.records.folder import NewPicture, put_picture, writing
from archive.records.places import free_place
from datetime import UTC, datetime
root, mark, left, refused = Path(sys.argv[1]), sys.argv[2], 15, 0
while left:
    data = f"{mark}{left}".encode()
    try:
        with writing(files_of(root)):
            place = free_place(files_of(root), datetime(2026, 6, 3, 9, 15, tzinfo=UTC))
            put_picture(files_of(root), NewPicture(place, ".png", data, hashlib.sha256(data).hexdigest(), b""))
            left -= 1
    except FolderError as error:
        assert "another northlimb is at work" in str(error), error
        refused += 1
print(refused)
"""


def test_two_busy_writers_lose_no_picture_between_them(root):
    environment = {**os.environ, "PYTHONPATH": str(CHECKOUT)}
    writers = [
        subprocess.Popen(
            [sys.executable, "-c", BUSY, str(root), mark],
            env=environment,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        for mark in "ab"
    ]
    for writer in writers:
        _, errors = writer.communicate(timeout=60)
        assert errors == ""
    contents = sorted(path.read_bytes().decode() for path in root.rglob("*.png"))
    assert contents == sorted(f"{mark}{number}" for mark in "ab" for number in range(1, 16))
    assert (root / "checksums.sha256").read_text().count("\n") == 30
