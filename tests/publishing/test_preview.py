"""`preview` as a process of its own, looked at with a real browser: it builds again, pages reload, it stops cleanly."""

from __future__ import annotations

import re
import signal
import subprocess
import sys
import threading
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from queue import Queue

import pytest
from PIL import Image
from scenes.discs import Scene, draw_disc, quantise
from website.browser import browser, in_browser

from archive.commands.main import main
from archive.records.archive_files import files_of
from archive.records.folder import writing

NEW = [
    "--title", "Sun over the quay", "--observer", "A. Teal", "--site", "Quay,52.1,-1.3", "--time-zone",
    "Europe/London", "--instrument", "Doorstep", "--mount", "altaz", "--mirrored", "no", "--camera-angle", "0",
]  # fmt: skip
DAY = "days/2026-06-03/index.html"
WAIT_S = 30.0


@pytest.fixture
def root(tmp_path: Path) -> Path:
    root = tmp_path / "my-sun"
    assert main(["new", str(root), *NEW]) == 0
    settings = root / "archive.toml"  # one look is as good as four here, and quicker
    settings.write_text(settings.read_text().replace('["natural", "warm", "mono", "flat"]', '["natural"]'))
    assert main(["add", str(root), str(_drawn(tmp_path / "20260603T091500Z.png"))]) == 0
    return root


def _drawn(path: Path, seed: int = 0) -> Path:
    Image.fromarray(quantise(draw_disc(Scene(seed=seed)), 8)).save(path)
    return path


class Running:
    """The process, and the lines it writes, standard output and error together."""

    def __init__(self, process: subprocess.Popen[str]) -> None:
        self.process, self.lines = process, Queue[str]()
        threading.Thread(target=self._read, daemon=True).start()
        self.address = re.search(r"http://127\.0\.0\.1:\d+/[\w-]{22}/", self.wait_for("showing "))[0]  # type: ignore[index]

    def _read(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            self.lines.put(line.rstrip("\n"))

    def wait_for(self, words: str) -> str:
        until = time.monotonic() + WAIT_S
        while True:
            line = self.lines.get(timeout=max(0.0, until - time.monotonic()))
            if words in line:
                return line

    def page(self, path: str = DAY) -> str:
        with urllib.request.urlopen(self.address + path) as answer:
            return str(answer.read().decode())

    def stop(self, number: int) -> int:
        self.process.send_signal(number)
        return self.process.wait(10)


@contextmanager
def previewed(root: Path) -> Iterator[Running]:
    command = [sys.executable, "-m", "archive", "preview", str(root), "--port", "0"]
    with subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, cwd=Path(__file__).parents[2]
    ) as process:
        try:
            yield Running(process)
        finally:
            process.kill()


@in_browser
def test_an_open_page_follows_notes_settings_records_and_pictures(root: Path, tmp_path: Path) -> None:
    with previewed(root) as running, browser() as tab:
        tab.open(running.address + DAY)
        assert tab.run("document.querySelector('#notes')") is None
        notes = root / "2026/2026-06-03/notes.md"
        notes.write_text("Steady air.\n", encoding="utf-8")
        tab.wait("document.body.innerText.includes('Steady air.')")
        settings = root / "archive.toml"
        settings.write_text(settings.read_text().replace("Sun over the quay", "Sun over the pier"))
        tab.wait("document.title.includes('Sun over the pier')")
        # A page that is not there yet waits for its picture.
        tab.open(running.address + "days/2026-06-04/index.html")
        assert main(["add", str(root), str(_drawn(tmp_path / "20260604T091500Z.png", seed=1))]) == 0
        tab.wait("document.title.includes('4 June 2026')")
        # The page's own policy allows what the server added: the browser would report anything blocked.
        assert [told for told in tab.console if "404" not in told] == []
        assert tab.run("document.querySelector('meta[http-equiv]').content").startswith("default-src 'none'")
        assert running.stop(signal.SIGTERM) == 130


def test_a_mistake_is_one_line_the_site_stays_and_putting_it_right_is_enough(root: Path) -> None:
    with previewed(root) as running:
        record = root / "2026/2026-06-03/0915Z.toml"
        right = record.read_text(encoding="utf-8")
        record.write_text(right + "\nseeing = 9\n", encoding="utf-8")
        line = running.wait_for(str(record))
        assert "seeing" in line
        assert "Sun over the quay" in running.page()
        # The same mistake is not told again while it lasts.
        time.sleep(1.5)
        assert running.lines.empty()
        record.write_text(right, encoding="utf-8")
        running.wait_for("built again: ")
        # Another run that writes is waited for.
        with writing(files_of(root)):
            (root / "2026/2026-06-03/notes.md").write_text("Thin haze.\n", encoding="utf-8")
            time.sleep(1.5)
            assert "Thin haze." not in running.page()
        running.wait_for("built again: ")
        assert "Thin haze." in running.page()
        assert running.stop(signal.SIGINT) == 130
        running.wait_for("stopped")


def _parts_can_be_asked_for(running: Running, file: Path) -> None:
    """RFC 9110, section 14: without it players cannot jump within a film."""
    whole = file.read_bytes()
    address = f"{running.address}static/{file.name}"
    size = len(whole)
    for asked, first, last in (
        ("bytes=0-99", 0, 99),
        ("bytes=100-", 100, size - 1),
        ("bytes=-10", size - 10, size - 1),
    ):
        with urllib.request.urlopen(urllib.request.Request(address, headers={"Range": asked})) as answer:
            assert (answer.status, answer.read()) == (206, whole[first : last + 1])
            assert answer.headers["Content-Range"] == f"bytes {first}-{last}/{size}"
    with urllib.request.urlopen(urllib.request.Request(address, headers={"Range": "bytes=5-2"})) as answer:
        assert (answer.status, answer.read()) == (200, whole)
    beyond = urllib.request.Request(address, headers={"Range": f"bytes={size}-"})
    with pytest.raises(urllib.error.HTTPError, match="416"):
        urllib.request.urlopen(beyond)


def test_what_is_added_to_pages_is_not_in_their_files_and_a_taken_port_is_told(
    root: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with previewed(root) as running:
        capsys.readouterr()
        port, secret = running.address.rpartition(":")[2].strip("/").split("/")
        assert main(["preview", str(root), "--port", port]) == 1
        told = f"northlimb: port {port}: Address already in use; choose another with --port"
        assert capsys.readouterr().err.splitlines() == [told]
        served, kept = running.page(), (root / "site" / DAY).read_text(encoding="utf-8")
        added = re.search(rf'<script src="/{secret}/(\.northlimb-preview/watch-\w+\.js)" defer></script>', served)
        assert added is not None
        assert served.replace(added[0], "") == kept
        assert served.count("Content-Security-Policy") == 1
        watch = running.page(added[1])
        since = re.search(rf'"/{secret}/(\.northlimb-preview/since-\w+\.js)\?"', watch)
        assert since is not None
        assert running.page(since[1]) == ""
        assert running.page(since[1].replace("since-", "since-0")) == "location.reload();\n"
        assert running.page("days/2026-06-03/") == served
        _parts_can_be_asked_for(running, root / "site/static/style.css")
        with pytest.raises(urllib.error.HTTPError, match="404"):
            running.page("days/none/index.html")
        with pytest.raises(urllib.error.HTTPError, match="404"):
            running.page("../archive.toml")
    assert ".northlimb-preview" not in "".join(
        path.read_text(encoding="utf-8") for path in (root / "site").rglob("*.html")
    )
