"""What was measured is kept by the original's checksum, and measured again where it cannot be used."""

import json

import pytest
from archive.records.measured import read_measured, write_measured

from archive.kept import checked, checked_words
from archive.model.measured import Axes, Measured
from archive.model.observation import Disc

SHA256 = "ab" * 32
DISC = Disc(
    x_px=255.4,
    y_px=1 / 3,
    radius_px=236.1,
    flattening=0.001,
    rms_px=0.2,
    short_axis_angle_deg=-12.5,
    sigma_px=1e-9,
    limb_fraction=0.9,
    blur_px=1.5,
)
MEASURED = Measured(512, 384, 16, DISC, Axes("helioprojective", ((0.005, 1e-17), (-1e-17, 0.005))))


def _path(root):
    (path,) = (root / ".northlimb" / "measured").rglob("*.json")
    return path


@pytest.mark.parametrize("measured", [MEASURED, Measured(512, 384, 8, DISC)], ids=["with axes", "without"])
def test_measurements_read_back_to_the_last_digit(root, measured):
    write_measured(root, SHA256, measured)
    assert read_measured(root, SHA256) == measured
    assert read_measured(root, "cd" * 32) is None
    assert _path(root).name == f"{SHA256}.json"


def test_the_same_measurements_give_the_same_bytes(root):
    write_measured(root, SHA256, MEASURED)
    first = _path(root).read_bytes()
    write_measured(root, SHA256, MEASURED)
    assert _path(root).read_bytes() == first


def _altered(root, **changes):
    name = _path(root).relative_to(root / ".northlimb").as_posix()
    kept = json.loads(checked_words(_path(root).read_bytes(), name))
    for key, value in changes.items():
        (kept if key in kept else kept["measured"])[key] = value
    return checked(json.dumps(kept).encode(), name).decode()


@pytest.mark.parametrize(
    "damage",
    [
        lambda root: _altered(root, version=0),
        lambda root: _altered(root, width_px="many"),
        lambda root: _altered(root, disc={"x_px": 1.0}),
        lambda root: _altered(root, measured=None),
        lambda root: _path(root).read_text().replace("255.4", "NaN"),
        lambda root: _path(root).read_text()[:-20],
        lambda root: "",
        lambda root: "[]",
        lambda root: "[" * 100_000,
        lambda root: "\udcff",
    ],
    ids=["version", "type", "disc", "null", "nan", "cut", "empty", "list", "nested", "bytes"],
)
def test_what_cannot_be_used_is_as_if_it_were_not_there(root, damage):
    write_measured(root, SHA256, MEASURED)
    path = _path(root)
    path.write_bytes(damage(root).encode("utf-8", "surrogateescape"))
    assert read_measured(root, SHA256) is None
    write_measured(root, SHA256, MEASURED)
    assert read_measured(root, SHA256) == MEASURED


def test_a_folder_in_the_place_of_the_file_is_passed_over(root):
    write_measured(root, SHA256, MEASURED)
    path = _path(root)
    path.unlink()
    path.mkdir()
    assert read_measured(root, SHA256) is None


def test_reading_makes_nothing(root):
    before = sorted(root.rglob("*"))
    assert read_measured(root, SHA256) is None
    assert sorted(root.rglob("*")) == before
