"""Edits of the observer's TOML files by key: whatever else stands in them, comments too, stays as it was written."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import tomlkit

from archive.errors import SettingsError
from archive.records.toml_files import TomlModel, parse_toml

__all__ = ["with_values"]


def with_values(text: str, changes: Mapping[str, Any], model: type[TomlModel], *, name: str) -> str:
    """Return a TOML text with other values of some of its keys, checked against its model.

    Parameters
    ----------
    text : str
    changes : mapping
        By the key at the top of the file; None takes the key out. A mapping is written as a table, a sequence of
        mappings as an array of tables, of which those that stay keep their comments.
    model : type of TomlModel
        Of the file.
    name : str
        For messages.

    Raises
    ------
    SettingsError
        The text, or a value, has mistakes; or nothing else could be kept as it was.
    """
    before = parse_toml(text, model, name=name)
    document = tomlkit.parse(text)
    for key, value in changes.items():
        _set(document, key, value)
    changed = tomlkit.dumps(document)
    after = parse_toml(changed, model, name=name)
    others = model.model_fields.keys() - changes.keys()
    if any(getattr(before, key) != getattr(after, key) for key in others):
        raise SettingsError(f"{name}: cannot be changed without changing the rest of it; edit it by hand")
    return changed


def _set(document: tomlkit.TOMLDocument, key: str, value: Any) -> None:
    there = document.get(key)
    is_array = _is_tables(value)
    if isinstance(value, Mapping) and isinstance(there, tomlkit.items.Table):
        _set_table(there, value)
        return
    if isinstance(there, tomlkit.items.AoT | tomlkit.items.Table) and not is_array:
        document.pop(key)  # or a plain value would come to stand below another table's head
    if value is None:
        document.pop(key, None)
    elif isinstance(value, Mapping):
        document[key] = _table(value)
    elif is_array:
        _set_tables(document, key, value)
    else:
        document[key] = value


def _set_table(table: tomlkit.items.Table, values: Mapping[str, Any]) -> None:
    for key in [key for key in table if values.get(key) is None]:
        table.pop(key)
    for key, value in values.items():
        if value is not None and table.get(key) != value:
            table[key] = value


def _is_tables(value: Any) -> bool:
    is_list = isinstance(value, Sequence) and not isinstance(value, str)
    return is_list and bool(value) and all(isinstance(entry, Mapping) for entry in value)


def _set_tables(document: tomlkit.TOMLDocument, key: str, entries: Sequence[Mapping[str, Any]]) -> None:
    """Write an array of tables; one that is in it already, by its name or as a whole, is changed where it stands."""
    there = document.get(key)
    old = list(there) if isinstance(there, tomlkit.items.AoT) else []
    kept = [next((one for one in old if _is_same(one, entry)), None) for entry in entries]
    for table, entry in zip(kept, entries, strict=True):
        if table is not None:
            _set_table(table, entry)
    if isinstance(there, tomlkit.items.AoT) and old and kept[: len(old)] == old:  # only added to: it stays where it is
        for entry in entries[len(old) :]:
            there.append(_table(entry))
        return
    tables = tomlkit.aot()
    for entry, former in zip(entries, kept, strict=True):
        tables.append(_table(entry) if former is None else former)
    document[key] = tables


def _is_same(table: Any, entry: Mapping[str, Any]) -> bool:
    values = table.unwrap()
    return bool(values.get("name") == entry["name"] if "name" in entry else values == dict(entry))


def _table(values: Mapping[str, Any]) -> tomlkit.items.Table:
    table = tomlkit.table()
    for key, value in values.items():
        if value is not None:
            table.add(key, value)
    return table
