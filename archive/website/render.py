"""Pages to HTML: a template for each kind of page; strings in, strings out."""

from __future__ import annotations

import hashlib
import re
from functools import cache, partial
from typing import TYPE_CHECKING

from archive.disk import read_own, walk_named
from archive.language import template_words, translated_script
from archive.templates_folder import templates_dir
from archive.website import addresses
from archive.website.charts_page import ChartsPage
from archive.website.compare_page import ComparePage
from archive.website.data_page import DataPage
from archive.website.day_page import DayPage
from archive.website.days_page import DaysPage
from archive.website.eclipse_page import EclipsePage
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
from archive.website.theme import NO_THEME, Theme, clear_mistakes
from archive.website.theme_blocks import check_blocks
from archive.website.year_page import YearPage

if TYPE_CHECKING:
    import jinja2

__all__ = ["Page", "check_theme", "head_style", "render", "static_files", "style_hash"]

Page = (
    ChartsPage
    | ComparePage
    | DataPage
    | DayPage
    | DaysPage
    | EclipsePage
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

_END_OF_HEAD = b"/* Above stands all that"
_TEMPLATES: dict[type[Page], str] = {
    ChartsPage: "charts.html",
    ComparePage: "compare.html",
    DataPage: "data.html",
    DayPage: "day.html",
    DaysPage: "days.html",
    EclipsePage: "eclipse.html",
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


def check_theme(theme: Theme) -> None:
    """Read a theme's templates before any page is made from them.

    Raises
    ------
    SettingsError
        One has a mistake that shows without rendering it, or fills a block that nothing it extends has.
    """
    with clear_mistakes(theme):
        check_blocks(theme, _environment(theme))


def render(page: Page, face: SiteFace, theme: Theme = NO_THEME) -> str:
    """Render a page; a name that a template uses and the page lacks is an error.

    Raises
    ------
    SettingsError
        Where the mistake is in a template of the theme.
    """
    with clear_mistakes(theme):
        return _environment(theme).get_template(_TEMPLATES[type(page)]).render(site=face, page=page)


def static_files(theme: Theme = NO_THEME) -> dict[str, bytes]:
    """Return style sheet, fonts, icons and scripts under their paths in the site; the theme's style comes last."""
    folder = templates_dir() / "static"
    found = {path.name: read_own(path) for path in walk_named(folder)}
    files = {f"static/{name}": _script(data) if name.endswith(".js") else data for name, data in found.items()}
    return {**files, addresses.STYLE: files[addresses.STYLE] + theme.style}


def head_style(theme: Theme = NO_THEME) -> bytes:
    """Return as much of the style sheet as heads and feet of pages need; the theme's style comes last."""
    ours = read_own(templates_dir() / addresses.STYLE)
    return ours.partition(_END_OF_HEAD)[0] + theme.style


def _script(script: bytes) -> bytes:
    """Put the words of the language into a script, and leave out indentation and comments: a fifth less to fetch."""
    text = re.sub(r"^\s*/\*[\s\S]*?\*/\n|^\s*//.*\n|^\s+", "", script.decode(), flags=re.MULTILINE)
    return translated_script(text).encode()


def style_hash(style: bytes) -> str:
    """Return the short mark that the link to the style sheet carries."""
    return hashlib.sha256(style).hexdigest()[:12]


@cache
def _environment(theme: Theme) -> jinja2.Environment:
    """Look for a template in the theme first; our own one of the same name is there as ``original/NAME.html``."""
    import jinja2
    from jinja2.sandbox import ImmutableSandboxedEnvironment

    ours = jinja2.FileSystemLoader(templates_dir())
    theirs = [] if theme.folder is None else [jinja2.FunctionLoader(partial(_of_theme, theme))]
    # A theme is a program of whoever wrote it: it may arrange what it is given, and reaches nothing else.
    kind = jinja2.Environment if theme.folder is None else ImmutableSandboxedEnvironment
    environment = kind(
        loader=jinja2.ChoiceLoader([*theirs, ours, jinja2.PrefixLoader({"original": ours})]),
        undefined=jinja2.StrictUndefined,
        auto_reload=False,  # a theme that changes is another `Theme`; to look at the files took a tenth of rendering
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    environment.globals.update(template_words())
    return environment


def _of_theme(theme: Theme, name: str) -> tuple[str, str | None, None] | None:
    """Return a template of the theme as it was read, under the path that messages name; None where there is none."""
    data = dict(theme.files).get(name)
    return None if data is None or theme.folder is None else (data.decode(), str(theme.folder / name), None)
