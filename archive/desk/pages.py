"""The desk's pages: frames without any data, and the scripts that fill them once they are let in."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from typing import TYPE_CHECKING

from archive import __version__
from archive.disk import read_own, walk_named
from archive.language import LANGUAGES, spoken, template_words, translated_script
from archive.safety import CAUTION
from archive.templates_folder import templates_dir

if TYPE_CHECKING:
    from jinja2 import Environment

__all__ = ["PAGES", "failed_html", "page_html", "static_file"]

# Each under its address.
PAGES = {
    "/": "home",
    "/picture": "picture",
    "/arrivals": "arrivals",
    "/films": "films",
    "/publishing": "publishing",
    "/upkeep": "upkeep",
    "/settings": "settings",
}
_KINDS = {".css": "text/css", ".js": "text/javascript", ".woff2": "font/woff2", ".svg": "image/svg+xml"}
# Of the site's own files those that the desk's style sheet is built on.
_OF_THE_SITE = ("style.css", "favicon.svg", "literata.woff2", "literata-italic.woff2")


def page_html(name: str) -> bytes:
    """Return a page in the language that is spoken."""
    return _page_html(name, spoken())


def failed_html(causes: Sequence[str], defect: str) -> bytes:
    """Return the page for a start that failed, which stands alone."""
    return _environment().get_template("failed.html").render(causes=causes, defect=defect).encode()


@cache
def _page_html(name: str, language: str) -> bytes:
    template = _environment().get_template(f"{name}.html")
    return template.render(page=name, version=__version__, caution=CAUTION, languages=LANGUAGES).encode()


@cache
def _environment() -> Environment:
    import jinja2

    environment = jinja2.Environment(
        loader=jinja2.FileSystemLoader(templates_dir() / "desk"),
        undefined=jinja2.StrictUndefined,
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.globals.update(template_words())
    return environment


def static_file(name: str) -> tuple[bytes, str] | None:
    """Return a file and its kind by its name, a script in the language that is spoken; None where there is none."""
    data = _static_files().get(name)
    kind = next((kind for ending, kind in _KINDS.items() if name.endswith(ending)), None)
    if data is None or kind is None:
        return None
    return (_script(name, spoken()) if name.endswith(".js") else data), kind


@cache
def _script(name: str, language: str) -> bytes:
    return translated_script(_static_files()[name].decode()).encode()


@cache
def _static_files() -> dict[str, bytes]:
    site = templates_dir() / "static"
    found = {name: read_own(site / name) for name in _OF_THE_SITE}
    own = templates_dir() / "desk" / "static"
    return {**found, **{path.name: read_own(path) for path in walk_named(own)}}
