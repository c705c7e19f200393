"""What the desk costs in a long archive: its first page, a picture looked at and put right, a picture dropped.

Run: ``PYTHONPATH=.:tests python tests/benchmarks/bench_desk.py`` (Linux). Records and derived values of ten years are
laid down as `bench_build.py` does; the desk runs as a process of its own and is asked over loopback, as its pages ask.
Seconds are the processor's, of the desk with all of its processes, so that other work on the computer does not count;
beside them stand those of the clock. In the browser, where Chromium is there, times are by the page's own clock.
Nothing here is a test. Wanted: the first page within 1 s; limb and north of a dropped picture of 2048 px 1.5 s after
its last byte; what turning, clicking and a lasso do is seen within 100 ms, and is on disk within 300 ms.
"""

from __future__ import annotations

import argparse
import io
import math
import os
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from statistics import median
from typing import Any

import bench_build
import bench_solve
from desk.desk_client import Client, desk_of
from PIL import Image
from scenes.discs import Scene, draw_disc, quantise
from website.browser import CHROMIUM, Browser, browser

from archive.records.folder import open_folder
from archive.records.new_archive import create_archive
from archive.records.places import places
from archive.records.settings import InstrumentSettings, Settings
from archive.stages.archive import opened_archive

TICKS = os.sysconf("SC_CLK_TCK")
TRIES = 9


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--days", type=int, default=3650)
    parser.add_argument("--at", type=Path, help="a folder to keep the archive in, used again where it is there")
    arguments = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        os.environ["XDG_CONFIG_HOME"] = str((arguments.at or Path(scratch)) / "configuration")
        root = (arguments.at or Path(scratch)) / "archive"
        if not root.exists():
            long_archive(root, arguments.days)
        measure(root, Path(scratch))


def long_archive(root: Path, days: int) -> None:
    instrument = InstrumentSettings(name="Bench", mount="altaz", mirrored="no", camera_angle_deg=37.0)
    settings = Settings(title="Bench", observer="Bench", sites=(bench_solve.SITE,), instruments=(instrument,))
    create_archive(root, settings)
    belt = bench_solve.Belt.of_days(days)
    times = [bench_build.noon_of(number) for number in range(days)]
    with opened_archive(root) as archive:
        for time_utc, sun in zip(times, bench_solve.views(times), strict=True):
            bench_solve.file_away(archive, belt, time_utc, sun)
        bench_build.lay_down(archive)


