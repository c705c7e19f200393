"""Words in templates: the functions that they say their messages with."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from archive.language.figures import decimal
from archive.language.speech import gettext, pgettext, spoken, translated_form

if TYPE_CHECKING:
    from markupsafe import Markup

__all__ = ["template_words"]


def template_words() -> dict[str, Callable[..., object]]:
    """Return what templates call: ``_("North is {angle} off", angle=...)``, `ngettext`, `pgettext`.

    Markup within a sentence comes in as a value that is markup, such as a ``{% set link %}<a ...>{% endset %}``; all
    else is escaped.
    """
    from markupsafe import escape

    def of_one(message: str, /, **values: object) -> Markup:
        return _filled(escape(gettext(message)), values)

    def in_context(context: str, message: str, /, **values: object) -> Markup:
        return _filled(escape(pgettext(context, message)), values)

    def counted(singular: str, plural: str, n: int, /, **values: object) -> Markup:
        return _filled(escape(translated_form(singular, plural, n)), {"n": n, **values})

    def _filled(text: Markup, values: dict[str, object]) -> Markup:
        return text.format(**values) if values else text

    return {"_": of_one, "pgettext": in_context, "ngettext": counted, "decimal": decimal, "spoken": spoken}
