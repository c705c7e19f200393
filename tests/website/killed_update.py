"""A site brought up to date by processes that kill themselves at every few steps; run by `test_site_files`.

Whatever the step: each file is as before or as it is to be; the pages that were there, and all that can be reached
from them and from the home page, link to nothing that is missing; a site that is not finished says so; and the next
run makes the same site as one that was never stopped, also where the archive is by then what it was before. Steps are
the audit events of PEP 578.
"""

from __future__ import annotations

import json
import os
import posixpath
import shutil
import signal
import sys
from dataclasses import replace
from functools import cache
from pathlib import Path
from urllib.parse import unquote, urlsplit

from archive.website.content import Content
from website.invented import build_site, record_of
from website.invented import content as invented_content
from website.read_pages import Links

EVENTS = {"os.rename", "os.remove", "os.mkdir", "os.rmdir"}
STRIDE = 3 if os.environ.get("NORTHLIMB_STUDY") == "full" else 4
Tree = dict[str, bytes]


def tree(folder: Path) -> Tree:
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def killed(content: Content, site: Path, step: int) -> bool:
    pid = os.fork()
    if pid == 0:
        left = [step]

        def hook(event: str, arguments: object) -> None:
            if event in EVENTS:
                left[0] -= 1
                if left[0] < 0:
                    os.kill(os.getpid(), signal.SIGKILL)

        sys.addaudithook(hook)
        build_site(content, site, record=record_of(site))
        os._exit(0)
    return os.waitpid(pid, 0)[1] != 0


@cache
def links(page: str, data: bytes) -> list[str]:
    """Files of the site that a page links to or loads."""
    targets = (urlsplit(target) for target in Links(data.decode()).targets)
    paths = (unquote(target.path) for target in targets if not target.scheme and target.path)
    return [posixpath.normpath(posixpath.join(posixpath.dirname(page), path)) for path in paths]


def broken(found: Tree, before: Tree) -> list[str]:
    """Links to nothing, from all pages that a reader can come to; the 404 page's links start at the host's root."""
    waiting = [path for path in {"index.html", *before} if path in found and path.endswith(".html")]
    seen, faults = {"404.html"}, []
    while waiting:
        page = waiting.pop()
        if page in seen:
            continue
        seen.add(page)
        for path in links(page, found[page]):
            if path not in found:
                faults.append(f"{page} links to {path}")
            elif path.endswith(".html"):
                waiting.append(path)
    return faults


def faults_of(found: Tree, before: Tree, after: Tree) -> list[str]:
    found = {path: data for path, data in found.items() if not path.endswith(".part")}
    mixed = [
        path for path, data in found.items() if path != "files.json" and data not in (before.get(path), after.get(path))
    ]
    finished = not json.loads(found["files.json"]).get("pending") if found else False
    if finished and found not in (before, after):
        mixed.append("says that it is finished")
    return mixed + broken(found, before)


def main(case: str, scratch: Path) -> None:
    whole = invented_content(scratch / "derived")
    fewer = replace(whole, entries=whole.entries[1:], films=[])
    first, second = {"new": (None, whole), "grows": (fewer, whole), "shrinks": (whole, fewer)}[case]
    start, site, wanted = scratch / "start", scratch / "site", scratch / "wanted"
    if first is not None:
        build_site(first, start, record=record_of(start))
    build_site(second, wanted)
    before, after = tree(start), tree(wanted)
    step, kills, unfinished, faults = 0, 0, 0, []
    while True:
        shutil.rmtree(site, ignore_errors=True)
        shutil.rmtree(scratch / "site-record", ignore_errors=True)
        if first is not None:
            shutil.copytree(start, site)
            shutil.copytree(scratch / "start-record", scratch / "site-record")
        if not killed(second, site, step):
            break
        kills += 1
        found = tree(site)
        unfinished += found not in (before, after)
        unfinished += case == "new" and (scratch / ".site.northlimb-part").exists()
        faults += [f"step {step}: {fault}" for fault in faults_of(found, before, after)]
        # Half of the times the archive is meanwhile what it was before.
        back = first is not None and kills % 2 == 0
        build_site(first if back else second, site, record=record_of(site))
        if tree(site) != (before if back else after) or list(scratch.glob(".*")):
            faults.append(f"step {step}: the next run does not finish")
        step += STRIDE
    print(json.dumps({"kills": kills, "unfinished": unfinished, "faults": faults}))


if __name__ == "__main__":
    main(sys.argv[1], Path(sys.argv[2]))
