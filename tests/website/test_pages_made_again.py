"""Pages are made again only where what they show has changed; whatever changes, the site is that of a first build."""

from __future__ import annotations

import hashlib
import os
import random
import shutil
from collections.abc import Iterator
from dataclasses import fields, is_dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from archive.built import SiteReport
from archive.store import Blob
from archive.website import assembly as site_assembly
from website.invented import InventedContent, build_site, record_of

FULL = os.environ.get("NORTHLIMB_STUDY") == "full"
TRIED = 1000 if FULL else 12

ANOTHER = b"another picture"
Place = tuple[str | int, ...]


def _tree(folder: Path) -> dict[str, bytes]:
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def _first_build(content: InventedContent, folder: Path) -> dict[str, bytes]:
    """What the site holds where nothing is known of an earlier one: every page is rendered."""
    shutil.rmtree(folder, ignore_errors=True)
    build_site(content, folder)
    return _tree(folder)


def _leaves(value: Any, at: Place = ()) -> Iterator[Place]:
    """Where every plain value and blob of a content stands, through its dataclasses, tuples and lists."""
    if is_dataclass(value):
        for field in fields(value):
            yield from _leaves(getattr(value, field.name), (*at, field.name))
    elif isinstance(value, tuple | list):
        for number, one in enumerate(value):
            yield from _leaves(one, (*at, number))
    elif isinstance(value, float | int | str | datetime | Blob) and not isinstance(value, Path):
        yield at


def _changed(value: Any, at: Place) -> Any:
    """The same with the value at a place another one."""
    if not at:
        return _another(value)
    step, rest = at[0], at[1:]
    if isinstance(step, str):
        return replace(value, **{step: _changed(getattr(value, step), rest)})
    others = list(value)
    others[step] = _changed(others[step], rest)
    return type(value)(others)


def _another(value: Any) -> Any:
    if isinstance(value, bool):
        return not value
    if isinstance(value, int):
        return value + 1
    if isinstance(value, float):
        return value + 1.37
    if isinstance(value, datetime):
        return value + timedelta(minutes=7)
    if isinstance(value, Blob):
        return Blob(hashlib.sha256(ANOTHER).hexdigest(), len(ANOTHER))
    return f"{value}x"


# Names that must be among those the program knows, and ids that others refer to.
_FIXED = {
    "band",
    "kind",
    "status",
    "mount",
    "id",
    "observation_id",
    "time_utc",
    "mirrored",
    "language",
    "name",
    "stem",
    "number",
}


def _changes(content: InventedContent) -> list[Place]:
    found = [at for at in _leaves(content) if not ({*at} & _FIXED)]
    assert len(found) > 150
    return random.Random(3).sample(found, min(TRIED, len(found)))


def test_whatever_value_changes_the_site_is_that_of_a_first_build(content: InventedContent, tmp_path: Path) -> None:
    site, differing = tmp_path / "site", []
    content.add_blob(ANOTHER)
    for at in _changes(content):
        for one in (content, _changed(content, at)):
            build_site(one, site, record=record_of(site))
        if _tree(site) != _first_build(one, tmp_path / "new"):
            differing.append(at)
    assert differing == []


def test_a_day_that_comes_or_goes_is_seen_on_every_page_that_names_it(content: InventedContent, tmp_path: Path) -> None:
    site = tmp_path / "site"
    for number in range(len(content.entries)):
        less = replace(content, entries=[*content.entries[:number], *content.entries[number + 1 :]])
        for one in (content, less, content):
            build_site(one, site, record=record_of(site))
            assert _tree(site) == _first_build(one, tmp_path / "new")


def test_a_page_is_rendered_again_only_where_what_it_shows_has_changed(
    content: InventedContent, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    site = tmp_path / "site"
    rendered: list[str] = []
    render = site_assembly.render

    def noted(page: Any, *rest: Any) -> str:
        rendered.append(page.frame.path)
        return render(page, *rest)

    monkeypatch.setattr(site_assembly, "render", noted)
    build_site(content, site, record=record_of(site))
    whole = {path for path in rendered if path.startswith("days/20")}
    rendered.clear()
    first = content.entries[0]
    seen = replace(first, observation=replace(first.observation, instrument="another"))
    again = replace(content, entries=[seen, *content.entries[1:]])
    report = build_site(again, site, record=record_of(site))
    day = f"days/{first.observation.id.partition('T')[0]}/index.html"
    pages = {path for path in rendered if path.startswith("days/20")}
    assert day in pages
    assert len(pages) < len(whole)
    assert report.written < 12


@pytest.mark.parametrize("damage", ["missing", "cut", "a bit", "nonsense", "a folder"])
def test_what_is_kept_of_pages_is_made_anew_where_it_is_damaged(
    content: InventedContent, tmp_path: Path, damage: str
) -> None:
    site = tmp_path / "site"
    build_site(content, site, record=record_of(site))
    before, kept = _tree(site), tmp_path / "site-record/record"
    data = bytearray(kept.read_bytes())
    kept.unlink()
    if damage == "cut":
        kept.write_bytes(data[:100])
    elif damage == "a bit":
        # In a page's path, of which the record's own check tells.
        data[data.index(b"days/2026-06-03/index.html")] ^= 4
        kept.write_bytes(data)
    elif damage == "nonsense":
        kept.write_bytes(b"\xff" * 500)
    elif damage == "a folder":
        kept.mkdir()
    assert build_site(content, site, record=record_of(site)) == SiteReport(0, len(before) - 1, 0)
    assert _tree(site) == before
