"""Pages are made again only where what they show has changed; whatever changes, the site is that of a first build."""

from __future__ import annotations

import hashlib
import os
import random
import shutil
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, fields, is_dataclass, replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any, get_args, get_type_hints

import pytest

from archive.built import SiteReport
from archive.model.eclipse import EclipseAt
from archive.model.film import Film
from archive.model.forecast import ExpectedGroup, ExpectedReturn
from archive.model.group import Group, Sighting
from archive.model.observation import Counts, NamedGroup, Observation
from archive.model.observatory import Observer
from archive.model.rotation_map import RotationMap
from archive.site_tree.local_site import FileGroup
from archive.store import Blob, Store, digest
from archive.website import assembly as site_assembly
from archive.website.addresses import STYLE
from archive.website.content import DerotatedDisc, DiscLabel, Overlay, PlainPicture, Tint, UnmeasuredPicture
from archive.website.pages import SiteFace
from archive.website.render import static_files, style_hash
from archive.website.theme import Theme, read_theme
from website.eclipses import eclipse
from website.invented import ASSUMED, CAPTURE, SOLVED, InventedContent, build_site, record_of

FULL = os.environ.get("NORTHLIMB_STUDY") == "full"
TRIED = 1000 if FULL else 6

ANOTHER = b"another picture"


@dataclass(frozen=True)
class Key:
    """A key of a mapping."""

    key: object


Place = tuple[str | int | Key, ...]


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
    elif isinstance(value, Mapping):
        for key, one in value.items():
            yield from _leaves(one, (*at, Key(key)))
    elif isinstance(value, float | int | str | date | Blob) and not isinstance(value, Path):
        yield at


def _changed(value: Any, at: Place) -> Any:
    """The same with the value at a place another one."""
    if not at:
        return _another(value)
    step, rest = at[0], at[1:]
    if isinstance(step, Key):
        return {**value, step.key: _changed(value[step.key], rest)}
    if isinstance(step, str):
        return replace(value, **{step: _changed(getattr(value, step), rest)})
    others = list(value)
    others[step] = _changed(others[step], rest)
    return type(value)(others)


def _another(value: Any) -> Any:
    if isinstance(value, str) and value in _CHOICES:
        return _CHOICES[value]
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


# What must be among the words that the program knows becomes another of them.
_CHOICES = {"white": "h-alpha", "altaz": "equatorial", "unknown": "altaz", "yes": "no", "en": "de"}
_CHOICES |= {"spots": "header", "sky": "drift", "solved": "assumed", "assumed": "solved"}
# What other values refer to, or what says which file it is: changed alone it gives no content.
_NAMES = {
    (Observation, "id"), (Sighting, "observation_id"), (Group, "name"), (NamedGroup, "name"), (Film, "stem"),
    (RotationMap, "number"), (DerotatedDisc, "to_observation"), (DerotatedDisc, "to_day"), (Observation, "local_day"),
    (UnmeasuredPicture, "id"), (UnmeasuredPicture, "local_day"),
    (Tint, "name"), (Tint, "of"), (EclipseAt, "day"),
}  # fmt: skip
# No value of the content: the store it was made with, and how a grid is drawn, which the program's code tells.
_NO_VALUES = {"derived", "graticule_at"}
# Left out of the sample that is built on disk.
_FIXED = {"id", "observation_id", "name", "stem", "number", "to_observation", "to_day", "local_day", "of"}


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


