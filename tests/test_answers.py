"""Answers kept by what they were made of: found again by equal inputs, made anew by others, and never a fault."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from markupsafe import Markup

from archive.answers import NO_ANSWERS, Answers, mark_of
from archive.disk import Folder


@dataclass(frozen=True)
class Pair:
    one: float
    words: str


def asked(file: Path, inputs: object, answer: object, kind: object = Pair | None, shared: object = None) -> list[str]:
    """Ask once; what was made on the way."""
    made: list[str] = []

    def make() -> object:
        made.append("made")
        return answer

    answers = Answers(Folder(file.parent.parent), f"{file.parent.name}/{file.name}", shared)
    assert answers.of(inputs, kind, make) == answer
    answers.keep()
    return made


@pytest.mark.parametrize("answer", [Pair(1.5, "a"), None], ids=["a pair", "none"])
def test_an_answer_is_made_once_and_again_for_other_inputs(tmp_path: Path, answer: object) -> None:
    file = tmp_path / "answers" / "pairs"
    assert asked(file, ["a", 1.5], answer) == ["made"]
    assert asked(file, ["a", 1.5], answer) == []
    assert asked(file, ["a", 1.5], answer, shared="others") == ["made"]
    assert asked(file, ["a", 1.6], answer, shared="others") == ["made"]


def test_what_is_not_asked_for_any_more_goes(tmp_path: Path) -> None:
    file = tmp_path / "pairs"
    for inputs, made in (("a", ["made"]), ("b", ["made"]), ("a", ["made"])):
        assert asked(file, inputs, Pair(1.0, inputs)) == made
    assert [path.name for path in tmp_path.iterdir()] == ["pairs"]


def test_an_answer_of_another_kind_is_made_anew(tmp_path: Path) -> None:
    assert asked(tmp_path / "pairs", "a", Pair(1.0, "a")) == ["made"]
    assert asked(tmp_path / "pairs", "a", 3, kind=int) == ["made"]


def test_marks_are_of_values_not_of_their_kinds() -> None:
    same = [Pair(1.5, "a"), Path("b"), {"x": 1, "y": 2}]
    assert mark_of(same) == mark_of([Pair(np.float64(1.5), Markup("a")), "b", {"y": 2, "x": 1}])
    assert mark_of(same) != mark_of([Pair(1.5000001, "a"), Path("b"), {"x": 1, "y": 2}])


def test_without_a_file_or_a_folder_to_write_to_answers_are_made(tmp_path: Path) -> None:
    assert NO_ANSWERS.of("a", int, lambda: 3) == 3
    (tmp_path / "file").write_text("no folder")
    assert asked(tmp_path / "file" / "pairs", "a", 3, kind=int) == ["made"]
    assert asked(tmp_path / "file" / "pairs", "a", 3, kind=int) == ["made"]
