"""A small drawn Sun and the archive that the README makes of it, both quick to work on."""

from __future__ import annotations

import json
import shlex
from pathlib import Path
from typing import Any

import pytest
from PIL import Image
from scenes.discs import Scene, Spot, draw_disc, quantise

from archive.commands.main import main
from readme.text import block_with

__all__ = ["NEW", "answer_of", "draw", "new_archive"]

# The README's own `northlimb new`, without the folder.
NEW = shlex.split(block_with("northlimb new my-sun").lines[0])[3:]


def draw(path: Path, *, seed: int = 1, spots: tuple[Spot, ...] = ()) -> Path:
    """A picture of 260 x 250 pixels; another seed is another picture."""
    scene = Scene(
        width_px=260,
        height_px=250,
        x_px=131.2,
        y_px=123.6,
        radius_px=104.3,
        north_angle_deg=20.0,
        seed=seed,
        spots=spots,
    )
    Image.fromarray(quantise(draw_disc(scene), 8)).save(path, compress_level=1)
    return path


def new_archive(folder: Path) -> Path:
    """An archive made as the README makes it."""
    assert main(["new", str(folder), *NEW]) == 0
    return folder


def answer_of(capsys: pytest.CaptureFixture[str], *words: object) -> Any:
    """What a command that ends with 0 answers with --json."""
    capsys.readouterr()
    status = main([*map(str, words), "--json"])
    printed = capsys.readouterr()
    assert status == 0, printed.err + printed.out
    return json.loads(printed.out)
