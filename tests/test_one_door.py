"""All files are opened, listed, renamed and removed through one module; read from the code."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

import archive

PACKAGE = Path(archive.__file__).parent
DOOR = PACKAGE / "disk"
# Functions by which the standard library opens, lists, makes, moves or removes something by its path.
OS = {
    "access", "chmod", "chown", "fwalk", "link", "listdir", "lchmod", "lchown", "makedirs", "mkdir", "mkfifo", "mknod",
    "open", "readlink", "remove", "removedirs", "rename", "renames", "replace", "rmdir", "scandir", "symlink",
    "truncate", "unlink", "utime", "walk",
}  # fmt: skip
METHODS = {
    "glob", "hardlink_to", "iterdir", "lchmod", "read_bytes", "read_text", "readlink", "rglob", "symlink_to", "touch",
    "unlink", "write_bytes", "write_text",
}  # fmt: skip
# Methods of paths whose names others have too: those of paths are told by how many words they are given.
OF_PATHS = {"rename": 1, "replace": 1, "chmod": 1, "mkdir": 0, "rmdir": 0}
HARMLESS = {"shutil.which", "shutil.get_terminal_size"}


def modules() -> list[Path]:
    found = [path for path in sorted(PACKAGE.rglob("*.py")) if DOOR not in path.parents]
    assert len(found) > 100
    return found


def breaches(tree: ast.AST) -> Iterator[tuple[int, str]]:
    """Calls that reach the disk by a path of their own; the null device, in place of a closed stream, is none."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and "os.devnull" not in ast.unparse(node):
            words = ast.unparse(node.func)
            if words == "open" or (isinstance(node.func, ast.Attribute) and is_breach(node, node.func)):
                yield node.lineno, words


def is_breach(node: ast.Call, function: ast.Attribute) -> bool:
    owner, name = ast.unparse(function.value), function.attr
    if owner in ("os", "shutil", "glob", "fileinput"):
        return (owner != "os" or name in OS) and f"{owner}.{name}" not in HARMLESS
    if name == "open":  # a path is told how to open, all others what
        return not node.args or (
            isinstance(node.args[0], ast.Constant) and set(str(node.args[0].value)) <= set("rwxabt+")
        )
    if name == "replace" and node.keywords:  # of a time or a data class
        return False
    return name in METHODS or OF_PATHS.get(name) == len(node.args)


@pytest.mark.parametrize("path", modules(), ids=lambda path: path.relative_to(PACKAGE).as_posix())
def test_no_other_module_opens_lists_moves_or_removes_by_itself(path: Path) -> None:
    found = list(breaches(ast.parse(path.read_text(encoding="utf-8"))))
    assert not found, f"{path}: goes past archive/disk/"


@pytest.mark.parametrize(
    "code",
    [
        "open('a')", "os.open('a', 0)", "os.replace('a', 'b')", "os.scandir('a')", "shutil.rmtree('a')",
        "Path('a').read_bytes()", "path.unlink()", "path.replace(other)", "path.open('wb')", "(root / 'a').mkdir()",
        "root.glob('*')", "path.with_name('a').rename('b')",
    ],
)  # fmt: skip
def test_a_way_past_the_door_is_noticed(code: str) -> None:
    assert list(breaches(ast.parse(code)))


@pytest.mark.parametrize(
    "code",
    [
        "text.replace('a', 'b')",
        "replace(one, file='b')",
        "time.replace(tzinfo=UTC)",
        "files.open('notes.md')",
        "Image.open(stream)",
    ],
)
def test_what_reaches_no_disk_is_none(code: str) -> None:
    assert not list(breaches(ast.parse(code)))
