"""An archive that lived through many small changes ends in the very site of the same archive built from nothing.

What a history is made of is told in `histories`. A short one by default; 60 long ones where the environment
variable NORTHLIMB_STUDY is `full`. The reference is the program itself where nothing derived is kept.
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from studies.histories import lived

FULL = os.environ.get("NORTHLIMB_STUDY") == "full"

pytestmark = pytest.mark.study


@pytest.mark.parametrize("number", range(60 if FULL else 1))
def test_a_lived_archive_ends_in_the_site_of_one_built_from_nothing(number: int, tmp_path: Path) -> None:
    history = lived(number, 24 if FULL else 3, tmp_path)
    assert history.compared > 0
    assert history.differing == [], "\n".join(history.told)
