"""The whole site against general-purpose site generators on as many pages of the same kind, side by side in one run.

Run: ``PYTHONPATH=. python tests/benchmarks/bench_peers.py --archive ARCHIVE --pelican COMMAND --eleventy COMMAND``, the
archive being one that ``bench_build.py --at`` left. Each peer gets the main part of every one of our pages as a page of
its own, and a layout with the rest; pictures are left to us alone. All start from nothing but what is derived. Nothing
here is a test. Wanted: ahead of both.
"""

from __future__ import annotations

import argparse
import re
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path

LAYOUT_HEAD = "<!doctype html>\n<html lang=en>\n<head>\n<meta charset=utf-8>\n<title>"
PELICAN_SETTINGS = """
SITENAME = "Bench"
PATH = "content"
THEME = "theme"
TIMEZONE = "UTC"
ARTICLE_PATHS = ["unused"]
PAGE_PATHS = ["pages"]
PAGE_URL = PAGE_SAVE_AS = "{slug}/index.html"
DIRECT_TEMPLATES = []
AUTHOR_SAVE_AS = CATEGORY_SAVE_AS = TAG_SAVE_AS = ""
FEED_ALL_ATOM = CATEGORY_FEED_ATOM = TRANSLATION_FEED_ATOM = AUTHOR_FEED_ATOM = AUTHOR_FEED_RSS = None
"""


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--archive", type=Path, required=True)
    parser.add_argument("--pelican", help="how to start the Python peer")
    parser.add_argument("--eleventy", help="how to start the Node peer")
    arguments = parser.parse_args()
    root: Path = arguments.archive
    shutil.rmtree(root / "site", ignore_errors=True)
    told("ours", [sys.executable, "-m", "archive", "build", str(root)], Path.cwd())
    pages = [(path, path.read_text(encoding="utf-8")) for path in sorted((root / "site").rglob("*.html"))]
    print(f"{len(pages)} pages, {sum(len(text) for _, text in pages) / 1e6:.0f} MB")
    mains = [re.search(r"<main.*?>(.*)</main>", text, re.DOTALL).group(1) for _, text in pages]  # type: ignore[union-attr]
    foot = pages[0][1].partition("</main>")[2]
    with tempfile.TemporaryDirectory() as scratch:
        if arguments.pelican:
            for_pelican(Path(scratch) / "python", mains, foot)
            told("Python peer", [*arguments.pelican.split(), "-s", "settings.py", "-q"], Path(scratch) / "python")
        if arguments.eleventy:
            for_eleventy(Path(scratch) / "node", mains, foot)
            told("Node peer", [*arguments.eleventy.split(), "--quiet"], Path(scratch) / "node")


def for_pelican(folder: Path, mains: Sequence[str], foot: str) -> None:
    (folder / "content" / "pages").mkdir(parents=True)
    (folder / "theme" / "templates").mkdir(parents=True)
    (folder / "theme" / "static").mkdir()
    layout = f"{LAYOUT_HEAD}{{{{ page.title }}}}</title>\n<main>{{{{ page.content }}}}</main>{foot}"
    (folder / "theme" / "templates" / "page.html").write_text(layout, encoding="utf-8")
    (folder / "settings.py").write_text(PELICAN_SETTINGS, encoding="utf-8")
    for number, text in enumerate(mains):
        page = f"<html><head><title>Page {number}</title></head><body>{text}</body></html>"
        (folder / "content" / "pages" / f"page-{number}.html").write_text(page, encoding="utf-8")


def for_eleventy(folder: Path, mains: Sequence[str], foot: str) -> None:
    (folder / "_includes").mkdir(parents=True)
    layout = f"{LAYOUT_HEAD}{{{{ title }}}}</title>\n<main>{{{{ content }}}}</main>{foot}"
    (folder / "_includes" / "page.liquid").write_text(layout, encoding="utf-8")
    for number, text in enumerate(mains):
        page = f"---\ntitle: Page {number}\nlayout: page.liquid\n---\n{{% raw %}}{text}{{% endraw %}}"
        (folder / f"page-{number}.html").write_text(page, encoding="utf-8")


def told(name: str, command: Sequence[str], folder: Path) -> None:
    before, started = children_s(), time.perf_counter()
    done = subprocess.run(command, cwd=folder, check=False, capture_output=True, text=True)
    wall_s = time.perf_counter() - started
    if done.returncode:
        print(name, "failed:", (done.stderr or done.stdout)[-600:])
        return
    print(f"  {name}: {wall_s:.1f} s, processor {children_s() - before:.1f} s", flush=True)


def children_s() -> float:
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


if __name__ == "__main__":
    main()
