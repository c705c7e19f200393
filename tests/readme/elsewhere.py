"""Tests in other rooms that hold what the README says: they must be there, and be about it."""

from __future__ import annotations

import ast
from pathlib import Path

__all__ = ["must_exist"]

_ROOT = Path(__file__).parents[2]


def must_exist(test: str, *words: str) -> None:
    """Fail unless a test of that name, `FILE::FUNCTION`, is there, and its file holds these words."""
    file, _, function = test.partition("::")
    path = _ROOT / file
    assert path.is_file(), f"{test}: no such file"
    text = path.read_text(encoding="utf-8")
    functions = {node.name for node in ast.parse(text).body if isinstance(node, ast.FunctionDef)}
    assert function in functions, f"{test}: no such test"
    missing = [word for word in words if word not in text]
    assert not missing, f"{test}: nothing there about {missing}"
