"""The day's notes: Markdown in, harmless HTML out."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from html import escape
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from markdown_it import MarkdownIt
    from markdown_it.renderer import RendererHTML
    from markdown_it.token import Token

__all__ = ["notes_html"]

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
        A fragment for use inside a section under a second-level heading.
    """
    import nh3

    parser = _parser()
    tokens = parser.parse(markdown)
    for token in tokens:
        if token.type in ("heading_open", "heading_close"):
            token.tag = f"h{min(6, int(token.tag[1:]) + 2)}"
        if token.type in _RUNNING:
            token.attrSet("dir", "auto")
    html = parser.renderer.render(tokens, parser.options, {})
    return nh3.clean(html, tags=set(_TAGS), attributes=_ATTRIBUTES, url_schemes=set(_SCHEMES))


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
