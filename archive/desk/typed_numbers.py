"""Numbers as they were typed into the desk's fields: read whole, or refused by the name of their field.

A browser's own field for numbers drops a comma or a letter without a word and hands on another number. So all fields
are text, and what was typed is read here, as strictly as the commands read it.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any, Literal, get_args, get_origin

from pydantic import BeforeValidator, PlainValidator
from pydantic.fields import FieldInfo

from archive.errors import FactsError
from archive.language import decimal
from archive.records.toml_files import TomlModel

__all__ = ["with_typed_numbers"]

_WHOLE = re.compile(r"[+-]?\d{1,30}", re.ASCII)
_NUMBER = re.compile(r"[+-]?(?:\d{1,30}(?:\.\d{0,30})?|\.\d{1,30})(?:[eE][+-]?\d{1,3})?", re.ASCII)
_WITH_COMMA = re.compile(r"[+-]?\d{1,30},\d{1,30}", re.ASCII)
_LONGEST_SHOWN = 40


def with_typed_numbers(model: type[TomlModel], table: Mapping[str, Any], where: str = "") -> dict[str, Any]:
    """Return keys and values with the numbers read that were typed as text.

    Parameters
    ----------
    model : type
        What the values are to be; text stays where it takes text, such as a latitude of ``41.3S``.
    table : mapping
    where : str
        In front of a key in a message.

    Raises
    ------
    FactsError
        Text in place of a number; the message names the field and says how to write it.
    """
    fields = {field.alias or name: field for name, field in model.model_fields.items()}
    return {key: _read(fields[key], value, where + key) if key in fields else value for key, value in table.items()}


def _read(field: FieldInfo, value: Any, where: str) -> Any:
    kinds = _kinds(field.annotation)
    inner = next((kind for kind in kinds if isinstance(kind, type) and issubclass(kind, TomlModel)), None)
    if inner is not None and isinstance(value, dict):
        return with_typed_numbers(inner, value, f"{where}.")
    if inner is not None and isinstance(value, list):
        return [
            with_typed_numbers(inner, one, f"{where}[{number}].") if isinstance(one, dict) else one
            for number, one in enumerate(value, 1)
        ]
    if not isinstance(value, str) or not (int in kinds or float in kinds):
        return value
    # With a minus sign as the desk's pages and the site write it.
    text = value.strip().replace("\N{MINUS SIGN}", "-")
    if float in kinds and _WITH_COMMA.fullmatch(text) and decimal(".") == ",":
        text = text.replace(",", ".")  # as the language of the pages writes it
    if _WHOLE.fullmatch(text):
        return int(text)
    if float in kinds and _NUMBER.fullmatch(text):
        return float(text)
    if str in kinds or any(isinstance(one, BeforeValidator | PlainValidator) for one in field.metadata):
        return value
    raise FactsError(f"{where}: {_refusal(value.strip(), is_whole=float not in kinds)}")


def _kinds(annotation: Any) -> list[Any]:
    """Return the types that an annotation allows, those within a list too."""
    arguments = get_args(annotation)
    if not arguments or get_origin(annotation) is Literal:
        return [annotation]
    return [kind for argument in arguments for kind in _kinds(argument)]


def _refusal(text: str, *, is_whole: bool) -> str:
    shown = repr(text if len(text) <= _LONGEST_SHOWN else f"{text[: _LONGEST_SHOWN - 3]}...")
    if is_whole:
        return f"{shown} is not a whole number; write 12"
    right = text.replace(",", ".") if _WITH_COMMA.fullmatch(text) else decimal("12.5")
    return f"{shown} is not a number; write {right}"