def _told_in_full(content: InventedContent) -> InventedContent:
    """The same with something in every field: the last day's north is not known, the others' is told in full."""
    blob, first = content.add_blob(b"more"), content.entries[0]
    line = ((1.0, 2.0), (3.0, 4.0))
    pictures = replace(
        first.pictures, flat=blob, fits=blob, looks={"warm": blob}, tints=(Tint("sepia", "", ((0.9, 1.1),)),)
    )
    capture = replace(CAPTURE, gain=2.0, binning=2, transparency="thin cirrus")
    told = replace(
        first,
        observation=replace(first.observation, orientation=replace(SOLVED, alternative=ASSUMED.alternative),
                            capture=capture, remarks=("its hour is odd",), local_day=first.observation.day,
                            observer="B. Wren",
                            counts=Counts(1, 4, 14.0, least_spot_msh=40.0), spot_area_sigma_msh=20.0,
                            groups=tuple(map(_with_errors, first.observation.groups or ()))),
        pictures=pictures,
        warnings=("The Sun was low.",),
        advice=(("Smear at the limb", "0.4 px"),),
        overlay=Overlay(-0.1, (line,), (DiscLabel("2312-1", 3.0, 4.0, "AR 14001"),), ((5.0, 6.0, 2.0),), (line,)),
        derotated=DerotatedDisc(content.entries[1].observation.id, content.entries[1].observation.day, blob),
        covered=0.25,
    )  # fmt: skip
    entries = [told, *content.entries[1:]]
    instruments = (replace(content.info.instruments[0], filter="foil"), *content.info.instruments[1:])
    films = (replace(content.films[0], loop=blob, av1=blob, first_frames={told.observation.id: 3}, rotation=2312),)
    groups = (
        replace(content.groups[0], return_of="2311-4", possible_return_of="2311-5", official_name="AR 14001"),
        *content.groups[1:],
    )
    info = replace(
        content.info,
        address="https://example.org/sun/",
        instruments=instruments,
        licence="CC-BY-4.0",
        contact="sun@example.org",
        observers=(Observer("B. Wren", "BW", 0.8),),
    )
    plain, day = PlainPicture(blob, 800, 600), first.observation.day
    only_shown = UnmeasuredPicture(
        f"{day}T1811Z", datetime(day.year, day.month, day.day, 18, 11, tzinfo=UTC), "Quay", "Doorstep", "white",
        blob.sha256, plain, blob, blob, day, "B. Wren",
    )  # fmt: skip
    return replace(
        content,
        info=info,
        entries=entries,
        films=films,
        groups=groups,
        notes={**content.notes, str(day): "Seen close: ![a spot](close-up.jpg)"},
        note_pictures={str(day): {"close-up.jpg": plain}},
        unmeasured=(only_shown,),
        expected=(ExpectedGroup("2312-1", 12.0, -10.0, 3.0, 30.0),),
        expected_returns=(ExpectedReturn("2311-2", -8.0, 20_620.0, 0.4),),
        eclipses=(replace(eclipse(), day=day),),
        eclipse_to_come=eclipse(),
        smoothed_number=((20_000.0, 30.0), (20_030.0, 31.0)),
        about="The dome: ![of wood](dome.jpg)",
        about_pictures={"dome.jpg": plain},
    )


def _with_errors(named: NamedGroup) -> NamedGroup:
    spots = tuple(replace(spot, area_sigma_msh=8.0, umbra_sigma_msh=2.0) for spot in named.group.spots)
    group = replace(named.group, spots=spots, area_sigma_msh=30.0, umbra_sigma_msh=9.0)
    return replace(named, group=group, official_name="AR 14001")


def _fields(kind: Any) -> Iterator[tuple[type, str]]:
    """Every field of a class and of those that its fields are declared to hold, which hold no others."""
    if is_dataclass(kind) and isinstance(kind, type):
        for name, declared in get_type_hints(kind).items():
            if name not in _NO_VALUES:
                yield from set(_fields(declared)) or {(kind, name)}
    else:
        for one in get_args(kind):
            yield from _fields(one)


def _field_of(content: Any, at: Place) -> tuple[type, str]:
    """The field in which a leaf stands."""
    field, value = None, content
    for step in at:
        if isinstance(step, str):
            field, value = (type(value), step), getattr(value, step)
        else:
            value = value[step.key if isinstance(step, Key) else step]
    assert field is not None
    return field


def _groups(content: InventedContent, store: Store, theme: Theme) -> Iterator[FileGroup]:
    """The groups of files of a site of this content, as a build takes them."""
    static = static_files(theme)
    info = content.info
    face = SiteFace(info.title, info.observer, info.language, style_hash(static[STYLE]), info.address)
    ordered, shared = site_assembly._in_order(content), digest([face, theme.digests])
    return site_assembly._groups(
        ordered, face, theme, static=static, store=store, shared=shared, on_day=lambda done, days: None
    )


def _made(group: FileGroup) -> list[tuple[str, object]]:
    """The files of a group with what they hold."""
    sources = [(file.path, file.source) for file in group.files()]
    return [(path, source() if callable(source) else source) for path, source in sources]


def _stale(
    content: InventedContent, store: Store, theme: Theme, before: Mapping[str, tuple[bytes, object]]
) -> list[str]:
    """Groups that a build of this content would take for those made before, though they are to hold something else."""
    return [
        group.name
        for group in _groups(content, store, theme)
        if group.name in before and group.key == before[group.name][0] and _made(group) != before[group.name][1]
    ]


def test_no_field_of_what_a_page_can_show_is_missed_by_what_tells_whether_it_is_made_again(
    content: InventedContent, tmp_path: Path
) -> None:
    """Each field of the content in turn, at each of its places, has another value; a whole study takes all values."""
    content = _told_in_full(content)
    places: dict[object, Place] = {}
    for at in _leaves(content):
        words = tuple(step for step in at if isinstance(step, str))
        places.setdefault(at if FULL else words, at)
    walked = {_field_of(content, at) for at in places.values()}
    assert [f"{kind.__name__}.{name}" for kind, name in set(_fields(InventedContent)) - walked] == []
    tried = [at for at in places.values() if _field_of(content, at) not in _NAMES]
    assert len(tried) > 120
    theme = read_theme(None)
    with Store(content.derived) as store:
        before = {group.name: (group.key, _made(group)) for group in list(_groups(content, store, theme))}
        assert _stale(content, store, theme, before) == []
        found = {at: _stale(_changed(content, at), store, theme, before) for at in tried}
    assert {at: paths for at, paths in found.items() if paths} == {}


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
