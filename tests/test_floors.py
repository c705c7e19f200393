"""The house keeps its floors: who may import whom, read from the code."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

import archive

PACKAGE = Path(archive.__file__).parent
VALUES = {"model", "errors"}
ALLOWED = {
    "model": set(),
    "disk": {"errors"},
    "language": VALUES | {"disk", "templates_folder"},
    "sun": VALUES,
    "disc": VALUES | {"sun"},
    "orientation": VALUES | {"sun", "measuring"},
    "measuring": VALUES | {"sun", "disc"},
    "reading": VALUES,
    "records": VALUES | {"computer_key", "disk", "language", "signed_content", "theme_files"},
    "store": VALUES | {"disk", "computer_key"},
    "execution": VALUES | {"reading"},
    "films": VALUES | {"disk", "language", "sun", "disc", "records", "store"},
    "website": VALUES
    | {"built", "disk", "language", "safety", "site_tree", "store", "templates_folder", "theme_files"},
    "site_tree": VALUES | {"built", "disk", "signed_content", "store"},
    "publishing": VALUES | {"disk", "site_tree"},
    "upkeep": VALUES | {"disk", "records", "execution"},
    "stages": VALUES
    | {"store", "disk", "language", "sun", "disc", "measuring", "orientation", "reading", "records"}
    | {"execution", "films", "website", "upkeep"},
    "filing": VALUES | {"disk", "sun", "disc", "orientation", "reading", "records", "execution", "stages"},
    "reports": VALUES | {"disk", "sun", "measuring", "reading", "records", "execution", "stages"},
    "delivery": VALUES
    | {"disk", "language", "store", "records", "execution", "website", "site_tree", "publishing"}
    | {"built", "building", "site_folder"},
    "desk": VALUES
    | {
        "safety",
        "sun",
        "reading",
        "computer_key",
        "disk",
        "disc",
        "language",
        "store",
        "records",
        "execution",
        "site_tree",
        "built",
        "building",
        "templates_folder",
    }
    | {"site_folder", "filing", "upkeep", "delivery", "reports", "stages", "publishing", "website"},
    "commands": VALUES
    | {"safety", "disk", "language", "records", "execution", "site_tree", "built", "building", "filing", "upkeep"}
    | {"delivery", "reports", "stages", "desk"},
}
PURE = ("model", "sun", "disc", "orientation", "measuring")
FILE_AND_CLOCK = {
    "io", "logging", "os", "pathlib", "shutil", "subprocess", "sys", "tempfile", "time",
    "click", "PIL", "pydantic", "tifffile", "tomllib", "tomlkit", "astropy",
}  # fmt: skip


def modules(room: str) -> list[Path]:
    found = sorted((PACKAGE / room).rglob("*.py"))
    assert found, room
    return found


def imported(path: Path) -> Iterator[str]:
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            assert node.level == 0, f"{path}: relative import"
            yield node.module


@pytest.mark.parametrize("room", ALLOWED)
def test_room_imports_only_rooms_below_it(room: str) -> None:
    for path in modules(room):
        rooms = {name.split(".")[1] for name in imported(path) if name.startswith("archive.")}
        assert rooms <= ALLOWED[room] | {room}, path


@pytest.mark.parametrize("room", PURE)
def test_pure_room_knows_no_file_clock_or_print(room: str) -> None:
    for path in modules(room):
        tops = {name.split(".")[0] for name in imported(path)}
        assert not tops & FILE_AND_CLOCK, path
        calls = {node.func.id for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
                 if isinstance(node, ast.Call) and isinstance(node.func, ast.Name)}  # fmt: skip
        assert not calls & {"print", "open", "input"}, path


def modules_imported(path: Path) -> set[str]:
    """Return the modules of ours that one needs, also those it imports later; not those that only its types name."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    for node in ast.walk(tree):
        if isinstance(node, ast.If) and "TYPE_CHECKING" in ast.unparse(node.test):
            node.body = []
    found = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and node.module and node.module.startswith("archive"):
            inner = {f"{node.module}.{alias.name}" for alias in node.names} & EVERY.keys()
            # A package of which only modules are taken is not itself needed.
            found |= inner if len(inner) == len(node.names) else inner | {node.module}
    return found - {"archive"}


EVERY = {
    ".".join(path.relative_to(PACKAGE.parent).with_suffix("").parts).removesuffix(".__init__"): path
    for path in PACKAGE.rglob("*.py")
}


def test_no_modules_import_each_other_in_a_circle() -> None:
    needs = {name: modules_imported(path) for name, path in EVERY.items()}
    while leaves := [name for name, others in needs.items() if not others & needs.keys()]:
        for name in leaves:
            del needs[name]
    assert not needs, "in circles, or above one"


def test_every_room_is_on_a_floor() -> None:
    rooms = {path.name for path in PACKAGE.iterdir() if (path / "__init__.py").is_file()}
    assert rooms == set(ALLOWED)


def test_nobody_imports_the_command_line() -> None:
    for path in PACKAGE.rglob("*.py"):
        if path.parent != PACKAGE / "commands" and path != PACKAGE / "start.py":
            assert not any(name.startswith("archive.commands") for name in imported(path)), path
