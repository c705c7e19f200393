"""Each derived kind of one drawn picture is what it was: results change only when that is meant."""

from __future__ import annotations

import importlib.util
import json
from pathlib import Path
from types import ModuleType

import pytest


def golden() -> ModuleType:
    spec = importlib.util.spec_from_file_location("golden", Path(__file__).with_name("golden.py"))
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


GOLDEN = golden()
WANTED: dict[str, list[float]] = json.loads(GOLDEN.FILE.read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def found() -> dict[str, list[float]]:
    return GOLDEN.summaries()


def test_every_kind_is_compared(found: dict[str, list[float]]) -> None:
    assert found.keys() == WANTED.keys()


# Numbers are rounded to a thousandth; other processors and libraries may differ in the last, encoders by a level.
@pytest.mark.parametrize("kind", WANTED)
def test_a_derived_kind_is_what_it_was(found: dict[str, list[float]], kind: str) -> None:
    encoded = kind.startswith(("picture", "as it came", "derotated", "map picture"))
    assert found[kind] == pytest.approx(WANTED[kind], abs=0.5 if encoded else 0.004)
