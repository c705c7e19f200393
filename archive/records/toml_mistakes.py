"""What is wrong with a line that is not TOML, in words of those who do not know its grammar."""

from __future__ import annotations

import re

__all__ = ["mistake_words"]

_AT = re.compile(r"\(at (?:line (\d+), column \d+|end of document)\)$")
_LONGEST_LINE = 60
_PARSERS_WORDS = {
    "Cannot overwrite a value": "the same key stands twice",
    "Unclosed array": "a comma, or the closing bracket of a list, is missing",
}
_OPEN_TEXT = r"^\s*[\w.-]+\s*=\s*(\"[^\"]*|'[^']*)$"
# The first that fits a line tells what to do with it.
_MISTAKES = (
    (r"[=,\[]\s*[“”„«»‘’]", 'write straight quotes, "'),
    (r"^\s*[\w.-]+\s*=\s*[+-]?\d+,\d+\s*(#.*)?$", "write a decimal point, not a comma"),
    (r"^\s*[\w.-]+\s*=\s*(#.*)?$", "the value is missing; give one, or take the line out"),
    (r"^\s*[\w.-]+\s*:", "write key = value, not key: value"),
    (_OPEN_TEXT, "the closing quote is missing"),
    (r"=\s*\"[^\"]*\\", "in double quotes a backslash must stand twice; write '...' around it"),
    (r"^\s*[\w.-]+\s*=\s*(True|False|TRUE|FALSE)\b", "write true or false in small letters"),
    (r"=\s*(\d{1,4}[-./]\d{1,2}[-./]\d|\d{1,2}:\d)", "write a day as 2026-06-03, a time as 2026-06-03T09:15:00Z"),
    (r"=\s*[+-]?(\.\d+|\d+\.)\s*(#.*)?$", "digits stand on both sides of the point"),
    (r"^\s*[\w.-]+\s*=\s*\d[\d.]*\s*°?\s*\D+$", "a number stands alone, without its unit"),
    (r"^\s*[\w.-]+\s*=\s*[^\W\d]", "text must stand in quotes"),
    (r"^\s*(\[[^\[\]]*|\[\[[^\[\]]*\]?)\s*$", "the closing bracket is missing"),
    (r"^\s*\w+(\s+\w+)+\s*=", "a key is one word"),
)


def mistake_words(text: str, error: ValueError) -> str:
    """Tell the line, what stands there and what to do; in the parser's words where the mistake is no usual one.

    Parameters
    ----------
    text : str
        The whole file.
    error : tomllib.TOMLDecodeError
        What the parser made of it.
    """
    problem = str(error)
    for theirs, ours in _PARSERS_WORDS.items():
        problem = problem.replace(theirs, ours)
    at = _AT.search(problem)
    if at is None:
        return f"not valid TOML: {problem}; mend it"
    lines = text.rstrip().replace("\r\n", "\n").split("\n")
    number = _last_or_open(lines) if at[1] is None else int(at[1])
    line = lines[number - 1] if number <= len(lines) else ""
    shown = line.strip() if len(line.strip()) <= _LONGEST_LINE else f"{line.strip()[: _LONGEST_LINE - 3]}..."
    advice = next((words for pattern, words in _MISTAKES if re.search(pattern, line)), None)
    if problem.startswith("Invalid date"):
        advice = "no such day or time"
    if advice is None or "stands twice" in problem:
        return f"not valid TOML: {problem}; mend it"
    return f"line {number}: {shown}: {advice}"


def _last_or_open(lines: list[str]) -> int:
    """The number of the line at fault where the parser came to the end: a text not closed runs there."""
    return next((number for number, line in enumerate(lines, 1) if re.search(_OPEN_TEXT, line)), len(lines))
