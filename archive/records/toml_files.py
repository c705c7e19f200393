"""TOML files checked against their models: every mistake of a file at once, in plain words, with the nearest key."""

from __future__ import annotations

import difflib
import errno
import re
import tomllib
from collections.abc import Callable, Mapping
from datetime import date, datetime, time
from pathlib import Path
from typing import Any, TypeVar, get_args, get_origin

from pydantic import BaseModel, ConfigDict, ValidationError

from archive.disk import Folder, read_named
from archive.errors import SettingsError
from archive.records.archive_files import text_of
from archive.records.toml_mistakes import format_mistake

__all__ = ["TomlModel", "cause_of_mistake", "check_table", "load_toml", "parse_toml", "read_named_toml", "read_toml"]

_MESSAGES = {
    "greater_than_equal": "must be at least {ge:.10g}",
    "greater_than": "must be more than {gt:.10g}",
    "less_than_equal": "must be at most {le:.10g}",
    "finite_number": "must be a finite number",
    "float_type": "must be a number, without quotes",
    "int_type": "must be a whole number, without quotes",
    "string_type": "must be text in quotes",
    "string_too_short": "must not be empty",
    "string_too_long": "must be at most {max_length} characters long",
    "literal_error": "must be {expected}",
    "datetime_type": "must be a date and time without quotes, such as 2026-06-03T09:15:00Z",
    "date_type": "must be a date without quotes, such as 2026-06-03",
    "too_long": "has {actual_length} entries; at most {max_length} are read",
    "tuple_type": "must be a list in square brackets",
    "model_type": "must be a table of keys and values",
    "dict_type": "must be a table of keys and values",
    "list_type": "must be a list in square brackets",
    "bool_type": "must be true or false, without quotes",
    "bool_parsing": "must be true or false, without quotes",
    "float_parsing": "must be a number, without quotes",
    "int_parsing": "must be a whole number, without quotes",
    "int_from_float": "must be a whole number, without quotes",
    "date_parsing": "must be a date such as 2026-06-03",
    "date_from_datetime_parsing": "must be a date such as 2026-06-03",
    "too_short": "has {actual_length} entries; at least {min_length} are needed",
    "value_error": "{error}",
}


_DEEPEST = 20
_MOST_BYTES = 1_000_000  # the longest record by hand, of a thousand groups and a thousand specks, has 250 kB
_LONGEST_KEY, _LONGEST_MESSAGE = 60, 300
_COMMA_NUMBER = re.compile(r"[+-]?\d+,\d+")
_MOST_TOLD = 20
# A key of thousands of parts takes the parser gigabytes: it remembers each of their beginnings.
_LONG_KEY = re.compile(r"""(?:(?:(?<![\w-])[\w-]++|"[^"\n]*+"|'[^'\n]*+')[ \t]*+\.[ \t]*+){21}""")


class TomlModel(BaseModel):
    """Base of everything read from TOML: frozen, unknown keys refused, no guessing between types."""

    model_config = ConfigDict(strict=True, frozen=True, extra="forbid", allow_inf_nan=False, str_strip_whitespace=True)


Model = TypeVar("Model", bound=TomlModel)


def read_toml(files: Folder, file: str, model: type[Model], *, most_bytes: int = _MOST_BYTES) -> Model:
    """Read and check a TOML file of an archive, of at most so many bytes.

    Raises
    ------
    SettingsError
        The file cannot be read, is not TOML, or has mistakes; see `check_table`.
    """
    return check_table(model, load_toml(files, file, most_bytes=most_bytes), name=str(files.path / file))


def read_named_toml(path: Path, model: type[Model]) -> Model:
    """Read and check a TOML file that lies beside one that the user named; see `read_toml`."""
    return check_table(model, _load(lambda: read_named(path, most_bytes=_MOST_BYTES), str(path)), name=str(path))


def load_toml(files: Folder, file: str, *, most_bytes: int = _MOST_BYTES) -> dict[str, Any]:
    """Return the keys and values of a TOML file, not yet checked against a model; a byte order mark is skipped.

    Raises
    ------
    SettingsError
        The file cannot be read, or is not TOML.
    """
    return _load(lambda: files.read(file, most_bytes=most_bytes), str(files.path / file))


def _load(read: Callable[[], bytes], name: str) -> dict[str, Any]:
    try:
        text = text_of(read())
    except UnicodeDecodeError as error:
        raise SettingsError(f"{name}: byte {error.start} is not UTF-8; save the file as UTF-8 text") from error
    except OSError as error:
        raise SettingsError(_refusal(name, error)) from error
    return _loaded(text, name=name)


def _refusal(name: str, error: OSError) -> str:
    if error.errno == errno.EFBIG:
        return f"{name}: {error.strerror}; shorten it"
    hint = "" if error.errno == errno.ENOENT else "; correct it or remove it"
    return f"{name}: cannot be read: {error.strerror or error}{hint}"


def parse_toml(text: str, model: type[Model], *, name: str) -> Model:
    """Check TOML text against a model.

    Raises
    ------
    SettingsError
        The text is not TOML, or has mistakes; see `check_table`.
    """
    return check_table(model, _loaded(text, name=name), name=name)


def check_table(model: type[Model], table: Mapping[str, Any], *, name: str) -> Model:
    """Check keys and values against a model.

    Raises
    ------
    SettingsError
        One cause a mistake: file, key, value found, what to do; twenty at most.
    """
    try:
        return model.model_validate(_with_tuples(table))
    except ValidationError as error:
        mistakes = error.errors(include_url=False)
        causes = [cause_of_mistake(name, mistake, model) for mistake in mistakes[:_MOST_TOLD]]
        if len(mistakes) > _MOST_TOLD:
            causes.append(f"{name}: {len(mistakes) - _MOST_TOLD} more mistakes; correct these first")
        raise SettingsError(*causes) from error


