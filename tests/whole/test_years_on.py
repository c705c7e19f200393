"""The program in 2060, without a network, with libraries' warnings as errors: nothing in it expires.

The clock is set by Debian's faketime, for each command by itself; the network is taken away by a name space of Linux.
"""

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

CHECKOUT = Path(__file__).parents[2]
PICTURES = sorted((CHECKOUT / "sample_archive" / "2026").glob("*/*.jpg"))[:2]
ALONE = ["unshare", "--map-root-user", "--net"]


@pytest.fixture
def command(tmp_path):
    if shutil.which("faketime") is None:
        pytest.skip("sets the clock with faketime, which is not installed")
    can_be_alone = subprocess.run([*ALONE, "true"], capture_output=True, check=False).returncode == 0
    surroundings = {
        "PYTHONPATH": str(CHECKOUT),
        "PYTHONWARNINGS": "error",
        "SSL_CERT_FILE": str(tmp_path / "no-certificates.pem"),
        "PYTHON_CPU_COUNT": "1",
    }

    def run(*words):
        done = subprocess.run(
            [
                *(ALONE if can_be_alone else ()),
                "faketime",
                "2060-06-20 12:00:00",
                sys.executable,
                "-m",
                "archive",
                *words,
            ],
            cwd=tmp_path,
            env={**os.environ, **surroundings},
            capture_output=True,
            text=True,
            check=False,
        )
        assert done.returncode == 0, done.stderr
        return done.stdout

    return run


def test_an_evening_in_2060(tmp_path, command):
    place = ("--site", "Quay,52.1,-1.3", "--time-zone", "UTC")
    camera = ("--instrument", "Doorstep", "--mount", "altaz", "--mirrored", "no", "--camera-angle", "0")
    command("new", "sun", "--title", "Sun", "--observer", "A. Teal", *place, *camera)
    for day, picture in enumerate(PICTURES, start=18):
        shutil.copyfile(picture, tmp_path / f"{day}.jpg")
        command("add", "sun", f"{day}.jpg", "--time", f"2060-06-{day}T10:00:00Z")
    command("build", "sun", "--no-films")
    command("film", "sun", "--days", "2", "--style", "daily", "--out", "two.mp4")
    command("publish", "sun", "out")
    assert "2 originals read; all as filed" in command("verify", "sun")
    assert "means of 2 days" in command("report", "sun", "--month", "2060-06")
    assert (tmp_path / "out" / "days" / "2060-06-18" / "index.html").is_file()
    assert (tmp_path / "two.mp4").stat().st_size > 10_000
    # The Earth crosses the Sun's equator about 6 June and 7 December (almanacs, from memory); it does so in 2060.
    assert abs(json.loads(command("sun", "sun", "--time", "2060-06-06T12:00:00Z", "--json"))["b0_deg"]) < 0.1
