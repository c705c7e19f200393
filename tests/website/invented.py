"""An invented archive of four pictures, with tiny real JPEGs, for the tests of the site."""

from __future__ import annotations

import io
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path
from typing import Any

from PIL import Image

from archive.built import SiteReport
from archive.disk import Folder
from archive.model.film import Film
from archive.model.group import Group, GroupRotation, Sighting
from archive.model.observation import (
    Alternative,
    Capture,
    Counts,
    Disc,
    Evidence,
    NamedGroup,
    Observation,
    Orientation,
    PictureFile,
    Spot,
    SpotGroup,
    SunView,
)
from archive.model.observatory import CameraEpoch, Instrument, Site
from archive.model.rotation_law import RotationLaw
from archive.model.rotation_map import RotationMap
from archive.model.times import days_since_1970
from archive.site_tree.local_site import FileGroup, SiteFile, write_site
from archive.site_tree.site_record import SiteRecord
from archive.store import Blob, Store
from archive.website import assembly
from archive.website.content import (
    Content,
    Entry,
    Pictures,
    SiteInfo,
)

DISC_COLOUR = (230, 120, 30)
OTHER_COLOUR = (90, 90, 90)

SOLVED = Orientation(
    "solved",
    -12.43704,
    True,
    0.3801,
    (
        Evidence("spots", -12.5, 0.4, True, "three spots over two days"),
        Evidence("sky", -11.2, 1.2, True),
    ),
    ("The mount says −11.2°, the spots −12.5°.",),
)
ASSUMED = Orientation(
    "assumed",
    21.3,
    False,
    1.8,
    (Evidence("sky", 21.3, 1.8, False),),
    alternative=Alternative(-158.7, True, 12.34),
)
UNKNOWN = Orientation("unknown", None, None, None)


def _days(year: int, month: int, day: int) -> float:
    return days_since_1970(datetime(year, month, day, tzinfo=UTC))


LEARNED = (
    CameraEpoch(_days(2026, 5, 10), None, -88.94, 0.5, 0.3, True, 1),
    CameraEpoch(_days(2026, 3, 1), _days(2026, 5, 9), 0.42, 0.2, 0.83, True, 27),
)
CAPTURE = Capture(
    start_utc=datetime(2026, 6, 3, 9, 14, 15, tzinfo=UTC),
    length_s=90.0,
    filter="full-aperture film, OD 5",
    exposure_s=0.002,
    frames_captured=1800,
    frames_stacked=180,
    seeing=3.5,
)
# From memory: Howard, Gilman & Gilman (1984).
ALL_SPOTS = RotationLaw("all spots", 14.522, -2.84, source="Howard, Gilman & Gilman (1984)")
OWN_LAW = RotationLaw("this archive", 14.4, -2.5, equator_sigma=0.05, sine_squared_sigma=0.6, groups=14)
L0_DEG = 340.621
FITS = b"SIMPLE  =                    T".ljust(2880)
NOTES = (
    "# Haze\n\nA *long* look. <script>alert(1)</script> <img src=x onerror=alert(2)>\n\n[east](https://example.org)\n"
)


@dataclass(frozen=True, kw_only=True)
class InventedContent(Content):
    """A content with the folder of the store that holds its pictures."""

    derived: Folder

    def add_blob(self, data: bytes) -> Blob:
        """Keep bytes in the store, as a picture's would be."""
        with Store(self.derived) as store:
            return _added(store, data)


def build_site(content: InventedContent, site_dir: Path, **options: Any) -> SiteReport:
    """Build the site as a command does, with the content's store opened for it alone."""
    with Store(content.derived) as store:
        return assembly.build_site(content, site_dir, store=store, **options)


def _added(store: Store, data: bytes) -> Blob:
    blob = store.add_blob(data)
    store.put(_added, blob.sha256, None, None, blobs=[blob])  # what no value holds may go at any time
    return blob


def small_jpeg(colour: tuple[int, int, int]) -> bytes:
    """Return a real JPEG of 16 px."""
    return picture_bytes(Image.new("RGB", (16, 16), colour), "JPEG", quality=95)


def small_avif(colour: tuple[int, int, int]) -> bytes:
    """Return a real AVIF of 16 px."""
    return picture_bytes(Image.new("RGB", (16, 16), colour), "AVIF", quality=90, speed=10)


def picture_bytes(picture: Image.Image, kind: str, **options: int) -> bytes:
    """Return a picture as a file of this kind."""
    stream = io.BytesIO()
    picture.save(stream, kind, **options)
    return stream.getvalue()


def entry(store: Store, time_utc: datetime, orientation: Orientation, blur_px: float = 0.0) -> Entry:
    """Make an observation with its pictures; the later half of the facts only where north was measured."""
    name = f"{time_utc:%Y-%m-%dT%H%MZ}"
    known = orientation.status == "solved"
    observation = Observation(
        id=name,
        time_utc=time_utc,
        site="Quillmere Hill",
        instrument="80 mm refractor",
        band="white",
        picture=PictureFile(f"2026/{name[:10]}/{name[11:]}.png", f"{time_utc.timestamp():064.0f}", 1936, 1096, 16),
        disc=Disc(960.25, 540.5, 412.0, 0.0011, 0.21, blur_px=blur_px),
        orientation=orientation,
        sun=SunView(-13.156, 0.037, L0_DEG, 945.3, 1.0152, 2312, 48.3, 131.7, -28.4),
        capture=CAPTURE if known else Capture(),
    )
    disc, other = _added(store, small_jpeg(DISC_COLOUR)), _added(store, small_jpeg(OTHER_COLOUR))
    light = _added(store, small_avif(DISC_COLOUR))
    pictures = Pictures(
        disc,
        other,
        other,
        other,
        fits=_added(store, FITS) if known else None,
        looks={"warm": other} if known else {},
        light={256: light, 1024: light},
    )
    return Entry(observation, pictures, () if known else ("The Sun was low.",))


