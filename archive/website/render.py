"""Pages to HTML: a template for each kind of page; strings in, strings out."""

from __future__ import annotations

import hashlib
import re
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

from archive.website.charts_page import ChartsPage
from archive.website.compare_page import ComparePage
from archive.website.data_page import DataPage
from archive.website.day_page import DayPage
from archive.website.days_page import DaysPage
from archive.website.films_page import FilmsPage
from archive.website.group_page import GroupPage
from archive.website.groups_page import GroupsPage
from archive.website.home_page import HomePage
from archive.website.not_found_page import NotFoundPage
from archive.website.observatory_page import ObservatoryPage
from archive.website.pages import SiteFace
from archive.website.rotations_page import RotationPage, RotationsPage

if TYPE_CHECKING:
    import jinja2

__all__ = ["Page", "render", "static_files", "style_hash"]

Page = (
    ChartsPage
    | ComparePage
    | DataPage
    | DayPage
    | DaysPage
    | FilmsPage
    | GroupPage
    | GroupsPage
    | HomePage
    | NotFoundPage
    | ObservatoryPage
    | RotationPage
    | RotationsPage
)

_TEMPLATES: dict[type[Page], str] = {
    ChartsPage: "charts.html",
    ComparePage: "compare.html",
    DataPage: "data.html",
    DayPage: "day.html",
    DaysPage: "days.html",
    FilmsPage: "films.html",
    GroupPage: "group.html",
    GroupsPage: "groups.html",
    HomePage: "home.html",
    NotFoundPage: "not_found.html",
    ObservatoryPage: "observatory.html",
    RotationPage: "rotation.html",
    RotationsPage: "rotations.html",
}


def render(page: Page, face: SiteFace) -> str:
    """Render a page; a name that a template uses and the page lacks is an error."""
    return _environment().get_template(_TEMPLATES[type(page)]).render(site=face, page=page)


def static_files() -> dict[str, bytes]:
    """Return style sheet, icon and scripts under their paths in the site."""
    folder = _templates_dir() / "static"
    found = {path.name: path.read_bytes() for path in sorted(folder.iterdir()) if path.is_file()}
    return {f"static/{name}": _lighter(data) if name.endswith(".js") else data for name, data in found.items()}


def _lighter(script: bytes) -> bytes:
    """Leave out a script's indentation and the comments that have lines of their own: a fifth less to fetch."""
    text = re.sub(r"^\s*/\*[\s\S]*?\*/\n|^\s*//.*\n|^\s+", "", script.decode(), flags=re.MULTILINE)
    return text.encode()


def style_hash(style: bytes) -> str:
    """Return the short mark that the link to the style sheet carries."""
    return hashlib.sha256(style).hexdigest()[:12]


def _templates_dir() -> Path:
    """Find the templates: inside the package where it was installed from a wheel, beside it in a checkout."""
    package = Path(__file__).resolve().parent.parent
    installed = package / "site_templates"
    return installed if installed.is_dir() else package.parent / "site_templates"


@cache
def _environment() -> jinja2.Environment:
    import jinja2

    return jinja2.Environment(
        loader=jinja2.FileSystemLoader(_templates_dir()),
        undefined=jinja2.StrictUndefined,
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
