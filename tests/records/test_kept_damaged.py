"""Derived values that were damaged, or written by a hand that meant harm, are read as absent."""

import hashlib
import json

import numpy as np
import pytest
from archive.records.counted_spots import read_spots, write_spots
from archive.records.measured import read_measured, write_measured
from archive.records.solved import kept_answer, kept_or_made, read_learned, write_learned

from archive.disk import Folder
from archive.model.measured import Measured
from archive.model.observation import Disc, FoundSpots, Spot
from archive.records.map_files import MadeOf, read_made, read_sums, write_made, write_sums
from archive.records.words import read_words


@pytest.mark.parametrize(
    "entries", [[1], "x", 3, {"a": 3}, {"a": {"text": "a", "time_ns": 1e400}}, {"a": {"text": "a"}}], ids=repr
)
def test_remembered_words_of_a_wrong_shape_are_none_though_their_check_sum_is_right(tmp_path, entries):
    digest = hashlib.sha256(json.dumps(entries, sort_keys=True).encode()).hexdigest()
    (tmp_path / "remembered-words.json").write_text(json.dumps({"words": entries, "sha256": digest}))
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
    path, derived = tmp_path / "sums.npz", Folder(tmp_path)
    write_sums(derived, "sums.npz", light, weight)
    whole, found = path.read_bytes(), []
    for place in range(0, len(whole), 7):
        damaged = bytearray(whole)
        damaged[place] ^= 1 << int(rng.integers(8))
        path.write_bytes(damaged)
        found.append(read_sums(derived, "sums.npz"))
    assert sum(one is None for one in found) > 0.8 * len(found)
    for one in found:
        assert one is None or (np.array_equal(one[0], light) and np.array_equal(one[1], weight))


def test_a_damaged_bit_in_kept_values_makes_them_absent(tmp_path):
    """Whichever bit it is: in a number or a name it would pass for another measurement."""
    disc = Disc(158.25, 151.5, 132.0, 0.0, 0.1, sigma_px=0.004)
    write_measured(tmp_path, "ab" * 32, Measured(320, 300, 8, disc))
    write_spots(tmp_path, "ab" * 32, disc, FoundSpots((Spot(0.1, -0.2, 350.0, 60.0),), 0.05, 1.0))
    name, _ = kept_or_made(tmp_path, {"made of": 1}, lambda: [{"north_angle_deg": 12.5}])
    write_learned(tmp_path, {"Doorstep": [{"angle_deg": 3.0}]})
    write_made(Folder(tmp_path), "made.json", MadeOf(["a", "b"], 0.75))
    readers = {
        ".northlimb/measured/ab/" + "ab" * 32 + ".json": lambda: read_measured(tmp_path, "ab" * 32),
        ".northlimb/spots/ab/" + "ab" * 32 + ".json": lambda: read_spots(tmp_path, "ab" * 32, disc),
        f".northlimb/orientation/{name}": lambda: kept_answer(tmp_path, {"made of": 1})[1],
        ".northlimb/orientation/learned.json": lambda: read_learned(tmp_path) or None,
        "made.json": lambda: read_made(Folder(tmp_path), "made.json"),
    }
    rng = np.random.default_rng(9)
    for file, read in readers.items():
        path = tmp_path / file
        whole = path.read_bytes()
        assert read() is not None, file
        for place in range(len(whole)):
            damaged = bytearray(whole)
            damaged[place] ^= 1 << int(rng.integers(8))
            path.write_bytes(damaged)
            assert read() is None, (file, place)


def test_what_another_computer_kept_is_made_anew(tmp_path, monkeypatch):
    """An archive handed over whole may hold any values; those that bear another key's check are as if absent."""
    disc = Disc(158.25, 151.5, 132.0, 0.0, 0.1, sigma_px=0.004)
    monkeypatch.setattr("archive.computer_key._key", lambda: b"another computer's key, 32 bytes" * 1)
    write_measured(tmp_path, "ab" * 32, Measured(320, 300, 8, disc))
    assert read_measured(tmp_path, "ab" * 32) is not None
    monkeypatch.undo()
    assert read_measured(tmp_path, "ab" * 32) is None


def test_a_value_under_anothers_name_is_not_believed(tmp_path):
    disc = Disc(158.25, 151.5, 132.0, 0.0, 0.1, sigma_px=0.004)
    write_measured(tmp_path, "ab" * 32, Measured(320, 300, 8, disc))
    measured = tmp_path / ".northlimb/measured/ab"
    (measured / f"{'ab' * 32}.json").rename(measured / f"{'ab' + 'cd' * 31}.json")
    assert read_measured(tmp_path, "ab" + "cd" * 31) is None
