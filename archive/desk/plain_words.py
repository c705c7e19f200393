"""What the commands tell, as the desk says it: its pages have buttons and fields in place of options, and languages."""

from __future__ import annotations

import re

from archive.language.recognition import retold

__all__ = ["told", "without_command_words"]

_COMMAND = re.compile(r"[;,:]? (?:see |run )?`northlimb [^`]*`(?: [^;`]*)?")
_WORDS = (
    (re.compile(r": correct the site in [^`]*, or the time by `[^`]*` with its offset"), "; correct what is wrong"),
    (re.compile(r" with `northlimb remove [^`]*`"), ""),
    (re.compile(r"`northlimb amend [^`]*` moves them, and `[^`]*` moves them back"), "Upkeep moves them together"),
    (_COMMAND, ""),
    (re.compile(r"give --\w+ with one of"), "choose one of"),
    # Such as "; give it with --time 2026-06-03T09:15:00Z".
    (re.compile(r"[;,] (?:or )?(?:[a-z]+ )*--[a-z].*$"), ""),
    (re.compile(r"--(time|site|instrument)\b"), r"\1"),
)


def told(text: str) -> str:
    """Return a line of a command as the desk says it: without words of the command line, in the language spoken."""
    return retold(without_command_words(text))


def without_command_words(text: str) -> str:
    """Return a line of a command without advice to type a command or an option.

    Parameters
    ----------
    text : str
        A cause, a doubt or a warning.
    """
    for pattern, words in _WORDS:
        text = pattern.sub(words, text)
    return text
