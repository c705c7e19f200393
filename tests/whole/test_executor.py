"""Work in this process, in several, and on a cluster: the same results, whoever did it and whoever was killed.

The cluster is a real Dask scheduler with two workers, each a process of its own, on loopback.
"""

from __future__ import annotations

import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from derived import all_rows, blobs, maker_of
from scenes.discs import Scene, Spot
from website.killed_update import tree

from archive.building import build
from archive.commands.main import main
from archive.errors import PictureError, WorkError
from archive.execution.executor import IN_THIS_PROCESS, Executor, executor_at, processors
from archive.execution.progress import silent
from archive.stages.unchanged import keep_build, keep_inputs
from whole.conftest import NEW, draw
from whole.pieces import doubled, killed_always, killed_once, refused, threads_of

ALL_PROCESSORS = True
AV1 = True  # the other processes write it
CHECKOUT = Path(__file__).resolve().parents[2]
NUMBERS = [(number,) for number in range(20)]

linux = pytest.mark.skipif(sys.platform != "linux", reason="looks for processes in /proc")
several = pytest.mark.skipif(processors() < 2, reason="one processor: all is done in this process")


@pytest.fixture(scope="module")
def processes() -> Iterator[Executor]:
    with executor_at(None) as executor:
        yield executor


@several
def test_results_come_in_order_from_other_processes(processes: Executor) -> None:
    results = list(processes.map(doubled, NUMBERS))
    assert [twice for twice, _ in results] == [2 * number for number in range(20)]
    assert os.getpid() not in {who for _, who in results}


def test_a_few_pieces_start_no_process() -> None:
    with executor_at(None) as executor:
        assert {who for _, who in executor.map(doubled, NUMBERS[:3])} == {os.getpid()}
        assert list(executor.map(doubled, ())) == []


@several
def test_arguments_are_asked_for_a_few_ahead_only(processes: Executor) -> None:
    asked = []

    def arguments() -> Iterator[tuple[int]]:
        for number in range(100):
            asked.append(number)
            yield (number,)

    for done, _ in enumerate(processes.map(doubled, arguments())):
        assert len(asked) <= done + processors() + 6


