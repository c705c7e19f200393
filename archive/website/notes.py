"""The day's notes: Markdown converted to sanitised HTML."""

from __future__ import annotations

import re
from collections.abc import Sequence
from functools import cache
from html import escape
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from markdown_it import MarkdownIt
    from markdown_it.renderer import RendererHTML
    from markdown_it.token import Token

__all__ = ["markdown_excess", "notes_html"]

# Of Markdown beyond these the parser makes hundreds of pages out of one, for seconds; no hand writes it.
_SIGNS = re.compile(r"[\[\]()*_~`<>|&!\\#\n]|[-+] ")
_MOST_SIGNS = 10_000
_MOST_CELLS = 20_000
_MOST_EXPANDED = 2_000_000

# No pictures, styles, forms or scripts: a note is text, and a page asks no other host for anything.
_TAGS = frozenset(
    "a blockquote br code del em h3 h4 h5 h6 hr li ol p pre s strong table tbody td th thead tr ul".split()
)
# Each of these runs in the direction of its own first letters, whatever that of the page.
_RUNNING = {f"{name}_open" for name in ("blockquote", "bullet_list", "heading", "ordered_list", "paragraph", "table")}
_ATTRIBUTES = {"a": {"href", "title"}, **{tag: {"dir"} for tag in _TAGS - {"a"}}}
_SCHEMES = frozenset({"http", "https", "mailto"})


def notes_html(markdown: str) -> str:
    """Turn a note into HTML that can do nothing but be read.

    HTML inside the Markdown is shown as text, and of a picture the words that describe it; the result is
    cleaned a second time against a short list of tags. Headings start at the third level, below those of the page.

    Parameters
    ----------
    markdown : str
        CommonMark with tables.

    Returns
    -------
    str
        A fragment for use inside a section under a second-level heading. Where there is more of Markdown than
        `markdown_excess` allows, the text as it was written.
    """
    import nh3

    rendered = _as_written(markdown) if markdown_excess(markdown) else _rendered(markdown)
    return nh3.clean(rendered, tags=set(_TAGS), attributes=_ATTRIBUTES, url_schemes=set(_SCHEMES))


def _as_written(markdown: str) -> str:
    return f'<pre dir="auto">{escape(markdown, quote=False)}</pre>'


def _rendered(markdown: str) -> str:
    parser = _parser()
    tokens = parser.parse(markdown)
    for token in tokens:
        if token.type in ("heading_open", "heading_close"):
            token.tag = f"h{min(6, int(token.tag[1:]) + 2)}"
        if token.type in _RUNNING:
            token.attrSet("dir", "auto")
    return str(parser.renderer.render(tokens, parser.options, {}))


def markdown_excess(markdown: str) -> str | None:
    """Return what exceeds the limits for rendering, or None.

    Rows of a table are filled up to its columns, and a reference is set in wherever its name stands, so a short text
    may make a page of any length.
    """
    if len(markdown) <= 1000:
        return None
    signs = sum(1 for _ in _SIGNS.finditer(markdown))
    if signs > _MOST_SIGNS:
        return f"{signs} signs of Markdown, over {_MOST_SIGNS}; shown as written"
    blocks = re.split(r"\n[ \t]*\n", markdown)
    cells = sum((block.count("\n") + 1) * max(line.count("|") for line in block.split("\n")) for block in blocks)
    if cells > _MOST_CELLS:
        return f"a table of up to {cells} cells, over {_MOST_CELLS}; shown as written"
    if "]:" in markdown:
        if max(map(len, blocks)) * markdown.count("[") > _MOST_EXPANDED:
            return "references that expand to too long a text; shown as written"
    return None


@cache
def _parser() -> MarkdownIt:
    from markdown_it import MarkdownIt

    parser = MarkdownIt("commonmark", {"html": False}).enable(["table", "strikethrough"])
    parser.add_render_rule("image", _image_words)
    return parser


def _image_words(self: RendererHTML, tokens: Sequence[Token], index: int, options: Any, env: Any) -> str:
    """Write a picture's description, or its title where it has none, in place of the picture."""
    image = tokens[index]
    words = self.renderInlineAsText(image.children, options, env) if image.children else ""
    return escape(words.strip() or str(image.attrGet("title") or ""))