def measure(root: Path, scratch: Path) -> None:
    there = places(open_folder(root))
    names = [place.id for place in there]
    middle, other = names[len(names) // 2], names[len(names) // 4]
    print(f"{len(there)} days")
    clock_s = time.perf_counter()
    with desk_of(root) as client:
        print(f"  started: processor {used_s(client):.2f} s, clock {time.perf_counter() - clock_s:.2f} s")
        client.enter()
        page = ("/", "/static/desk.css", "/static/style.css", "/static/desk.js", "/static/home.js", "/api/archive")
        told("first page", client, lambda: [client.get(path) for path in page])
        told("what needs attention", client, lambda: client.get("/api/attention"))
        told("first look at a picture", client, lambda: client.get(f"/api/pictures/{middle}"))
        told("its picture", client, lambda: client.get(f"/api/pictures/{middle}/image"))
        told("another picture", client, lambda: client.get(f"/api/pictures/{other}"))
        told("the same again", client, lambda: client.get(f"/api/pictures/{middle}"))
        spotted = next(name for name in names[len(names) // 2 :] if spots_in(client, name) > 3)
        put_right(client, spotted)
        drop(client, root, scratch)
        if CHROMIUM is not None:
            in_browser(client, root, spotted, scratch)


def spots_in(client: Client, name: str) -> int:
    return len(client.get(f"/api/pictures/{name}").json["spots"])


def put_right(client: Client, name: str) -> None:
    """Corrections of each kind, which are on disk when they are answered; all of them are undone."""
    asked: list[tuple[str, dict[str, Any]]] = [
        ("north turned", {"action": "north", "north_angle_deg": 12.5, "mirrored": False}),
        ("a spot is none", {"action": "dust", "spots": [0]}),
        ("a lasso's group", {"action": "gather", "spots": [1, 2]}),
        ("a count by hand", {"action": "count", "counts": {"groups": 1, "spots": 2}}),
    ]
    for words, form in asked:
        made_from = client.get(f"/api/pictures/{name}").json["made_from"]
        answer = told(words, client, lambda form=form, made_from=made_from: client.post(
            f"/api/pictures/{name}/correct", {"made_from": made_from, **form}
        ))  # fmt: skip
        assert answer.status == 200, answer.body
        told("  undone", client, lambda: client.post(f"/api/pictures/{name}/undo"))


def drop(client: Client, root: Path, scratch: Path) -> None:
    last = max(place.id for place in places(open_folder(root)))
    stream = io.BytesIO()
    scene = Scene(width_px=2048, height_px=2048, x_px=1020.0, y_px=1030.0, radius_px=880.0)
    Image.fromarray(quantise(draw_disc(scene), 8)).save(stream, "png")
    name = f"{last[:10].replace('-', '')}T153000Z.png"
    client.get("/api/arrivals")  # as the page does once it is open
    at_rest(client)
    headers = {**client.own_headers(), "content-type": "application/octet-stream"}
    for _ in range(2):
        before_s, clock_s = used_s(client), time.perf_counter()
        card = client.raw("POST", f"/api/arrivals/new?name={name}", stream.getvalue(), headers).json
        while (found := card_of(client, card["id"]))["state"] != "looked":
            time.sleep(0.1)
        spent(f"a dropped PNG of 2048 px ({len(stream.getvalue()) / 1e6:.1f} MB)", client, before_s, clock_s)
        assert found["disc"], found
        client.post(f"/api/arrivals/{card['id']}/leave-out")


def at_rest(client: Client) -> None:
    """Wait until the desk's processes have nothing more to do."""
    before_s = -1.0
    while (now_s := used_s(client)) > before_s + 0.05:
        before_s = now_s
        time.sleep(3.0)


def card_of(client: Client, name: str) -> Any:
    return next(one for one in client.get("/api/arrivals").json["arrivals"] if one["id"] == name)


def in_browser(client: Client, root: Path, name: str, scratch: Path) -> None:
    with desk_of(root) as desk, browser() as page:
        clock_s = time.perf_counter()
        page.open(desk.address)
        page.wait("document.querySelectorAll('.days-list a').length > 3")
        print(f"  in the browser: first page after {time.perf_counter() - clock_s:.2f} s by the clock")
        page.open(f"{desk.origin}/picture#{name}")
        page.wait("document.querySelector('.sheet image') && document.querySelectorAll('[data-spot]').length > 2")
        page.run(NOTE)
        x, y = page.middle('[data-spot="1"] .ring')
        left, top, width, height = page.box(".limb ellipse")
        gestures: dict[str, Callable[[], None]] = {
            "turning north": lambda: page.drag(*page.middle("#north-handle circle"), right=3.0, down=3.0),
            "clicking a spot": lambda: page.drag(x, y),
            "a lasso": lambda: lasso(page, left + width / 2, top + height / 2, width * 0.3),
        }
        for words, gesture in gestures.items():
            page.run("window.seen = []; 0")
            for _ in range(TRIES):
                gesture()
                time.sleep(0.1)
            seen_ms = page.run("window.seen")
            print(f"  {words}: seen after {min(seen_ms):.0f} ms at best, {median(seen_ms):.0f} ms in the middle")


def lasso(page: Browser, x: float, y: float, radius: float) -> None:
    at = [(x + radius * math.cos(step / 6.37), y + radius * math.sin(step / 6.37)) for step in range(41)]
    for kind, (right, down) in [
        ("mousePressed", at[0]),
        *(("mouseMoved", one) for one in at),
        ("mouseReleased", at[0]),
    ]:
        page.send("Input.dispatchMouseEvent", type=kind, x=right, y=down, button="left", buttons=1, clickCount=1)


# From the end of a gesture, by the browser's stamp of it, until the frame that shows what it did has been drawn.
NOTE = """addEventListener('pointerup', (event) => requestAnimationFrame(() => requestAnimationFrame(() =>
  window.seen.push(performance.now() - event.timeStamp))), true); 0"""


def told(words: str, client: Client, work: Callable[[], Any]) -> Any:
    before_s, clock_s = used_s(client), time.perf_counter()
    answer = work()
    spent(words, client, before_s, clock_s)
    return answer


def spent(words: str, client: Client, before_s: float, clock_s: float) -> None:
    used = used_s(client) - before_s
    print(f"  {words}: processor {used:.2f} s, clock {time.perf_counter() - clock_s:.2f} s", flush=True)


def used_s(client: Client) -> float:
    """Return the processor time of the desk and of the processes that it has started and that run."""
    stats = {}
    for path in Path("/proc").glob("[0-9]*/stat"):
        try:
            rest = path.read_text().rpartition(") ")[2].split()
        except OSError:
            continue
        # proc(5): after the name state and parent; user and system time are the 14th and 15th of the line.
        stats[int(path.parent.name)] = int(rest[1]), int(rest[11]) + int(rest[12]), int(rest[13]) + int(rest[14])
    mine = {client.process.pid}
    while more := {pid for pid, (parent, *_) in stats.items() if parent in mine} - mine:
        mine |= more
    return sum(stats[pid][1] + stats[pid][2] for pid in mine) / TICKS


if __name__ == "__main__":
    main()
