"""Derived values that were damaged, or written by a hand that meant harm, are read as absent."""

import hashlib
import json

import numpy as np
import pytest

from archive.records.map_files import read_sums, write_sums
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


def test_damaged_sums_of_a_map_are_none_or_what_they_were(tmp_path):
    """Whatever bit changes: some are of the packing's dates and names, on which nothing hangs."""
    rng = np.random.default_rng(8)
    light, weight = rng.random((2, 9, 18), dtype=np.float32)
    path = tmp_path / "sums.npz"
    write_sums(path, light, weight)
    whole, found = path.read_bytes(), []
    for place in range(0, len(whole), 7):
        damaged = bytearray(whole)
        damaged[place] ^= 1 << int(rng.integers(8))
        path.write_bytes(damaged)
        found.append(read_sums(path))
    assert sum(one is None for one in found) > 0.8 * len(found)
    for one in found:
        assert one is None or (np.array_equal(one[0], light) and np.array_equal(one[1], weight))
