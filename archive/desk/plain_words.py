"""What the commands tell, without their own language: the desk's pages have buttons and fields in place of options."""

from __future__ import annotations

import re

__all__ = ["COMMAND", "without_command_words"]

COMMAND = re.compile(r"[;,:]? (?:see |run )?`northlimb [^`]*`(?: [^;`]*)?")
_WORDS = (
    (re.compile(r": correct the site in [^`]*, or the time by `[^`]*` with its offset"), "; correct what is wrong"),
    (re.compile(r" with `northlimb remove [^`]*`"), ""),
    (re.compile(r"`northlimb amend [^`]*` moves them, and `[^`]*` moves them back"), "Upkeep moves them together"),
    (COMMAND, ""),
    (re.compile(r"give --\w+ with one of"), "choose one of"),
    # Such as "; give it with --time 2026-06-03T09:15:00Z".
    (re.compile(r"[;,] (?:or )?(?:[a-z]+ )*--[a-z].*$"), ""),
    (re.compile(r"--(time|site|instrument)\b"), r"\1"),
)


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
