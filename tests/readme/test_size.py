"""What the README says an installation takes is what the libraries it names take here, with all that they need."""

from __future__ import annotations

import re
import sys
import tomllib
from collections.abc import Iterator
from importlib import metadata
from pathlib import Path

import pytest
from packaging.requirements import Requirement

from readme.text import README

ROOT = Path(__file__).parents[2]
MOST_MB = 700
# A virtual environment brings pip, and older Pythons setuptools.
ENVIRONMENT_MB = 30


def needed(requirements: list[str], known: set[str]) -> Iterator[metadata.Distribution]:
    """The distributions that these requirements, and theirs, ask for on this system without extras."""
    for one in map(Requirement, requirements):
        if one.name.lower() not in known and (one.marker is None or one.marker.evaluate({"extra": ""})):
            known.add(one.name.lower())
            found = metadata.distribution(one.name)
            yield found
            yield from needed(found.requires or [], known)


def size_mb(path: Path) -> float:
    """What a file takes on disk, in blocks of 4 kB; 0 where a list names one that is not there."""
    return -(-path.stat().st_size // 4096) / 256 if path.is_file() else 0.0


@pytest.mark.skipif(sys.platform != "linux", reason="libraries are of other sizes elsewhere")
def test_an_installation_takes_what_the_readme_says() -> None:
    said = re.search(r"takes about (\d+) MB", " ".join(README.split()))
    assert said
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    own = [path for folder in ("archive", "site_templates") for path in (ROOT / folder).rglob("*.*")]
    sizes_mb = {
        found.name: sum(size_mb(Path(str(found.locate_file(file)))) for file in found.files or [])
        for found in needed(project["dependencies"], set())
    }
    whole_mb = ENVIRONMENT_MB + sum(sizes_mb.values()) + sum(map(size_mb, own))
    print(f"{whole_mb:.0f} MB:", sorted(sizes_mb.items(), key=lambda item: -item[1])[:8])
    assert len(sizes_mb) > 20
    assert whole_mb < MOST_MB
    assert whole_mb == pytest.approx(int(said[1]), rel=0.05)
