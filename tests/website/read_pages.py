"""What a page holds, as a reader and a browser find it."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from pathlib import Path

import html5lib


class Links(HTMLParser):
    """Collect what a page links to or loads, the marks it can be linked at, and its tags."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.targets: list[str] = []
        self.loaded: list[str] = []
        self.ids: list[str] = []
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        for name, value in attrs:
            if name in ("href", "src", "poster") and value is not None:
                self.targets.append(value)
                if tag != "a" and ("rel", "canonical") not in attrs:
                    self.loaded.append(value)
            if name == "srcset" and value is not None:
                candidates = [candidate.split()[0] for candidate in value.split(",")]
                self.targets += candidates
                self.loaded += candidates
            if name == "id" and value is not None:
                self.ids.append(value)


def page_text(site: Path, path: str) -> str:
    """Return the words of a page's body; gaps between them, and between the cells of a table, are one blank."""
    html = (site / path).read_text(encoding="utf-8")
    html = re.sub("</t[dh]>", r" \g<0>", html)
    return re.sub(r"\s+", " ", "".join(html5lib.parse(html, namespaceHTMLElements=False).find("body").itertext()))
