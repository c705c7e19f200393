"""An invented archive of four pictures, with tiny real JPEGs, for the tests of the site."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

from PIL import Image

from archive.disk import Folder
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
from archive.website import (
    Content,
    Entry,
    FilmEntry,
    GroupEntry,
    GroupSighting,
    InstrumentInfo,
    LearnedAngle,
    Pictures,
    PublishedRotationLaw,
    RotationEntry,
    SiteInfo,
    SitePlace,
)
from archive.website.site_record import SiteRecord

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
LEARNED = (
    LearnedAngle(datetime(2026, 5, 10, tzinfo=UTC), None, -88.94, None, True, 1),
    LearnedAngle(datetime(2026, 3, 1, tzinfo=UTC), datetime(2026, 5, 9, tzinfo=UTC), 0.42, 0.83, True, 27),
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
ALL_SPOTS = PublishedRotationLaw("all spots", 14.522, -2.84, source="Howard, Gilman & Gilman (1984)")
OWN_LAW = PublishedRotationLaw("this archive", 14.4, -2.5, equator_sigma=0.05, sine_squared_sigma=0.6, groups=14)
L0_DEG = 340.621
NOTES = (
    "# Haze\n\nA *long* look. <script>alert(1)</script> <img src=x onerror=alert(2)>\n\n[east](https://example.org)\n"
)


def small_jpeg(path: Path, colour: tuple[int, int, int]) -> Path:
    """Write a real JPEG of 16 px."""
    path.parent.mkdir(parents=True, exist_ok=True)
    Image.new("RGB", (16, 16), colour).save(path, quality=95)
    return path


def small_avif(path: Path, colour: tuple[int, int, int]) -> Path:
    """Write a real AVIF of 16 px."""
    Image.new("RGB", (16, 16), colour).save(path, quality=90, speed=10)
    return path


def entry(folder: Path, time_utc: datetime, orientation: Orientation, blur_px: float = 0.0) -> Entry:
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
    disc = small_jpeg(folder / f"{name}-disc.jpg", DISC_COLOUR)
    other = small_jpeg(folder / f"{name}-other.jpg", OTHER_COLOUR)
    fits = folder / f"{name}.fits"
    fits.write_bytes(b"SIMPLE  =                    T".ljust(2880))
    light = small_avif(folder / f"{name}.avif", DISC_COLOUR)
    pictures = Pictures(
        "",
        disc.name,
        other.name,
        other.name,
        other.name,
        fits=fits.name if known else None,
        looks={"warm": other.name} if known else {},
        light={256: light.name, 1024: light.name},
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


def group_entry(name: str, entries: Sequence[Entry]) -> GroupEntry:
    """Follow a group through the observations that name it."""
    return GroupEntry(
        name,
        tuple(
            GroupSighting(one.observation.id, named.group, named.stated)
            for one in entries
            for named in one.observation.groups or ()
            if named.name == name
        ),
    )


def rotation(folder: Path, number: int) -> RotationEntry:
    """Make a small map, its left half clear."""
    picture, fits = folder / f"{number}.png", folder / f"{number}.fits"
    map_picture = Image.new("LA", (144, 72), (184, 255))
    map_picture.paste((0, 0), (0, 0, 72, 72))
    map_picture.save(picture)
    fits.write_bytes(b"SIMPLE  =                    T".ljust(2880))
    first = datetime(2026, 5, 27, tzinfo=UTC) + timedelta(days=27 * (number - 2312))
    return RotationEntry(number, first, first + timedelta(days=27), picture.name, fits.name, 0.47)


def film(folder: Path, entries: list[Entry]) -> FilmEntry:
    """Make a film of stand-in bytes: the site copies films and does not read them."""
    poster = small_jpeg(folder / "poster.jpg", OTHER_COLOUR)
    (folder / "film.mp4").write_bytes(b"film")
    (folder / "film.json").write_bytes(b"{}")
    return FilmEntry(
        stem="last-days",
        title="The last days",
        mp4="film.mp4",
        poster=poster.name,
        frames_json="film.json",
        loop=None,
        width_px=720,
        height_px=720,
        frames=48,
        frames_per_second=24.0,
        first_utc=entries[0].observation.time_utc,
        last_utc=entries[-1].observation.time_utc,
        observation_ids=(*(each.observation.id for each in entries), "2026-05-01T0900Z"),
    )


def content(folder: Path, address: str | None = None) -> Content:
    """Four pictures on three days, one day missing between them, and two groups.

    The observer gave the later picture of the second day his own count and one group's place. The last day's north is
    not known, and it was not counted.
    """
    morning = datetime(2026, 6, 3, 9, 15, 20, tzinfo=UTC)
    lead = [
        group(12.3, meridian, area_msh=area, spots=4) for meridian, area in ((-30.1, 180), (-17.2, 240), (-14.4, 230))
    ]
    young = [group(-8.1, meridian, area_msh=area, spots=1) for meridian, area in ((34.2, 20), (37.0, 25))]
    first, second = "2312-1", "2312-2"
    entries = [
        with_groups(
            entry(folder, morning - timedelta(days=1), ASSUMED),
            [NamedGroup(first, lead[0])],
            counts=Counts(1, 4, 14.0),
        ),
        with_groups(
            entry(folder, morning, SOLVED, blur_px=1.4),
            [NamedGroup(first, lead[1]), NamedGroup(second, young[0])],
            counts=Counts(2, 5, 25.0),
        ),
        with_groups(
            entry(folder, morning + timedelta(hours=5), SOLVED, blur_px=1.1),
            [NamedGroup(first, lead[2]), NamedGroup(second, young[1], stated=True)],
            counts=Counts(2, 6, 26.0, stated=True),
        ),
        entry(folder, morning + timedelta(days=2), UNKNOWN),
    ]
    groups = (
        replace(
            group_entry(first, entries),
            rotation_deg_per_day=14.37,
            rotation_sigma=0.15,
            return_of="2311-4",
            other_names=("2312-7",),
        ),
        replace(group_entry(second, entries), return_of=first),
    )
    info = SiteInfo(
        title="The Sun over Quillmere",
        observer="the Quillmere observers",
        address=address,
        sites=(SitePlace("Quillmere Hill", 52.1, -1.3, 120.0),),
        instruments=(
            InstrumentInfo("80 mm refractor", "altaz", "yes", 0.4, learned=LEARNED),
            InstrumentInfo("Long box", "unknown"),
        ),
    )
    return Content(
        info,
        entries,
        {"2026-06-03": NOTES},
        (film(folder, entries),),
        groups=groups,
        rotations=(rotation(folder, 2311), rotation(folder, 2312)),
        own_law=OWN_LAW,
        published_laws=(ALL_SPOTS,),
        derived=Folder(folder),
    )


def record_of(site: Path) -> SiteRecord:
    """Where it is kept what was written into a site's folder: beside it."""
    return SiteRecord(Folder(site.parent).below(f"{site.name}-record"), "record")
