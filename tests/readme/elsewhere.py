"""Tests in other rooms that hold what the README says: they must be there, and be about it."""

from __future__ import annotations

import ast
import re
from collections.abc import Mapping
from pathlib import Path

__all__ = ["check_limits", "must_exist"]

_ROOT = Path(__file__).parents[2]


def must_exist(test: str, *words: str) -> None:
    """Fail unless a test of that name, `FILE::FUNCTION`, is there and has these words in it."""
    file, _, function = test.partition("::")
    path = _ROOT / file
    assert path.is_file(), f"{test}: no such file"
    text = path.read_text(encoding="utf-8")
    found = [node for node in ast.parse(text).body if isinstance(node, ast.FunctionDef) and node.name == function]
    assert found, f"{test}: no such test"
    lines = text.splitlines()[min(one.lineno for one in (found[0], *found[0].decorator_list)) - 1 : found[0].end_lineno]
    missing = [word for word in words if word not in "\n".join(lines)]
    assert not missing, f"{test}: nothing there about {missing}"


def check_limits(said: str, limits: Mapping[str, str]) -> None:
    """Find these words in a text in their order, no number between them, and the test that meets each."""
    for words, test in limits.items():
        before, found, said = said.partition(words)
        assert found, words
        assert not re.search(r"\d", before), before
        must_exist(test)
    assert not re.search(r"\d", said), said
