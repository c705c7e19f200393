"""A drawn chart as SVG for a page: themed by the page's own colours, its text kept as text.

Matplotlib writes inline styles, which the pages' content security policy forbids, a white ground, and one fixed set of
colours. Here styles become presentation attributes and the colours of `Colour` become the page's custom properties.
"""

from __future__ import annotations

import io
import re
from enum import Enum
from html import escape
from typing import TYPE_CHECKING
from xml.etree import ElementTree

from markupsafe import Markup

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = ["Colour", "chart_svg"]

_SVG = "{http://www.w3.org/2000/svg}"
_ATTRIBUTES = ("fill", "stroke", "stroke-dasharray", "stroke-width", "stroke-linecap", "text-anchor")


class Colour(Enum):
    """The page's colours, each by a stand-in that occurs nowhere else in a drawing."""

    INK = "#010203"
    QUIET = "#040506"
    RULE = "#070809"
    ACCENT = "#0a0b0c"


def chart_svg(figure: Figure, mark: str, *, title: str, description: str) -> Markup:
    """Write a figure as an SVG element for the inside of a page.

    Parameters
    ----------
    figure : matplotlib.figure.Figure
        Without anything clipped, and with texts of one line that lie level.
    mark : str
        Unique in the page; the ids of title and description begin with it.
    title, description : str
        For who cannot see it.

    Returns
    -------
    Markup
    """
    stream = io.StringIO()
    figure.savefig(stream, format="svg", metadata={"Date": None})
    drawing = ElementTree.fromstring(stream.getvalue())
    inside = "".join(map(_written, drawing.iter()))
    return Markup(
        f'<svg viewBox="{drawing.attrib["viewBox"]}" role="img" aria-labelledby="{mark}-title {mark}-desc">\n'
        f'<title id="{mark}-title">{escape(title)}</title>\n<desc id="{mark}-desc">{escape(description)}</desc>\n'
        f"{inside}</svg>"
    )


def _written(element: ElementTree.Element) -> str:
    """Write a line or a text with nothing but what is seen of it; groups, definitions and ids go."""
    style = dict(re.findall(r"([\w-]+): ([^;]+)", element.attrib.get("style", "")))
    if element.tag == f"{_SVG}path" and (style.get("stroke") or style.get("fill", "none") != "none"):
        return f'<path d="{_path(element.attrib["d"])}"{_attributes(style)}/>\n'
    if element.tag == f"{_SVG}text":
        at = f'x="{_short(element.attrib["x"])}" y="{_short(element.attrib["y"])}"'
        return f"<text {at}{_attributes(style)}>{escape(element.text or '')}</text>\n"
    return ""


def _path(data: str) -> str:
    """Write a path with a tenth of a point, which is finer than any screen; a dot is a line without length."""
    short = re.sub(r"([MLz]) ", r"\1", re.sub(r"\s*\n", "", _short(data)))
    return re.sub(r"M([\d. -]+)L\1(?=M|$)", r"M\1h0", short)


def _short(figures: str) -> str:
    return re.sub(r"-?\d+\.\d+", lambda found: f"{float(found[0]):.1f}".removesuffix(".0"), figures)


def _attributes(style: dict[str, str]) -> str:
    """Turn a style into presentation attributes, which the pages' policy allows."""
    style = {name: _themed(value) for name, value in style.items()}
    size = re.search(r"([\d.]+)px", style.get("font-size") or style.get("font") or "")
    kept = {name: style[name] for name in _ATTRIBUTES if name in style}
    if size:
        kept["font-size"] = _short(size[1])
    return "".join(f' {name}="{escape(value)}"' for name, value in kept.items())


def _themed(value: str) -> str:
    return next((f"var(--{colour.name.lower()})" for colour in Colour if colour.value == value), value)
