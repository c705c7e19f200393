"""Paths of all files of the site, and links between pages.

Paths are relative to the site's folder with forward slashes. Links are relative and name
``index.html``, so that the site works from any sub-path and from ``file://``.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from urllib.parse import quote, urlsplit

from archive.model.film import Film
from archive.model.group import group_address
from archive.model.observation import LARGE_PX, Observation
from archive.website.content import UnmeasuredPicture

__all__ = [
    "CHARTS",
    "COMPARE",
    "COMPARE_SCRIPT",
    "DATA",
    "DATA_PACKAGE",
    "DAYS",
    "FEED",
    "FILMS",
    "GROUPS",
    "GROUPS_CSV",
    "GROUPS_JSON",
    "HOME",
    "ICON",
    "KEYS_SCRIPT",
    "NOT_FOUND",
    "OBSERVATIONS_CSV",
    "OBSERVATIONS_JSON",
    "OBSERVATORY",
    "PLATE_SCRIPT",
    "PLAYER",
    "ROBOTS",
    "ROTATIONS",
    "SEARCH",
    "SEARCH_INDEX",
    "SEARCH_SCRIPT",
    "SITEMAP",
    "STYLE",
    "TOUCH_ICON",
    "FilmFiles",
    "Here",
    "PictureFiles",
    "RotationFiles",
    "about_picture_file",
    "compare_page",
    "day_page",
    "derotated_file",
    "eclipse_page",
    "film_files",
    "graticule_file",
    "group_page",
    "month_page",
    "note_picture_file",
    "picture_files",
    "root_path",
    "rotation_files",
    "rotation_page",
    "unmeasured_files",
    "year_page",
]

# Characters that `quote` leaves unchanged, checked faster.
_PLAIN = re.compile(r"[\w.~/-]*", re.ASCII).fullmatch

HOME = "index.html"
DAYS = "days/index.html"
COMPARE = "compare/index.html"
GROUPS = "groups/index.html"
ROTATIONS = "rotations/index.html"
CHARTS = "charts/index.html"
FILMS = "films/index.html"
OBSERVATORY = "observatory/index.html"
DATA = "data/index.html"
SEARCH = "search/index.html"
SEARCH_INDEX = "search/words.js"
OBSERVATIONS_JSON = "data/observations.json"
OBSERVATIONS_CSV = "data/observations.csv"
GROUPS_JSON = "data/groups.json"
GROUPS_CSV = "data/groups.csv"
DATA_PACKAGE = "data/datapackage.json"
FEED = "feed.xml"
SITEMAP = "sitemap.xml"
ROBOTS = "robots.txt"
NOT_FOUND = "404.html"
STYLE = "static/style.css"
ICON = "static/favicon.svg"
TOUCH_ICON = "static/touch-icon.png"
PLAYER = "static/player.js"
KEYS_SCRIPT = "static/keys.js"
PLATE_SCRIPT = "static/plate.js"
COMPARE_SCRIPT = "static/compare.js"
SEARCH_SCRIPT = "static/search.js"


@dataclass(frozen=True)
class Here:
    """The page that links start from.

    `root` is None for relative links; the page for missing addresses is shown at any depth and
    therefore links from the host's root, e.g. ``/sun/``.
    """

    path: str
    root: str | None = None

    @cached_property
    def _folders(self) -> list[str]:
        return self.path.split("/")[:-1]

    @cached_property
    def _up(self) -> tuple[str, str]:
        """The way to the site's folder, and how paths begin that need not go there."""
        folders = self._folders
        return "../" * len(folders), f"{folders[0]}/" if folders else ""

    def to(self, target: str) -> str:
        """Link to a file of the site, escaped for use in an attribute."""
        if self.root is not None:
            return self.root + quote(target)
        # By hand: posixpath.relpath asks for the working folder each time, and a large archive has a million links.
        up, own = self._up
        if not target.startswith(own):
            link = up + target
        else:
            here, there = self._folders, target.split("/")
            shared = 0
            while shared < min(len(here), len(there) - 1) and here[shared] == there[shared]:
                shared += 1
            link = "../" * (len(here) - shared) + "/".join(there[shared:])
        return link if _PLAIN(link) else quote(link)


@dataclass(frozen=True)
class PictureFiles:
    """Paths of the pictures of one observation."""

    disc: str
    small: str
    tiny: str
    as_it_came: str
    fits: str
    prefix: str

    @property
    def flat(self) -> str:
        """Return the path of the disc without limb darkening."""
        return self.look("flat")

    def look(self, name: str) -> str:
        """Return the path of a look's picture."""
        return f"{self.prefix}-{name}.{'avif' if name == 'flat' else 'jpg'}"

    def light(self, side_px: int) -> str:
        """Return the path of the disc as AVIF with a side of so many pixels."""
        return f"{self.prefix}-disc-{side_px}.avif"


