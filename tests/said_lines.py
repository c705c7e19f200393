"""Find the lines that the code says in English for the command line, and that the desk's pages show as well.

They are what errors are raised with, and what the modules of `_SAYING` hold: in each the words are taken with names in
braces for what is filled in, as `archive.language.recognition` finds them again.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from itertools import product
from pathlib import Path

from archive.desk.desk import SETTINGS_KEYS, words_of_keys
from archive.desk.plain_words import without_command_words
from archive.language.recognition import bare
from archive.records.record import CAPTURE_FACTS

ROOT = Path(__file__).resolve().parent.parent
# Modules all of whose words may reach a page of the desk, beside those that errors are raised with.
_SAYING = (
    "delivery/trust.py",
    "desk/attention.py",
    "desk/beginning.py",
    "desk/command_run.py",
    "desk/corrections.py",
    "desk/films.py",
    "desk/job_queue.py",
    "desk/looking.py",
    "desk/publishing.py",
    "desk/shifts.py",
    "desk/typed_numbers.py",
    "disc/acceptance.py",
    "filing/remarks.py",
    "filing/statements.py",
    "records/grants.py",
    "records/new_archive.py",
    "records/toml_files.py",
    "records/toml_mistakes.py",
    "upkeep/amendment.py",
    "upkeep/shifting.py",
)
# What the desk never asks for.
_NOT_OF_THE_DESK = ("commands/", "execution/cluster.py", "filing/drift_frames.py", "language/", "website/theme.py")
# Errors for programmers, which no user reads.
_NOT_SAID = ("TypeError", "KeyError", "AssertionError", "NotImplementedError", "RuntimeError", "StopIteration")
_FORMAT = re.compile(r"\{(\w+):[^}]*\}")
_WORDS = re.compile(r"[A-Za-z]{2,}[^{}]* [^{}]*[A-Za-z]{2,}|[A-Za-z]{3,} \{|\} [a-z]{3,}")
_NO_SENTENCE = re.compile(r"[\\^]|\(\?|^\s*$|^[A-Z_]+ [A-Z_]+ |\n")


def said_lines(path: Path) -> Iterator[tuple[int, str]]:
    """Return the lines that a module says, each with its place in it."""
    name = path.relative_to(ROOT / "archive").as_posix()
    if name.startswith(_NOT_OF_THE_DESK):
        return
    text, says_all = path.read_text(encoding="utf-8"), name in _SAYING
    if not says_all and "raise " not in text:
        return
    tree = ast.parse(text)
    constants = {
        target.id: node.value
        for node in tree.body
        if isinstance(node, ast.Assign)
        for target in node.targets
        if isinstance(target, ast.Name)
    }
    # Pieces of other texts, and docstrings.
    inner = {
        id(piece)
        for node in (ast.walk(tree) if says_all else ())
        if isinstance(node, ast.JoinedStr | ast.Expr | ast.Call)
        for piece in _told_pieces(node)
    }
    for node in ast.walk(tree):
        if isinstance(node, ast.Raise) and isinstance(node.exc, ast.Call) and _name(node.exc.func) not in _NOT_SAID:
            for argument in node.exc.args:
                found = constants.get(argument.id, argument) if isinstance(argument, ast.Name) else argument
                yield from ((node.lineno, text) for text in _texts(found) if _is_said(text))
        elif says_all and isinstance(node, ast.Constant | ast.JoinedStr) and id(node) not in inner:
            yield from ((node.lineno, text) for text in _texts(node) if _is_said(text))


def messages_said(path: Path) -> Iterator[tuple[int, str]]:
    """Return the messages of a module's lines: as the desk shows them, without the name that stands before them."""
    for line, text in said_lines(path):
        message = bare(without_command_words(text))
        if _is_said(message):
            yield line, message


def names_of_keys() -> list[str]:
    """Return what the desk calls a change of each key."""
    return sorted(words_of_keys([key]) for key in {*SETTINGS_KEYS, *CAPTURE_FACTS, "site", "instrument", "band"})


def _told_pieces(node: ast.AST) -> list[ast.AST]:
    if isinstance(node, ast.JoinedStr):
        return [piece for piece in ast.walk(node) if piece is not node]
    if isinstance(node, ast.Expr):
        return [node.value]
    return (
        list(node.args) if isinstance(node, ast.Call) and _name(node.func).endswith(("gettext", "gettext_noop")) else []
    )


def _is_said(text: str) -> bool:
    return bool(_WORDS.search(text)) and not _NO_SENTENCE.search(text)


def _name(function: ast.expr) -> str:
    return (
        function.attr if isinstance(function, ast.Attribute) else function.id if isinstance(function, ast.Name) else ""
    )


def _texts(node: ast.expr) -> Iterator[str]:
    """Return all texts that an expression may be, with names for what is filled in."""
    if isinstance(node, ast.Constant):
        if isinstance(node.value, str):
            yield _FORMAT.sub(r"{\1}", node.value)
    elif isinstance(node, ast.IfExp):
        yield from _texts(node.body)
        yield from _texts(node.orelse)
    elif isinstance(node, ast.JoinedStr):
        taken: set[str] = set()
        yield from ("".join(parts) for parts in product(*(_parts(value, taken) for value in node.values)))
    elif isinstance(node, ast.BinOp) and isinstance(node.op, ast.Add):
        yield from ("".join(pair) for pair in product(list(_texts(node.left)), list(_texts(node.right))))
    elif isinstance(node, ast.Call) and _name(node.func) == "join":
        return


def _parts(value: ast.expr, taken: set[str]) -> list[str]:
    if isinstance(value, ast.Constant):
        return [str(value.value)]
    assert isinstance(value, ast.FormattedValue)
    if isinstance(value.value, ast.IfExp):
        found = [*_texts(value.value)]
        if len(found) == 2:
            return found
    name = _placeholder(value.value)
    number = 2
    while name in taken:
        name, number = f"{name.rstrip('0123456789')}{number}", number + 1
    taken.add(name)
    return [f"{{{name}}}"]


def _placeholder(node: ast.expr) -> str:
    """Return a name for what stands in a line: that of the variable, or of a function's argument."""
    if isinstance(node, ast.Name):
        return node.id.strip("_").lower()
    if isinstance(node, ast.Attribute):
        return node.attr.strip("_").lower()
    if isinstance(node, ast.Call):
        if node.args:
            return _placeholder(node.args[0])
        return _placeholder(node.func.value) if isinstance(node.func, ast.Attribute) else "value"
    if isinstance(node, ast.Subscript | ast.Starred):
        return _placeholder(node.value)
    if isinstance(node, ast.BoolOp):
        return _placeholder(node.values[0])
    if isinstance(node, ast.BinOp):
        return _placeholder(node.left)
    return "value"
