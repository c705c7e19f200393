"""Pages to HTML: a template for each kind of page; strings in, strings out."""

from __future__ import annotations

import hashlib
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

from archive.website.charts_page import ChartsPage
from archive.website.data_page import DataPage
from archive.website.day_page import DayPage
from archive.website.days_page import DaysPage
from archive.website.films_page import FilmsPage
from archive.website.group_page import GroupPage
from archive.website.groups_page import GroupsPage
from archive.website.home_page import HomePage
from archive.website.month_page import MonthPage
from archive.website.not_found_page import NotFoundPage
from archive.website.observatory_page import ObservatoryPage
from archive.website.pages import SiteFace
from archive.website.rotations_page import RotationPage, RotationsPage
from archive.website.search_page import SearchPage
from archive.website.year_page import YearPage

if TYPE_CHECKING:
    import jinja2

__all__ = ["Page", "render", "static_files", "style_hash"]

Page = (
    ChartsPage
    | DataPage
    | DayPage
    | DaysPage
    | FilmsPage
    | GroupPage
    | GroupsPage
    | HomePage
    | MonthPage
    | NotFoundPage
    | ObservatoryPage
    | RotationPage
    | RotationsPage
    | SearchPage
    | YearPage
)

_TEMPLATES: dict[type[Page], str] = {
    ChartsPage: "charts.html",
    DataPage: "data.html",
    DayPage: "day.html",
    DaysPage: "days.html",
    FilmsPage: "films.html",
    GroupPage: "group.html",
    GroupsPage: "groups.html",
    HomePage: "home.html",
    MonthPage: "month.html",
    NotFoundPage: "not_found.html",
    ObservatoryPage: "observatory.html",
    RotationPage: "rotation.html",
    RotationsPage: "rotations.html",
    SearchPage: "search.html",
    YearPage: "year.html",
}


def render(page: Page, face: SiteFace) -> str:
    """Render a page; a name that a template uses and the page lacks is an error."""
    return _environment().get_template(_TEMPLATES[type(page)]).render(site=face, page=page)


def static_files() -> dict[str, bytes]:
    """Return the style sheet and the icon under their paths in the site."""
    folder = _templates_dir() / "static"
    return {f"static/{path.name}": path.read_bytes() for path in sorted(folder.iterdir()) if path.is_file()}


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
