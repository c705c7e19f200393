"""What is kept beside the archive's own files, damaged or written by a hand that meant harm, is read as absent."""

import hashlib
import json

import pytest

from archive.records.archive_files import files_of
from archive.records.text_files import remembered_files


@pytest.mark.parametrize(
    "entries", [[1], "x", 3, {"a": 3}, {"a": {"text": "a", "time_ns": 1e400}}, {"a": {"text": "a"}}], ids=repr
)
def test_remembered_words_of_a_wrong_shape_are_none_though_their_check_sum_is_right(tmp_path, entries):
    digest = hashlib.sha256(json.dumps(entries, sort_keys=True).encode()).hexdigest()
    (tmp_path / "remembered-words.json").write_text(json.dumps({"words": entries, "sha256": digest}))
    assert remembered_files(files_of(tmp_path)) == {}
