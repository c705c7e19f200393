"""A small real archive folder, and pictures to file in it. Bytes are arbitrary: the folder does not look inside."""

import hashlib

import pytest

from archive.records.folder import NewPicture
from archive.records.places import place_of_id

SETTINGS = """\
# Settings of an invented observatory.
title = "Quillmoor Sun"   # shown on every page
observer = "A. Observer"

[[sites]]
name = "Tor"
latitude_deg = 52.1
longitude_deg = -1.3

[[instruments]]
name = "Refractor"
"""


@pytest.fixture
def root(tmp_path):
    folder = tmp_path / "my-sun"
    folder.mkdir()
    (folder / "archive.toml").write_text(SETTINGS, encoding="utf-8")
    return folder


@pytest.fixture
def picture():
    """Makes a picture for an id."""

    def make(identifier, data=b"picture", suffix=".png"):
        return NewPicture(
            place_of_id(identifier), suffix, data, hashlib.sha256(data).hexdigest(), b'title = "a record"\n'
        )

    return make