def group(
    latitude_deg: float, meridian_deg: float, *, area_msh: float, spots: int, sigma_deg: float = 0.4
) -> SpotGroup:
    """Make a group near a place right of the disc's middle; where its spots stand is of no matter to most pages."""
    spot = Spot(0.01 * meridian_deg, 0.01 * latitude_deg, area_msh / spots, 0.2 * area_msh / spots)
    return SpotGroup(
        tuple(replace(spot, right=spot.right + 0.01 * number) for number in range(spots)),
        area_msh,
        0.2 * area_msh,
        latitude_deg,
        (L0_DEG + meridian_deg) % 360.0,
        meridian_deg,
        sigma_deg,
        sigma_deg,
    )


def with_groups(one: Entry, groups: Sequence[NamedGroup], *, counts: Counts) -> Entry:
    """Put groups into an observation."""
    area_msh = sum(named.group.area_msh for named in groups)
    return replace(
        one, observation=replace(one.observation, groups=tuple(groups), counts=counts, spot_area_msh=area_msh)
    )


def group_entry(name: str, entries: Sequence[Entry]) -> Group:
    """Follow a group through the observations that name it."""
    return Group(
        name,
        tuple(
            Sighting(one.observation.id, days_since_1970(one.observation.time_utc), named.group, named.stated)
            for one in entries
            for named in one.observation.groups or ()
            if named.name == name
        ),
    )


def rotation(store: Store, number: int) -> RotationMap:
    """Make a small map, its left half clear."""
    picture = Image.new("LA", (144, 72), (184, 255))
    picture.paste((0, 0), (0, 0, 72, 72))
    first = datetime(2026, 5, 27, tzinfo=UTC) + timedelta(days=27 * (number - 2312))
    return RotationMap(
        number,
        first,
        first + timedelta(days=27),
        _added(store, picture_bytes(picture, "PNG")),
        _added(store, FITS),
        0.47,
    )


def film(store: Store, entries: list[Entry]) -> Film:
    """Make a film of stand-in bytes: the site copies films and does not read them."""
    return Film(
        stem="last-days",
        title="The last days",
        mp4=_added(store, b"film"),
        poster=_added(store, small_jpeg(OTHER_COLOUR)),
        frames_json=_added(store, b"{}"),
        loop=None,
        width_px=720,
        height_px=720,
        frames=48,
        frames_per_second=24.0,
        first_utc=entries[0].observation.time_utc,
        last_utc=entries[-1].observation.time_utc,
        observation_ids=(*(each.observation.id for each in entries), "2026-05-01T0900Z"),
    )


def content(folder: Path, address: str | None = None) -> InventedContent:
    """Four pictures on three days, one day missing between them, and two groups.

    The observer gave the later picture of the second day his own count and one group's place. The last day's north is
    not known, and it was not counted.
    """
    derived = Folder(folder.parent).below(folder.name)
    with Store(derived) as store:
        return _content(store, derived, address)


def _content(store: Store, derived: Folder, address: str | None) -> InventedContent:
    morning = datetime(2026, 6, 3, 9, 15, 20, tzinfo=UTC)
    lead = [
        group(12.3, meridian, area_msh=area, spots=4) for meridian, area in ((-30.1, 180), (-17.2, 240), (-14.4, 230))
    ]
    young = [group(-8.1, meridian, area_msh=area, spots=1) for meridian, area in ((34.2, 20), (37.0, 25))]
    first, second = "2312-1", "2312-2"
    entries = [
        with_groups(
            entry(store, morning - timedelta(days=1), ASSUMED),
            [NamedGroup(first, lead[0])],
            counts=Counts(1, 4, 14.0),
        ),
        with_groups(
            entry(store, morning, SOLVED, blur_px=1.4),
            [NamedGroup(first, lead[1]), NamedGroup(second, young[0])],
            counts=Counts(2, 5, 25.0),
        ),
        with_groups(
            entry(store, morning + timedelta(hours=5), SOLVED, blur_px=1.1),
            [NamedGroup(first, lead[2]), NamedGroup(second, young[1], stated=True)],
            counts=Counts(2, 6, 26.0, stated=True),
        ),
        entry(store, morning + timedelta(days=2), UNKNOWN),
    ]
    groups = (
        replace(
            group_entry(first, entries),
            rotation=GroupRotation(14.37, 0.15, 12.0, 3),
            return_of="2311-4",
            other_names=("2312-7",),
        ),
        replace(group_entry(second, entries), return_of=first),
    )
    info = SiteInfo(
        title="The Sun over Quillmere",
        observer="the Quillmere observers",
        address=address,
        sites=(Site("Quillmere Hill", 52.1, -1.3, 120.0),),
        instruments=(
            Instrument("80 mm refractor", "altaz", "yes", 0.4, learned=LEARNED),
            Instrument("Long box", "unknown"),
        ),
    )
    return InventedContent(
        info,
        entries,
        {"2026-06-03": NOTES},
        (film(store, entries),),
        groups=groups,
        rotations=(rotation(store, 2311), rotation(store, 2312)),
        own_law=OWN_LAW,
        published_laws=(ALL_SPOTS,),
        derived=derived,
    )


def write_files(files: Iterable[SiteFile], site_dir: Path, **options: Any) -> SiteReport:
    """Write files as a site, each made from something of its own that is not known."""
    return write_site([FileGroup(file.path, partial(list, [file])) for file in files], site_dir, **options)


def record_of(site: Path) -> SiteRecord:
    """Where it is kept what was written into a site's folder: beside it."""
    return SiteRecord(Folder(site.parent).below(f"{site.name}-record"), "record")
