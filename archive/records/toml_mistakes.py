"""Mistakes in lines that are not valid TOML, explained for those who do not know its grammar."""

from __future__ import annotations

import re

__all__ = ["format_mistake"]

_AT = re.compile(r"\(at (?:line (\d+), column \d+|end of document)\)$")
_LONGEST_LINE = 60
_PARSER_MESSAGES = {
    "Cannot overwrite a value": "duplicate key",
    "Unclosed array": "a comma, or the closing bracket of a list, is missing",
}
_COMMA = r"^\s*[\w.-]+\s*=\s*([+-]?\d+),(\d+)\s*(#.*)?$"
_OPEN_TEXT = r"^\s*[\w.-]+\s*=\s*(\"[^\"]*|'[^']*)$"
# The first pattern that matches a line gives the advice.
_MISTAKES = (
    (r"[=,\[]\s*[“”„«»‘’]", 'write straight quotes, "'),
    (r"^\s*(latitude|longitude)_deg\s*=\s*[\d.+-]+[\s°:NSEW]", 'write it in quotes, such as "52.1N" or "52 06 30 N"'),
    (r"^\s*[\w.-]+\s*=\s*(#.*)?$", "the value is missing; give one, or remove the line"),
    (r"^\s*[\w.-]+\s*:", "write key = value, not key: value"),
    (_OPEN_TEXT, "the closing quote is missing"),
    (r"=\s*\"[^\"]*\\", "write a backslash twice in double quotes, or use '...' instead"),
    (r"^\s*[\w.-]+\s*=\s*(True|False|TRUE|FALSE)\b", "write true or false in small letters"),
    (r"=\s*(\d{1,4}[-./]\d{1,2}[-./]\d|\d{1,2}:\d)", "write a day as 2026-06-03, a time as 2026-06-03T09:15:00Z"),
    (r"=\s*[+-]?(\.\d+|\d+\.)\s*(#.*)?$", "write digits on both sides of the decimal point"),
    (r"^\s*[\w.-]+\s*=\s*\d[\d.]*\s*°?\s*\D+$", "write a number without its unit"),
    (r"^\s*[\w.-]+\s*=\s*[^\W\d]", "text must be in quotes"),
    (r"^\s*(\[[^\[\]]*|\[\[[^\[\]]*\]?)\s*$", "the closing bracket is missing"),
    (r"^\s*\w+(\s+\w+)+\s*=", "a key is one word"),
)


def format_mistake(text: str, error: ValueError) -> str:
    """Return the line, its text and what to do; in the parser's words where the mistake is not a common one.

    Parameters
    ----------
    text : str
        The whole file.
    error : tomllib.TOMLDecodeError
        What the parser made of it.
    """
    problem = str(error)
    for theirs, ours in _PARSER_MESSAGES.items():
        problem = problem.replace(theirs, ours)
    at = _AT.search(problem)
    if at is None:
        return f"not valid TOML: {problem}; fix it"
    lines = text.rstrip().replace("\r\n", "\n").split("\n")
    number = _last_or_open(lines) if at[1] is None else int(at[1])
    line = lines[number - 1] if number <= len(lines) else ""
    shown = line.strip() if len(line.strip()) <= _LONGEST_LINE else f"{line.strip()[: _LONGEST_LINE - 3]}..."
    advice = next((words for pattern, words in _MISTAKES if re.search(pattern, line)), None)
    if (comma := re.search(_COMMA, line)) is not None:
        advice = f"write {comma[1]}.{comma[2]}, with a decimal point"
    if problem.startswith("Invalid date"):
        advice = "no such day or time"
    if advice is None or "duplicate key" in problem:
        return f"not valid TOML: {problem}; fix it"
    return f"line {number}: {shown}: {advice}"


def _last_or_open(lines: list[str]) -> int:
    """Return the line at fault where the parser reached the end of the file: an unclosed text, or the last line."""
    return next((number for number, line in enumerate(lines, 1) if re.search(_OPEN_TEXT, line)), len(lines))
