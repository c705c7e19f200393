"""Kept values follow the code that makes them: a changed line remakes just what stands on it."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

import archive
from archive.disc.tone import flatten_disc
from archive.orientation.spots import solve_spots
from archive.pipeline import MAKERS
from archive.store.code import _imports, _version, code_digest, modules_behind
from archive.website.assembly import build_site

PACKAGE = Path(archive.__file__).parent


def test_modules_behind_one_are_those_it_imports_directly_or_through_others() -> None:
    behind = modules_behind(flatten_disc.__module__)
    assert {"archive.disc.tone", "archive.disc.aligned"} <= behind
    assert not any(name.startswith(("archive.website", "archive.stages", "archive.orientation")) for name in behind)


# What they keep is found by all of this installation.
OF_ALL = {"keep_build", "keep_findings", "keep_gathered", "keep_inputs"}


def test_no_maker_stands_on_the_stages_that_call_it() -> None:
    """Else a change of any stage would remake everything."""
    for make in (*MAKERS, build_site):
        if make.__name__ in OF_ALL:
            continue
        assert not modules_behind(make.__module__) & {"archive.pipeline", "archive.stages.archive"}, make


def test_makers_of_pictures_do_not_stand_on_pages_nor_pages_on_pictures() -> None:
    by_name = {make.__name__: modules_behind(make.__module__) for make in MAKERS}
    for name in ("study", "picture_files", "derotated_picture", "grown_map", "film_of", "solve_spots"):
        assert not any(module.startswith("archive.website") for module in by_name[name]), name


def test_every_library_that_is_used_has_a_version() -> None:
    used = set()
    for path in PACKAGE.rglob("*.py"):
        parts = path.relative_to(PACKAGE.parent).with_suffix("").parts
        used |= _imports(".".join(parts[:-1] if parts[-1] == "__init__" else parts))[1]
    assert {"numpy", "scipy", "erfa", "PIL"} <= used
    optional = {"distributed", "boto3", "botocore", "paramiko", "dask"}
    assert not [name for name in used - optional if not _version(name)]


def test_the_library_from_which_the_suns_place_comes_counts() -> None:
    assert "erfa" in set().union(*(_imports(name)[1] for name in modules_behind("archive.sun.view")))
    assert code_digest(solve_spots) != code_digest(flatten_disc)


MADE = """
import sys
sys.path.insert(0, sys.argv[1])
from archive.store.code import code_digest
from archive.pipeline import MAKERS
from archive.website.assembly import build_site
for make in (*MAKERS, build_site):
    print(make.__name__, code_digest(make).hex())
"""


def digests(package_parent: Path) -> dict[str, str]:
    run = subprocess.run(
        [sys.executable, "-c", MADE, str(package_parent)],
        check=True,
        capture_output=True,
        text=True,
        cwd=package_parent,
    )
    return dict(line.split() for line in run.stdout.splitlines())


@pytest.fixture(scope="module")
def copied(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, str]]:
    """A copy of the package, to be left as it is, and its digests."""
    folder = tmp_path_factory.mktemp("copied")
    for name in ("archive", "site_templates"):
        shutil.copytree(PACKAGE.parent / name, folder / name, ignore=shutil.ignore_patterns("__pycache__"))
    return folder, digests(folder)


@pytest.mark.parametrize(
    ("file", "line", "remade"),
    [
        (
            "archive/disc/tone.py",
            "_NEVER_READ = 1\n",
            {"study", "picture_files", "derotated_picture", "grown_map", "film_of"},
        ),
        ("archive/orientation/clock_check.py", "_NEVER_READ = 1\n", {"clock_error_hours"}),
        ("site_templates/day.html", "<!-- -->\n", {"build_site"}),
    ],
)
def test_a_changed_line_remakes_what_stands_on_it(
    copied: tuple[Path, dict[str, str]], file: str, line: str, remade: set[str]
) -> None:
    folder, before = copied
    as_it_was = (folder / file).read_text(encoding="utf-8")
    (folder / file).write_text(as_it_was + line, encoding="utf-8")
    after = digests(folder)
    (folder / file).write_text(as_it_was, encoding="utf-8")
    changed = {name for name in before if before[name] != after[name]} - OF_ALL
    pages = {"build_site", "activity_chart", "latitude_chart", "turning_chart"}
    assert changed - pages == remade - pages
    assert remade <= changed
