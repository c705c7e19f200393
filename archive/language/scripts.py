"""Words in scripts: put in place when a script is written out, so that no catalogue travels with a page.

A script says ``_("Frame {frame} of {frames}")``, where `frame` and `frames` are its own names in that place, or
``ngettext("{n} match", "{n} matches", n)``; what is written out is a template literal of the language's words.
"""

from __future__ import annotations

import gettext as standard_gettext
import json
import re

from archive.language.speech import catalogue_spoken, gettext, translated_form

__all__ = ["translated_script"]

_TEXT = r'"(?:[^"\\\n]|\\.)*"'
_ONE = re.compile(rf"\b_\(\s*({_TEXT})\s*\)")
_MANY = re.compile(rf"\bngettext\(\s*({_TEXT}),\s*({_TEXT}),\s*n\s*\)")


def translated_script(script: str) -> str:
    """Return a script with its messages in the language that is spoken."""
    script = _MANY.sub(lambda found: _counted(json.loads(found[1]), json.loads(found[2])), script)
    return _ONE.sub(lambda found: _literal(gettext(json.loads(found[1]))), script)


def _counted(singular: str, plural: str) -> str:
    catalogue = catalogue_spoken()
    rule = "n != 1" if catalogue is None else catalogue.plural
    form_of = standard_gettext.c2py(rule)
    # Each form by a count that asks for it.
    forms = {form_of(n): translated_form(singular, plural, n) for n in (*range(200), 1_000_000)}
    return f"[{', '.join(_literal(forms[number]) for number in sorted(forms))}][Number({rule})]"


def _literal(text: str) -> str:
    """Write a message as a string of a script, or where it has placeholders as a template that fills them in."""
    pieces = re.split(r"\{(\w+)\}", text)
    if len(pieces) == 1:
        return json.dumps(text, ensure_ascii=False)
    plain = [re.sub(r"([\\`]|\$(?=\{))", r"\\\1", piece) for piece in pieces[::2]]
    names = [f"${{{name}}}" for name in pieces[1::2]]
    return "`" + "".join(part for pair in zip(plain, [*names, ""], strict=True) for part in pair) + "`"
