"""An invented archive of four pictures, with tiny real JPEGs, for the tests of the site."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

from PIL import Image

from archive.observation import (
    Alternative,
    Capture,
    Counts,
    Disc,
    Evidence,
    Observation,
    Orientation,
    PictureFile,
    SunView,
)
from archive.website import (
    Content,
    Entry,
    FilmEntry,
    InstrumentInfo,
    LearnedAngle,
    Pictures,
    SiteInfo,
    SitePlace,
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
NOTES = (
    "# Haze\n\nA *long* look. <script>alert(1)</script> <img src=x onerror=alert(2)>\n\n[east](https://example.org)\n"
)


def small_jpeg(path: Path, colour: tuple[int, int, int]) -> Path:
    """Write a real JPEG of 16 px."""
    path.parent.mkdir(parents=True, exist_ok=True)
    Image.new("RGB", (16, 16), colour).save(path, quality=95)
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
        sun=SunView(-13.156, 0.037, 340.621, 945.3, 1.0152, 2312, 48.3, 131.7, -28.4),
        capture=CAPTURE if known else Capture(),
        counts=Counts(3, 17, 47.0) if known else None,
        spot_area_msh=312.4 if known else None,
    )
    disc = small_jpeg(folder / f"{name}-disc.jpg", DISC_COLOUR)
    other = small_jpeg(folder / f"{name}-other.jpg", OTHER_COLOUR)
    fits = folder / f"{name}.fits"
    fits.write_bytes(b"SIMPLE  =                    T".ljust(2880))
    pictures = Pictures(disc, other, other, fits if known else None, {"warm": other} if known else {})
    return Entry(observation, pictures, () if known else ("The Sun was low.",))


def film(folder: Path, entries: list[Entry]) -> FilmEntry:
    """Make a film of stand-in bytes: the site copies films and does not read them."""
    poster = small_jpeg(folder / "poster.jpg", OTHER_COLOUR)
    (folder / "film.mp4").write_bytes(b"film")
    (folder / "film.json").write_bytes(b"{}")
    return FilmEntry(
        stem="last-days",
        title="The last days",
        mp4=folder / "film.mp4",
        poster=poster,
        frames_json=folder / "film.json",
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
    """Four pictures on three days, one day missing between them; the last day's north is not known."""
    morning = datetime(2026, 6, 3, 9, 15, 20, tzinfo=UTC)
    entries = [
        entry(folder, morning - timedelta(days=1), ASSUMED),
        entry(folder, morning, SOLVED, blur_px=1.4),
        entry(folder, morning + timedelta(hours=5), SOLVED, blur_px=1.1),
        entry(folder, morning + timedelta(days=2), UNKNOWN),
    ]
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
    return Content(info, entries, {"2026-06-03": NOTES}, (film(folder, entries),))
