"""A small archive of drawn pictures, made by the commands that an observer uses."""

from __future__ import annotations

import io
import json
from collections.abc import Callable, Sequence
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from PIL import Image
from scenes.discs import Scene, Spot, draw_disc, quantise

from archive.commands.main import main

NEW = [
    "--title", "Sun over the quay", "--observer", "A. Teal", "--site", "Quay,52.1234,-1.3456,41", "--time-zone",
    "Europe/London", "--instrument", "Doorstep", "--mount", "altaz", "--mirrored", "no", "--camera-angle", "0",
]  # fmt: skip
SPOTS = (Spot(18.0, 20.0, 2.5), Spot(-12.0, -35.0, 2.0))


def draw(path: Path, scene: Scene | None = None) -> Path:
    """Draw a picture into a file; a small disc, so that tests are quick."""
    path.write_bytes(_drawn(scene or Scene(spots=SPOTS), path.suffix))
    return path


@cache
def _drawn(scene: Scene, suffix: str) -> bytes:
    """A picture's file, which many tests ask for; grain packs no better with more work."""
    stream = io.BytesIO()
    picture = Image.fromarray(quantise(draw_disc(scene), 8))
    picture.save(stream, Image.registered_extensions()[suffix], **({"compress_level": 1} if suffix == ".png" else {}))
    return stream.getvalue()


def new_archive(folder: Path, words: Sequence[str] = NEW) -> Path:
    """An archive that shows one look, which is as good as four here, and quicker."""
    assert main(["new", str(folder), *words]) == 0
    keep_one_look(folder)
    return folder


def keep_one_look(folder: Path) -> None:
    settings = folder / "archive.toml"
    text = settings.read_text(encoding="utf-8")
    settings.write_text(text.replace('["natural", "warm", "mono", "flat"]', '["natural"]'), encoding="utf-8")


@pytest.fixture
def archive_folder(tmp_path: Path) -> Path:
    return new_archive(tmp_path / "my-sun")


@pytest.fixture
def without_av1(monkeypatch: pytest.MonkeyPatch) -> None:
    """As with an encoder that lacks AV1, where only a film's frames matter: it takes two thirds of the time."""
    monkeypatch.setattr("archive.films.film.has_av1", lambda: False)


@pytest.fixture
def answer(capsys: pytest.CaptureFixture[str]) -> Callable[..., Any]:
    """Run a command with --json; its exit status and parsed answer."""

    def run(*words: object) -> tuple[int, Any]:
        capsys.readouterr()
        status = main([*map(str, words), "--json"])
        return status, json.loads(capsys.readouterr().out)

    return run
