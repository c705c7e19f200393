"""Derived values that were damaged, or written by a hand that meant harm, are read as absent."""

import hashlib
import json

import pytest

from archive.records.solved import kept_answer, read_learned
from archive.records.words import read_words


@pytest.mark.parametrize(
    "entries", [[1], "x", 3, {"a": 3}, {"a": {"text": "a", "time_ns": 1e400}}, {"a": {"text": "a"}}], ids=repr
)
def test_remembered_words_of_a_wrong_shape_are_none_though_their_check_sum_is_right(tmp_path, entries):
    digest = hashlib.sha256(json.dumps(entries, sort_keys=True).encode()).hexdigest()
    (tmp_path / ".northlimb").mkdir()
    (tmp_path / ".northlimb/words.json").write_text(json.dumps({"words": entries, "sha256": digest}))
    assert read_words(tmp_path) == {}


def test_deep_answers_are_none(tmp_path):
    folder = tmp_path / ".northlimb/orientation"
    folder.mkdir(parents=True)
    name, _ = kept_answer(tmp_path, {})
    for file in (name, "learned.json"):
        (folder / file).write_text("[" * 100_000)
    assert kept_answer(tmp_path, {}) == (name, None)
    assert read_learned(tmp_path) == {}
