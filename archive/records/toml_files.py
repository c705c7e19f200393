"""TOML files checked against their models: every mistake of a file at once, with the nearest known key."""

from __future__ import annotations

import difflib
import tomllib
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ConfigDict, ValidationError

from archive.errors import SettingsError

__all__ = ["TomlModel", "checked", "parse_toml", "read_toml"]


class TomlModel(BaseModel):
    """Base of everything read from TOML: frozen, unknown keys refused, no guessing between types."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False, str_strip_whitespace=True)


Model = TypeVar("Model", bound=TomlModel)


def read_toml(path: Path, model: type[Model]) -> Model:
    """Read and check a TOML file; see `parse_toml`."""
    try:
        text = path.read_text(encoding="utf-8")
    except UnicodeDecodeError as error:
        raise SettingsError(f"{path}: byte {error.start} is not UTF-8; save the file as UTF-8 text") from error
    return parse_toml(text, model, name=str(path))


def parse_toml(text: str, model: type[Model], *, name: str) -> Model:
    """Check TOML text against a model.

    Raises
    ------
    SettingsError
        One cause a mistake: file, key, value found, what to do.
    """
    try:
        found = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise SettingsError(f"{name}: not valid TOML: {error or 'nested too deeply'}; mend that line") from error
    return checked(model, found, name=name)


def checked(model: type[Model], found: dict[str, Any], *, name: str) -> Model:
    """Check a table against a model; raises as `parse_toml` does."""
    try:
        return model.model_validate(found)
    except ValidationError as error:
        raise SettingsError(*(_cause(name, mistake, model) for mistake in error.errors())) from error


def _cause(name: str, mistake: Any, model: type[BaseModel]) -> str:
    place = _place(mistake["loc"])
    if mistake["type"] == "extra_forbidden":
        near = difflib.get_close_matches(str(mistake["loc"][-1]), _known_keys(model, mistake["loc"][:-1]), n=1)
        advice = f"did you mean {near[0]}?" if near else "take it out"
        return f"{name}: {place}: no such key; {advice}"
    if mistake["type"] == "missing":
        return f"{name}: {place}: missing; add it"
    message = str(mistake["msg"]).removeprefix("Value error, ")
    return f"{name}: {place} = {_shown(mistake['input'])}: {message[0].lower()}{message[1:]}"


def _shown(value: object) -> str:
    text = repr(value)
    return text if len(text) <= 60 else text[:57] + "..."


def _place(location: tuple[str | int, ...]) -> str:
    """Like ``sites[1].latitude_deg``, entries counted from 1 as a reader does."""
    place = ""
    for step in location:
        place += f"[{step + 1}]" if isinstance(step, int) else f".{step}" if place else str(step)
    return place or "file"


def _known_keys(model: type[BaseModel], location: tuple[str | int, ...]) -> list[str]:
    """Keys of the table at a location, found through the models' annotations."""
    current: type[BaseModel] = model
    for step in location:
        if isinstance(step, int) or step not in current.model_fields:
            continue
        inner = _model_within(current.model_fields[step].annotation)
        if inner is None:
            return []
        current = inner
    return [field.alias or key for key, field in current.model_fields.items()]


def _model_within(annotation: Any) -> type[BaseModel] | None:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    for part in getattr(annotation, "__args__", ()):
        found = _model_within(part)
        if found is not None:
            return found
    return None