@several
def test_large_pieces_are_not_all_sent_at_once(processes: Executor, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("archive.execution.in_flight.MOST_BYTES", 1000)
    asked = []

    def arguments() -> Iterator[tuple[bytes]]:
        for number in range(8):
            asked.append(number)
            yield (bytes(600),)

    for done, size in enumerate(processes.map(len, arguments())):
        assert size == 600
        assert len(asked) <= done + 2


@several
def test_what_is_refused_elsewhere_keeps_its_causes(processes: Executor) -> None:
    with pytest.raises(PictureError) as caught:
        list(processes.map(refused, [("a.png",)] * 8))
    assert caught.value.causes == ("a.png: no disc", "a.png: and no Sun")


@several
@linux
def test_workers_keep_to_one_thread_each(processes: Executor) -> None:
    assert set(processes.map(threads_of, NUMBERS[:8])) == {(1, 1)}


@several
@linux
def test_a_worker_killed_from_outside_is_replaced_and_its_work_done(processes: Executor, tmp_path: Path) -> None:
    mark = tmp_path / "killed"
    assert list(processes.map(killed_once, [(number, mark) for number in range(12)])) == list(range(12))
    assert mark.exists()


@several
@linux
def test_work_that_kills_each_of_its_workers_is_told_in_one_line() -> None:
    with executor_at(None) as executor, pytest.raises(WorkError, match="ended from outside 3 times") as caught:
        list(executor.map(killed_always, NUMBERS))
    assert len(caught.value.causes) == 1


@pytest.fixture(scope="module")
def drawn(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with an archive of four small pictures, of which nothing is derived yet, and these pictures.

    It has one film, and one look, to be quick.
    """
    folder = tmp_path_factory.mktemp("drawn")
    for number in range(4):
        scene = Scene(
            width_px=150, height_px=140, x_px=76.0, y_px=70.0, radius_px=55.0, blur_px=0.5, seed=number,
            spots=(Spot(18.0, 20.0 - 13.0 * number / 4, 4.0),),
        )  # fmt: skip
        draw(folder / f"2026060{number // 2 + 1}T{9 + number % 2:02d}1500Z.png", scene)
    root = folder / "my-sun"
    assert main(["new", str(root), *NEW]) == 0
    with pytest.MonkeyPatch.context() as patch:  # what it does here need start no processes
        patch.setenv("PYTHON_CPU_COUNT", "1")
        assert main(["add", str(root), str(folder)]) == 0
    settings = root / "archive.toml"
    film = "\n[[films]]\ndays = 2\nsize_px = 480\npace_s = 0.2\n"
    settings.write_text(re.sub(r"looks = .*", 'looks = ["natural"]', settings.read_text()) + film)
    emptied(root)
    return folder


@pytest.fixture
def filed(drawn: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(drawn, tmp_path / "drawn")) / "my-sun"


def emptied(root: Path) -> None:
    """Without anything that is derived."""
    for name in ("site", ".northlimb"):
        shutil.rmtree(root / name, ignore_errors=True)


def content(root: Path) -> dict[str, object]:
    """Every file but those that know times and locks; of the table the values, but of what knows the files' times."""
    passed = re.compile(r"\.northlimb-work/(lock|site-[0-9a-f]+)$|remembered-words\.json$|\.northlimb/store\.sqlite")
    files = {name: data for name, data in tree(root).items() if not passed.match(name)}
    values = {f"{maker}: {name}": (value, held) for maker, name, _, value, held, _ in all_rows(root)}
    return {
        **files,
        **{
            name: value
            for name, value in values.items()
            if not name.startswith((maker_of(keep_build), maker_of(keep_inputs)))
        },
    }


class Cluster:
    """A scheduler and its workers; `make_whole` starts what a test has killed, but no more workers than it needs."""

    def __init__(self, folder: Path) -> None:
        self._folder, self._started = folder, 0
        self.address, self.scheduler, self.workers = "", None, []  # type: ignore[var-annotated]

    def make_whole(self, least_workers: int = 1) -> None:
        if self.scheduler is None or self.scheduler.poll() is not None:
            self.end()
            with socket.socket() as found:
                found.bind(("127.0.0.1", 0))
                port = str(found.getsockname()[1])
            self.address = f"tcp://127.0.0.1:{port}"
            # The scheduler knows nothing of northlimb; the workers do, and run in folders of their own.
            self.scheduler = self._run("scheduler", "--port", port, path="")
        self.workers = [worker for worker in self.workers if worker.poll() is None]
        while len(self.workers) < least_workers:
            own = ("--nthreads", "1", "--no-nanny", "--local-directory", str(self._folder / f"w{self._started}"))
            self.workers.append(self._run("worker", self.address, *own, path=str(CHECKOUT)))
        wait_for(lambda: joined(self.address) == len(self.workers))

    def end(self) -> None:
        for process in (*self.workers, *([self.scheduler] if self.scheduler else [])):
            process.kill()
            process.wait()

    def _run(self, *words: str, path: str) -> subprocess.Popen[bytes]:
        self._started += 1
        return run([sys.executable, "-m", "dask", *words, "--host", "127.0.0.1", "--no-dashboard"], self._folder, path)


@pytest.fixture(scope="module")
def shared_cluster(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Cluster]:
    pytest.importorskip("distributed", reason="needs northlimb[cluster]")
    cluster = Cluster(tmp_path_factory.mktemp("cluster"))
    try:
        yield cluster
    finally:
        cluster.end()


@pytest.fixture
def cluster(shared_cluster: Cluster) -> Cluster:
    shared_cluster.make_whole()
    return shared_cluster


def run(words: list[str], folder: Path, path: str) -> subprocess.Popen[bytes]:
    # Nobody looks at what Dask tells of its own time, which it takes a hundred times a second.
    environment = {**os.environ, "PYTHONPATH": path, "DASK_DISTRIBUTED__WORKER__PROFILE__ENABLED": "False"}
    return subprocess.Popen(words, cwd=folder, env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)


def joined(address: str) -> int:
    from distributed import Client

    try:
        with Client(address, timeout=5, set_as_default=False) as client:
            return len(client.nthreads())
    except OSError:
        return 0


def wait_for(there: Callable[[], bool], seconds: float = 40.0) -> None:
    until = time.monotonic() + seconds
    while not there():
        assert time.monotonic() < until
        time.sleep(0.1)


@several
def test_the_site_is_the_same_to_the_byte_whoever_did_the_work(filed: Path, cluster: Cluster) -> None:
    build(filed, site_dir=None, on_progress=silent, executor=IN_THIS_PROCESS)
    here = content(filed)
    assert sum(name.startswith("site/films/") and name.endswith(".mp4") for name in here) == 3

    emptied(filed)
    with executor_at(None) as executor:
        build(filed, site_dir=None, on_progress=silent, executor=executor)
    assert content(filed) == here

    def kill_one(what: str, done: int, total: int) -> None:
        if what == "aligning" and done == 2:
            cluster.workers[0].kill()

    emptied(filed)
    cluster.make_whole(2)
    with executor_at(cluster.address) as executor:
        build(filed, site_dir=None, on_progress=kill_one, executor=executor)
    assert cluster.workers[0].wait(10) == -signal.SIGKILL
    assert content(filed) == here


def test_pictures_are_filed_the_same_way_by_a_cluster(filed: Path, cluster: Cluster) -> None:
    folder, other = filed.parent, filed.with_name("other")
    records = {name: data for name, data in tree(filed).items() if name.startswith("2026/")}
    # In the midst, one that is none; at the end, one that has come before.
    (folder / "20260602T070000Z.png").write_bytes(b"no picture")
    shutil.copy(folder / "20260601T091500Z.png", folder / "20260609T091500Z.png")
    assert main(["new", str(other), *NEW]) == 0
    assert main(["add", str(other), str(folder), "--scheduler", cluster.address]) == 1  # the broken one is refused
    assert {name: data for name, data in tree(other).items() if name.startswith("2026/")} == records
    assert not list(other.rglob("*.northlimb-part"))


@pytest.mark.parametrize(("goes", "told"), [("workers", "all workers have gone"), ("scheduler", "connection .* lost")])
def test_a_cluster_that_goes_in_the_midst_is_told_in_one_line(
    filed: Path, cluster: Cluster, goes: str, told: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("archive.execution.cluster._WAIT_FOR_WORKERS_S", 1.0)
    monkeypatch.setattr("archive.execution.cluster._CONNECT_S", 2)

    def kill(what: str, done: int, total: int) -> None:
        if what == "measuring" and done == 1:
            for process in cluster.workers if goes == "workers" else [cluster.scheduler]:
                process.kill()

    with executor_at(cluster.address) as executor, pytest.raises(WorkError, match=told) as caught:
        build(filed, site_dir=None, on_progress=kill, executor=executor)
    assert len(caught.value.causes) == 1
    assert not (filed / "site").exists()
    assert main(["verify", str(filed)]) == 0


@pytest.mark.parametrize("address", ["nonsense", "http://127.0.0.1:8786", "tcp://127.0.0.1:1"])
def test_a_scheduler_that_cannot_be_is_told_in_one_line(
    archive_folder: Path, address: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    pytest.importorskip("distributed", reason="needs northlimb[cluster]")
    monkeypatch.setattr("archive.execution.cluster._CONNECT_S", 1)
    capsys.readouterr()
    assert main(["build", str(archive_folder), "--scheduler", address]) == 1
    said = capsys.readouterr().err.splitlines()
    assert len(said) == 1
    assert address in said[0]


def test_without_dask_one_line_says_how_to_install_it(
    archive_folder: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    capsys.readouterr()
    assert main(["build", str(archive_folder), "--scheduler", "tcp://127.0.0.1:1"]) == 1
    (line,) = capsys.readouterr().err.splitlines()
    assert "python -m pip install 'northlimb[cluster]'" in line


def started_build(root: Path) -> tuple[subprocess.Popen[str], set[int]]:
    """A build of its own session with workers, and their process ids once they are at work."""
    process = subprocess.Popen(
        [sys.executable, "-m", "archive", "build", str(root)],
        env={**os.environ, "PYTHONPATH": str(CHECKOUT)},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )
    workers: set[int] = set()

    def at_work() -> bool:
        workers.update(children(process.pid))
        return len(blobs(root)) >= 1

    wait_for(at_work)
    assert len(workers) >= 2
    return process, workers


def children(pid: int) -> set[int]:
    return {int(child) for child in Path(f"/proc/{pid}/task/{pid}/children").read_text().split()}


def gone(pid: int) -> bool:
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] == "Z"
    except OSError:
        return True


@several
@linux
def test_workers_go_with_a_command_that_is_killed(filed: Path) -> None:
    process, workers = started_build(filed)
    process.kill()
    process.communicate()
    wait_for(lambda: all(map(gone, workers)), 10)
    assert main(["verify", "--repair", str(filed)]) == 0


@several
@linux
def test_ctrl_c_ends_command_and_workers_without_a_word_more(filed: Path) -> None:
    process, workers = started_build(filed)
    os.killpg(process.pid, signal.SIGINT)
    _, said = process.communicate(timeout=20)
    assert process.returncode == 130
    assert [line for line in said.splitlines() if line and " of " not in line] == ["stopped"]  # or progress
    wait_for(lambda: all(map(gone, workers)), 10)