@dataclass(frozen=True)
class UnmeasuredFiles:
    """Paths of a picture that is not measured."""

    as_it_came: str
    small: str
    tiny: str


@dataclass(frozen=True)
class FilmFiles:
    """Paths of the files of one film; `loop` and `av1` are None where there is none."""

    mp4: str
    poster: str
    frames_json: str
    loop: str | None
    av1: str | None


@dataclass(frozen=True)
class RotationFiles:
    """Paths of the map of a Carrington rotation."""

    picture: str
    fits: str


def day_page(day: date) -> str:
    """Return the path of a day's page."""
    return f"days/{day.isoformat()}/index.html"


def eclipse_page(day: date) -> str:
    """Return the path of the page of an eclipse to come."""
    return f"eclipses/{day.isoformat()}/index.html"


def note_picture_file(day: date, sha256: str) -> str:
    """Return where a picture that a day's notes show goes, by its bytes: its own name may tell what is private."""
    return f"days/{day.isoformat()}/further-{sha256[:12]}.jpg"


def about_picture_file(sha256: str) -> str:
    """Return where a picture of the observatory's own page goes; see `note_picture_file`."""
    return f"observatory/{sha256[:12]}.jpg"


def compare_page(day: date) -> str:
    """Return the path of the page that compares a day with the one before."""
    return f"compare/{day.isoformat()}/index.html"


def derotated_file(day: date) -> str:
    """Return the path of a day's disc derotated to the day before, beside the page that compares them."""
    return f"compare/{day.isoformat()}/turned-back.avif"


def graticule_file(b0_deg: float) -> str:
    """Return the path of the grid for a tilt of the axis: ``grids/n07.2.svg``, shared by all its days."""
    return f"grids/{'s' if b0_deg < 0 else 'n'}{abs(b0_deg):04.1f}.svg"


def month_page(day: date) -> str:
    """Return the path of the calendar of a day's month."""
    return f"days/{day:%Y-%m}/index.html"


def year_page(year: int) -> str:
    """Return the path of a year's overview."""
    return f"days/{year:04d}/index.html"


def _prefix(name: str, day: date) -> str:
    """Return how the files of a picture's id begin: beside its day's page, named by its time.

    One of another UTC day than the page's has that in its name too: two sites may have the same minute on one page.
    """
    utc_day, _, stem = name.partition("T")
    if not stem or utc_day != day.isoformat():
        stem = name
    return f"days/{day.isoformat()}/{stem}"


def unmeasured_files(one: UnmeasuredPicture) -> UnmeasuredFiles:
    """Return where the files of a picture go that is not measured."""
    prefix = _prefix(one.id, one.day)
    return UnmeasuredFiles(f"{prefix}-as-it-came.jpg", f"{prefix}-small.jpg", f"{prefix}-tiny.jpg")


def picture_files(observation: Observation) -> PictureFiles:
    """Return where an observation's pictures go, see `_prefix`."""
    prefix, picture = _prefix(observation.id, observation.day), observation.picture
    return PictureFiles(
        disc=f"{prefix}-disc.jpg",
        small=f"{prefix}-small.jpg",
        tiny=f"{prefix}-tiny.jpg",
        as_it_came=f"{prefix}-as-it-came.{'jpg' if picture.width_px * picture.height_px > LARGE_PX else 'avif'}",
        fits=f"{prefix}-disc.fits",
        prefix=prefix,
    )


def film_path(stem: str) -> str:
    """Return where the film of that name goes."""
    return f"films/{stem}.mp4"


def film_files(film: Film) -> FilmFiles:
    """Return where a film's files go."""
    prefix = f"films/{film.stem}"
    loop = None if film.loop is None else f"{prefix}-loop.mp4"
    av1 = None if film.av1 is None else f"{prefix}-av1.mp4"
    return FilmFiles(f"{prefix}.mp4", f"{prefix}.jpg", f"{prefix}.json", loop, av1)


def group_page(name: str) -> str:
    """Return the path of a sunspot group's page."""
    return f"groups/{group_address(name)}/index.html"


def rotation_page(number: int) -> str:
    """Return the path of a Carrington rotation's page."""
    return f"rotations/{number}/index.html"


def rotation_files(number: int) -> RotationFiles:
    """Return where a Carrington rotation's map goes: beside its page."""
    return RotationFiles(f"rotations/{number}/map.png", f"rotations/{number}/map.fits")


def root_path(address: str | None) -> str | None:
    """Return the path part of the public address with a slash at the end, None where there is no address."""
    if address is None:
        return None
    return urlsplit(address).path.rstrip("/") + "/"
