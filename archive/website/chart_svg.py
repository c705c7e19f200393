"""Lines and texts as SVG for a page: themed by the page's own colours, their text kept as text.

The pages' content security policy forbids styles in the markup, so all is said in presentation attributes.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from enum import Enum
from html import escape
from typing import Literal

from markupsafe import Markup

__all__ = ["Cap", "Colour", "Point", "chart_svg", "svg_lines", "svg_text"]

# Across and down, points.
Point = tuple[float, float]
# How a line ends: "butt" is cut off at its end.
Cap = Literal["round", "square", "butt"]


class Colour(Enum):
    """The page's colours, each by its custom property."""

    INK = "var(--ink)"
    QUIET = "var(--quiet)"
    RULE = "var(--rule)"
    ACCENT = "var(--accent)"


def chart_svg(width: float, height: float, inside: str, mark: str, *, title: str, description: str) -> Markup:
    """Return a chart as an SVG element for the inside of a page.

    Parameters
    ----------
    width, height : float
        Of the paper, in points.
    inside : str
        Lines and texts.
    mark : str
        Unique in the page; the ids of title and description begin with it.
    title, description : str
        For who cannot see it.
    """
    return Markup(
        f'<svg viewBox="0 0 {width:g} {height:g}" role="img" aria-labelledby="{mark}-title {mark}-desc">\n'
        f'<title id="{mark}-title">{escape(title)}</title>\n<desc id="{mark}-desc">{escape(description)}</desc>\n'
        f"{inside}</svg>"
    )


def svg_lines(
    lines: Iterable[Sequence[Point]],
    *,
    colour: Colour,
    width: float,
    dashes: str = "",
    cap: Cap = "round",
) -> str:
    """Return all lines as one path: one from a point to itself is a dot, a single point shows nothing."""
    path = "".join(_line(line) for line in lines if len(line) > 1)
    if not path:
        return ""
    end = f' stroke-dasharray="{dashes}"' if dashes else f' stroke-linecap="{cap}"'
    return f'<path d="{path}" fill="none" stroke="{colour.value}" stroke-width="{_short(width)}"{end}/>\n'


def svg_text(
    words: str, at: Point, *, colour: Colour, anchor: Literal["start", "middle", "end"], font_size: float
) -> str:
    """Return a text of one line that begins, is centred or ends at a place of its baseline."""
    place = f'x="{_short(at[0])}" y="{_short(at[1])}"'
    look = f'fill="{colour.value}" text-anchor="{anchor}" font-size="{_short(font_size)}"'
    return f"<text {place} {look}>{escape(words)}</text>\n"


def _line(line: Sequence[Point]) -> str:
    places = [f"{_short(x)} {_short(y)}" for x, y in line]
    return f"M{places[0]}h0" if len(set(places)) == 1 else f"M{'L'.join(places)}"


def _short(points: float) -> str:
    """Write a length to a tenth of a point, which is finer than any screen."""
    return f"{round(points, 1) + 0.0:g}"  # -0.0 becomes 0.0