def _loaded(text: str, *, name: str) -> dict[str, Any]:
    if _LONG_KEY.search(text):
        raise SettingsError(f"{name}: a key of over {_DEEPEST} parts with dots between them; fix it")
    try:
        found = tomllib.loads(text)
        if _is_deep(found):
            raise SettingsError(f"{name}: tables or brackets nested too deeply; fix it")
        return found
    except RecursionError as error:
        raise SettingsError(f"{name}: not valid TOML: brackets nested too deeply; fix it") from error
    except tomllib.TOMLDecodeError as error:
        raise SettingsError(f"{name}: {format_mistake(text, error)}") from error
    except ValueError as error:
        raise SettingsError(f"{name}: a number has thousands of digits; fix it") from error


def _is_deep(found: Mapping[str, Any]) -> bool:
    """Return whether values are nested deeper than any key of ours; level by level, as there may be thousands."""
    level: list[Any] = [found]
    for _ in range(_DEEPEST):
        level = [inner for value in level for inner in (value.values() if isinstance(value, dict) else value)]
        level = [value for value in level if isinstance(value, dict | list)]
    return bool(level)


def _with_tuples(value: Any) -> Any:
    """Return lists as tuples, which frozen and strict models require."""
    if isinstance(value, list):
        return tuple(_with_tuples(item) for item in value)
    if isinstance(value, Mapping):
        return {key: _with_tuples(item) for key, item in value.items()}
    return value


def cause_of_mistake(name: str, mistake: Any, model: type[BaseModel]) -> str:
    """Return one of pydantic's mistakes in our words: file, key, value found, what to do; `name` may be empty.

    Its own words speak to programmers.
    """
    location, found = mistake["loc"], mistake["input"]
    place = ": ".join(part for part in (name, _place(location)) if part)
    if mistake["type"] == "extra_forbidden":
        return f"{place}: no such key; {_advice_on_key(model, location)}"
    table = _written_as_table(model, location)
    if mistake["type"] == "missing":
        return f"{place}: missing; add {f'a table {table}' if table else 'it'}"
    if table and mistake["type"] in ("tuple_type", "model_type"):
        return f"{place}: must be written as a table {table}"
    if isinstance(found, Mapping | tuple):
        return f"{place}: {_advice_on_value(mistake)}"
    return f"{place} = {_shown(found)}: {_advice_on_value(mistake)}"


def _advice_on_key(model: type[BaseModel], location: tuple[str | int, ...]) -> str:
    key, *_ = reversed(location)
    if len(location) > 1 and key in _known_keys(model, ()):
        return "it belongs at the top of the file, above the first table"
    near = difflib.get_close_matches(str(key), _known_keys(model, location[:-1]), n=1)
    return f"did you mean {near[0]}?" if near else "remove it"


def _advice_on_value(mistake: Any) -> str:
    found, kind = mistake["input"], mistake["type"]
    if kind in ("float_type", "int_type") and isinstance(found, int) and not isinstance(found, bool):
        return "is too large a number"
    if kind == "float_type" and isinstance(found, str) and _COMMA_NUMBER.fullmatch(found):
        return f"write {found.replace(',', '.')}, without quotes"
    message = _MESSAGES.get(kind, str(mistake["msg"]))
    told = message.format(**mistake.get("ctx", {}))
    return told if len(told) <= _LONGEST_MESSAGE else told[: _LONGEST_MESSAGE - 3] + "..."


def _shown(value: object) -> str:
    """Return the value as in the file, cut to a length that leaves the line readable."""
    if isinstance(value, bool):
        text = str(value).lower()
    elif isinstance(value, datetime | date | time):
        text = value.isoformat()
    elif isinstance(value, int) and abs(value) >= 10**40:
        text = "an enormous number"  # beyond some thousands of digits Python itself refuses to write it out
    else:
        text = repr(value)
    return text if len(text) <= 60 else text[:57] + "..."


def _place(location: tuple[str | int, ...]) -> str:
    """Return a key like ``sites[1].latitude_deg``, entries counted from 1; empty for the file as a whole."""
    place = ""
    for step in location:
        key = step if isinstance(step, int) or len(step) <= _LONGEST_KEY else step[: _LONGEST_KEY - 3] + "..."
        place += f"[{key + 1}]" if isinstance(key, int) else f".{key}" if place else key
    return place


def _known_keys(model: type[BaseModel], location: tuple[str | int, ...]) -> list[str]:
    """Return the keys of the table at a location, found through the models' annotations."""
    current: type[BaseModel] | None = model
    for step in location:
        if isinstance(step, str) and current is not None:
            current = _model_within(current.model_fields[step].annotation)
    return [] if current is None else [field.alias or key for key, field in current.model_fields.items()]


def _written_as_table(model: type[BaseModel], location: tuple[str | int, ...]) -> str:
    """Return how a top-level key that holds tables is written, such as ``[[sites]]``; empty for any other key."""
    field = model.model_fields.get(str(location[0])) if location else None
    if field is None or _model_within(field.annotation) is None or any(isinstance(step, str) for step in location[1:]):
        return ""
    return f"[[{location[0]}]]" if get_origin(field.annotation) is tuple else f"[{location[0]}]"


def _model_within(annotation: Any) -> type[BaseModel] | None:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    return next((found for part in get_args(annotation) if (found := _model_within(part)) is not None), None)
