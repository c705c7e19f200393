"""The day's notes: Markdown converted to sanitised HTML, with the pictures that lie beside them."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from html import escape
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from markdown_it import MarkdownIt
    from markdown_it.renderer import RendererHTML
    from markdown_it.token import Token

__all__ = ["ShownPicture", "markdown_excess", "notes_html", "pictures_in_notes"]

# Of Markdown beyond these the parser makes hundreds of pages out of one, for seconds; no hand writes it.
_SIGNS = re.compile(r"[\[\]()*_~`<>|&!\\#\n]|[-+] ")
_MOST_SIGNS = 10_000
_MOST_CELLS = 20_000
_MOST_EXPANDED = 2_000_000

# No styles, forms or scripts, and no pictures but our own: a page asks no other host for anything.
_TAGS = frozenset(
    "a blockquote br code del em figcaption figure h3 h4 h5 h6 hr img li ol p pre s strong table tbody td th thead tr "
    "ul".split()
)
# Each of these runs in the direction of its own first letters, whatever that of the page.
_RUNNING = {f"{name}_open" for name in ("blockquote", "bullet_list", "heading", "ordered_list", "paragraph", "table")}
_IMAGE_ATTRIBUTES = {"src", "alt", "width", "height", "loading", "decoding"}
_ATTRIBUTES = {"a": {"href", "title"}, "img": _IMAGE_ATTRIBUTES, **{tag: {"dir"} for tag in _TAGS - {"a", "img"}}}
_SCHEMES = frozenset({"http", "https", "mailto"})


# What stands for a picture that has no caption.
_NO_CAPTION = "A further picture of this day"


@dataclass(frozen=True)
class ShownPicture:
    """A picture of the site: how the page links to it, and its size."""

    href: str
    width_px: int
    height_px: int


def notes_html(markdown: str, pictures: Mapping[str, ShownPicture] | None = None) -> str:
    """Turn a note into HTML that can do nothing but be read.

    HTML inside the Markdown is shown as text; the result is cleaned a second time against a short list of tags.
    Headings start at the third level, below those of the page. A picture stands with its caption below the paragraph
    that it is in, which keeps its words where it holds others; of a picture that is none of these the words stay alone.

    Parameters
    ----------
    markdown : str
        CommonMark with tables.
    pictures : mapping, optional
        The pictures to be shown, by their addresses as `pictures_in_notes` tells them.

    Returns
    -------
    str
        A fragment for use inside a section under a second-level heading. Where there is more of Markdown than
        `markdown_excess` allows, the text as it was written.
    """
    import nh3

    rendered = _as_written(markdown) if markdown_excess(markdown) else _rendered(markdown, pictures or {})
    return nh3.clean(rendered, tags=set(_TAGS), attributes=_ATTRIBUTES, url_schemes=set(_SCHEMES))


def _as_written(markdown: str) -> str:
    return f'<pre dir="auto">{escape(markdown, quote=False)}</pre>'


def pictures_in_notes(markdown: str) -> tuple[str, ...]:
    """Return the addresses of all pictures that a note shows, as they stand in it, each once."""
    if "![" not in markdown or markdown_excess(markdown):
        return ()
    shown = (image for token in _parser().parse(markdown) for image in _images(token))
    return tuple(dict.fromkeys(map(_source, shown)))


def _images(token: Token) -> Iterator[Token]:
    return (child for child in token.children or () if child.type == "image")


def _rendered(markdown: str, pictures: Mapping[str, ShownPicture]) -> str:
    parser = _parser()
    tokens = _with_figures(parser.parse(markdown), pictures)
    for token in tokens:
        if token.type in ("heading_open", "heading_close"):
            token.tag = f"h{min(6, int(token.tag[1:]) + 2)}"
        if token.type in _RUNNING:
            token.attrSet("dir", "auto")
    return str(parser.renderer.render(tokens, parser.options, {}))


def _with_figures(tokens: Sequence[Token], pictures: Mapping[str, ShownPicture]) -> list[Token]:
    """Put the pictures of each paragraph, heading or cell below it; a paragraph of nothing else goes."""
    found: list[Token] = []
    ahead = iter(tokens)
    for token in ahead:
        figures = [_figure(image, pictures[src]) for image in _images(token) if (src := _source(image)) in pictures]
        if not figures:
            found.append(token)
            continue
        closing = next(ahead)
        if closing.type == "paragraph_close" and _holds_only(token, pictures):
            found[-1:] = figures  # in place of its opening
        elif closing.type in ("paragraph_close", "heading_close"):
            found += [token, closing, *figures]
        else:  # a cell of a table
            found += [token, *figures, closing]
    return found


def _holds_only(token: Token, pictures: Mapping[str, ShownPicture]) -> bool:
    return all(
        _source(one) in pictures
        if one.type == "image"
        else one.type in ("text", "softbreak") and not one.content.strip()
        for one in token.children or ()
    )


def _figure(image: Token, shown: ShownPicture) -> Token:
    from markdown_it.token import Token

    words = _words_in(image)
    caption = str(image.attrGet("title") or "").strip() or words
    told = f'<figcaption dir="auto">{escape(caption)}</figcaption>' if caption else ""
    size = f'width="{shown.width_px}" height="{shown.height_px}" loading="lazy" decoding="async"'
    picture = f'<img src="{escape(shown.href)}" alt="{escape(words or _NO_CAPTION)}" {size}>'
    return Token("html_block", "", 0, content=f"<figure>{picture}{told}</figure>\n")


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
    return escape(_words_in(image) or str(image.attrGet("title") or ""))


def _words_in(image: Token) -> str:
    renderer: Any = _parser().renderer
    return str(renderer.renderInlineAsText(image.children or [], _parser().options, {})).strip()


def _source(image: Token) -> str:
    return str(image.attrGet("src") or "")
