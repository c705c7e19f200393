"""An archive may come from somebody else: what it would do beyond its own folder waits for the user's word."""

from __future__ import annotations

import json
import os
import pty
import re
import shutil
import subprocess
import sys
from collections.abc import Callable
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest
from derived import blob_of
from scenes.discs import Scene

from archive.commands.main import main

from .conftest import draw, new_archive

Answer = Callable[..., tuple[int, Any]]
CHECKOUT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="module")
def filed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An archive with one picture, of which all that is derived is kept, and no site."""
    folder = new_archive(tmp_path_factory.mktemp("filed") / "my-sun")
    assert main(["add", str(folder), str(draw(folder.with_name("20260603T091500Z.png")))]) == 0
    assert main(["build", str(folder)]) == 0
    shutil.rmtree(folder / "site")
    return folder


@pytest.fixture
def sun(filed: Path, tmp_path: Path) -> Path:
    """A copy of that archive, with its picture beside it."""
    shutil.copy(filed.with_name("20260603T091500Z.png"), tmp_path)
    return Path(shutil.copytree(filed, tmp_path / "my-sun"))


@pytest.fixture
def unbuilt(sun: Path) -> Path:
    """The same, with nothing derived."""
    shutil.rmtree(sun / ".northlimb")
    return sun


def told(capsys: pytest.CaptureFixture[str], *words: object) -> tuple[int, str]:
    """Run a command; its exit status and what it told on the standard error, progress apart."""
    capsys.readouterr()
    status = main([*map(str, words)])
    lines = capsys.readouterr().err.splitlines(keepends=True)
    return status, "".join(line for line in lines if not re.fullmatch(r"[a-z ]+: \d+ of \d+\n", line))


def name_target(archive: Path, folder: Path) -> None:
    settings = archive / "archive.toml"
    head = settings.read_text().partition("\n[[targets]]")[0]
    settings.write_text(f'{head}\n[[targets]]\nname = "web"\nfolder = "{folder}"\n')


def test_a_new_archive_asks_for_nothing(sun: Path, answer: Answer, tmp_path: Path) -> None:
    assert answer("trust", sun, "--show") == (0, {"status": "done", "grants": []})
    assert main(["build", str(sun)]) == 0
    assert main(["publish", str(sun), str(tmp_path / "public")]) == 0  # a place that the user typed


def test_a_target_of_the_archive_is_sent_nothing_until_it_is_allowed(
    sun: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], answer: Answer
) -> None:
    name_target(sun, tmp_path / "public")
    assert main(["build", str(sun)]) == 0
    for words in (["publish", sun], ["publish", sun, "web"], ["publish", sun, "--dry-run"]):
        status, errors = told(capsys, *words)
        assert status == 1
        assert errors == (
            f"northlimb: target web ({tmp_path / 'public'}): not allowed yet; `northlimb trust {sun}` shows what this "
            "archive asks for, and allows it\n"
        )
    assert not (tmp_path / "public").exists()
    assert answer("trust", sun, "--show")[1]["grants"][0]["allowed"] is False
    assert told(capsys, "publish", sun, "web")[0] == 1  # to show is not to allow
    status, allowed = answer("trust", sun)
    assert status == 0
    assert [(one["kind"], one["name"], one["allowed"]) for one in allowed["grants"]] == [("target", "web", True)]
    assert main(["publish", str(sun), "web"]) == 0
    assert (tmp_path / "public/index.html").is_file()


def test_a_changed_target_is_asked_for_again(sun: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    name_target(sun, tmp_path / "public")
    assert main(["trust", str(sun)]) == 0
    assert main(["build", str(sun)]) == 0
    assert main(["publish", str(sun)]) == 0
    name_target(sun, tmp_path / "elsewhere")
    assert told(capsys, "publish", sun)[0] == 1
    name_target(sun, tmp_path / "public")  # what was seen is still allowed
    assert main(["publish", str(sun)]) == 0
    assert main(["trust", str(sun), "--forget"]) == 0
    assert told(capsys, "publish", sun)[0] == 1


def test_what_one_archive_is_allowed_another_is_not(
    sun: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    name_target(sun, tmp_path / "public")
    assert main(["trust", str(sun)]) == 0
    copied = shutil.copytree(sun, tmp_path / "copied")
    assert main(["build", str(copied)]) == 0
    assert told(capsys, "publish", copied)[0] == 1


def test_a_theme_shapes_no_page_until_it_is_allowed(
    sun: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (sun / "theme").mkdir()
    (sun / "theme/style.css").write_text("/* theirs */")
    status, errors = told(capsys, "build", sun)
    assert status == 0
    assert f"{sun / 'theme'}: not used because you have not allowed it" in errors
    assert "theirs" not in (sun / "site/static/style.css").read_text()
    assert told(capsys, "publish", sun, tmp_path / "public")[0] == 1  # not without the face that its owner gave it
    assert main(["trust", str(sun)]) == 0
    assert main(["build", str(sun)]) == 0
    assert "theirs" in (sun / "site/static/style.css").read_text()
    assert main(["publish", str(sun), str(tmp_path / "public")]) == 0
    (sun / "theme/style.css").write_text("/* changed */")
    assert "not used" in told(capsys, "build", sun)[1]


ESCAPES = [
    "{{ cycler.__init__.__globals__.os.system('touch OUT') }}",
    "{{ ''.__class__.__mro__[1].__subclasses__() }}",
    "{{ self.__init__.__globals__ }}",
    "{{ lipsum.__globals__['os'].popen('touch OUT') }}",
    "{{ site.__class__.__init__.__globals__ }}",
    "{{ '{0.__class__.__init__.__globals__}'.format(page) }}",
    "{% include '/etc/passwd' %}",
    "{% include '../archive.toml' %}",
    "{% for number in range(10 ** 9) %}x{% endfor %}",
]


@pytest.mark.parametrize("words", ESCAPES)
def test_a_theme_runs_no_code_though_it_is_allowed(
    sun: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], words: str
) -> None:
    (sun / "theme").mkdir()
    block = f"{{% block colophon %}}{words.replace('OUT', str(tmp_path / 'out'))}{{% endblock %}}"
    theme = f'{{% extends "original/base.html" %}}{block}'
    (sun / "theme/base.html").write_text(theme)
    assert main(["trust", str(sun)]) == 0
    status, errors = told(capsys, "build", sun)
    assert status == 1
    assert errors.startswith(f"northlimb: {sun / 'theme/base.html'}: line 1: ")
    assert errors.count("\n") == 1
    assert not (tmp_path / "out").exists()


def test_a_year_on_another_disk_is_read_once_its_link_is_allowed(
    sun: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], answer: Answer
) -> None:
    elsewhere = tmp_path / "large disk"
    elsewhere.mkdir()
    for name in ("2026", ".northlimb", "site"):
        if (sun / name).exists():
            (sun / name).rename(elsewhere / name)
        else:
            (elsewhere / name).mkdir()
        (sun / name).symlink_to(elsewhere / name, target_is_directory=True)
    for words in (["build", sun], ["verify", sun], ["show", sun, "2026-06-03"]):
        status, errors = told(capsys, *words)
        assert status == 1
        assert f"{sun / '2026'}: is a link to {elsewhere / '2026'}; `northlimb trust {sun}` allows it" in errors
    assert answer("trust", sun)[0] == 0
    assert main(["build", str(sun)]) == 0
    assert (elsewhere / "site/index.html").is_file()
    assert answer("verify", sun)[1]["checked"] == 1
    second = draw(tmp_path / "20260604T091500Z.png", Scene(seed=5))
    assert main(["add", str(sun), str(second)]) == 0
    assert (elsewhere / "2026/2026-06-04/0915Z.png").is_file()
    assert main(["remove", str(sun), "2026-06-04T0915Z"]) == 0
    assert main(["remove", str(sun), "2026-06-04T0915Z", "--undo"]) == 0
    assert answer("verify", sun)[1]["checked"] == 2
    (sun / "2026").unlink()
    (tmp_path / "another/2026").mkdir(parents=True)
    (sun / "2026").symlink_to(tmp_path / "another/2026", target_is_directory=True)
    assert told(capsys, "build", sun)[0] == 1  # it leads elsewhere now


def test_a_link_within_the_derived_things_costs_nothing_outside(
    sun: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The cache moved to a larger disk, where photographs lie: they were taken for derived things, and removed."""
    assert main(["build", str(sun)]) == 0
    photographs = tmp_path / "photographs"
    (photographs / "holiday").mkdir(parents=True)
    (photographs / "holiday/beach.jpg").write_bytes(b"beach")
    shutil.rmtree(sun / ".northlimb/blobs")
    (sun / ".northlimb/blobs").symlink_to(photographs, target_is_directory=True)
    assert told(capsys, "build", sun) == (0, "")  # of which nothing is needed
    shutil.rmtree(sun / "site")
    status, errors = told(capsys, "build", sun)
    assert status == 1
    assert "is a link, and no link is followed here" in errors
    assert [path.relative_to(photographs).as_posix() for path in photographs.rglob("*.*")] == ["holiday/beach.jpg"]


def of_another_computer(sun: Path, tmp_path: Path, *words: str) -> None:
    """Run Python as another user on another computer would: with a configuration folder of its own."""
    environment = {**os.environ, "PYTHONPATH": str(CHECKOUT), "XDG_CONFIG_HOME": str(tmp_path / "theirs")}
    subprocess.run([sys.executable, *words], env=environment, check=True, capture_output=True)


# Kept records and pages name the site Evil, and bear that computer's own seal.
FORGED = """
import sys
from dataclasses import replace
from pathlib import Path
from archive.records.archive_files import derived_files
from archive.store.database import Database

rows = Database(derived_files(Path(sys.argv[1])))
changed = 0
for maker in rows.makers():
    for name in rows.names(maker):
        row = rows.get(maker, name)
        if b"Quay" in row.value:
            rows.put(maker, name, replace(row, value=row.value.replace(b"Quay", b"Evil")))
            changed += 1
rows.commit()
rows.close()
assert changed
"""


def test_what_was_derived_elsewhere_is_not_believed(
    unbuilt: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """An archive handed over whole, with a page, a picture and a kept page that somebody has changed."""
    of_another_computer(unbuilt, tmp_path, "-m", "archive", "build", str(unbuilt))
    day = unbuilt / "site/days/2026-06-03/index.html"
    whole, script = day.read_bytes(), b"<script>alert(1)</script>"
    day.write_bytes(whole.replace(b"</body>", script + b"</body>"))
    listed = json.loads((unbuilt / "site/files.json").read_text())
    listed["files"].append({"path": "planted.html", "sha256": "0" * 64, "bytes": len(script)})
    (unbuilt / "site/files.json").write_text(json.dumps(listed))
    (unbuilt / "site/planted.html").write_bytes(script)
    (unbuilt / "site/own.html").write_bytes(script)
    published = unbuilt / "site/days/2026-06-03/0915Z-disc.jpg"
    genuine, status = published.read_bytes(), published.stat()
    picture = blob_of(unbuilt, sha256(genuine).hexdigest())
    assert picture.samefile(published)
    picture.write_bytes(genuine[:-4] + b"evil")
    os.utime(picture, ns=(status.st_atime_ns, status.st_mtime_ns))
    of_another_computer(unbuilt, tmp_path, "-c", FORGED, str(unbuilt))

    status, errors = told(capsys, "build", unbuilt)
    assert status == 0
    assert day.read_bytes() == whole
    assert picture.read_bytes() == published.read_bytes() == genuine
    assert not [path for path in (unbuilt / "site").rglob("*.html") if b"Evil" in path.read_bytes()]
    assert "own.html" in errors
    assert "planted.html" in errors
    status, errors = told(capsys, "publish", unbuilt, tmp_path / "public")
    assert status == 1
    assert "lay there before this computer built the site" in errors
    (unbuilt / "site/planted.html").unlink()
    assert main(["trust", str(unbuilt)]) == 0
    assert main(["publish", str(unbuilt), str(tmp_path / "public")]) == 0
    assert sorted(path.name for path in (tmp_path / "public").glob("*.html") if script in path.read_bytes()) == [
        "own.html"
    ]


def test_a_site_that_another_computer_built_is_not_published(
    unbuilt: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    of_another_computer(unbuilt, tmp_path, "-m", "archive", "build", str(unbuilt))
    status, errors = told(capsys, "publish", unbuilt, tmp_path / "public")
    assert status == 1
    assert "was not built on this computer; run `northlimb build" in errors


def test_a_file_that_the_observer_adds_to_the_site_needs_no_leave(sun: Path, tmp_path: Path) -> None:
    assert main(["build", str(sun)]) == 0
    (sun / "site/CNAME").write_text("sun.example.org\n")
    shutil.rmtree(sun / ".northlimb")  # which may go at any time
    assert main(["build", str(sun)]) == 0
    assert main(["publish", str(sun), str(tmp_path / "public")]) == 0
    assert (tmp_path / "public/CNAME").is_file()


@pytest.mark.parametrize(("typed", "status"), [("y\n", 0), ("n\n", 1)], ids=["yes", "no"])
def test_on_a_terminal_it_is_asked(sun: Path, tmp_path: Path, typed: str, status: int) -> None:
    name_target(sun, tmp_path / "public")
    assert main(["build", str(sun)]) == 0
    terminal, line = pty.openpty()
    environment = {**os.environ, "PYTHONPATH": str(CHECKOUT)}
    run = subprocess.Popen(
        [sys.executable, "-m", "archive", "publish", str(sun)], env=environment, stdin=line, stdout=line, stderr=line
    )
    os.close(line)
    os.write(terminal, typed.encode())
    shown = b""
    while True:
        try:
            part = os.read(terminal, 4096)
        except OSError:  # the last to hold the terminal has gone
            break
        if not part:
            break
        shown += part
    os.close(terminal)
    assert run.wait() == status, shown.decode()
    assert b"this archive asks to" in shown
    assert f"send the site to the target web: {tmp_path / 'public'}".encode() in shown
    assert (tmp_path / "public/index.html").is_file() == (status == 0)


@pytest.mark.skipif(sys.platform == "win32", reason="links need rights there")
def test_a_target_is_allowed_for_the_folder_that_links_lead_to(
    sun: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A folder within the archive, by its name, and behind it the observer's own site of something else."""
    assert main(["build", str(sun)]) == 0
    name_target(sun, Path("public"))
    (sun / "public").symlink_to(tmp_path / "first")
    assert main(["trust", str(sun)]) == 0
    assert f"to the target web: public, which links lead to {tmp_path / 'first'}" in capsys.readouterr().out
    assert main(["publish", str(sun)]) == 0
    (sun / "public").unlink()
    (sun / "public").symlink_to(tmp_path / "second")
    status, errors = told(capsys, "publish", sun)
    assert (status, (tmp_path / "second").exists()) == (1, False)
    assert "target web (public): not allowed yet" in errors


def test_a_target_below_the_home_of_nobody_is_refused_in_a_line(sun: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["build", str(sun)]) == 0
    name_target(sun, Path("~no-such-user/public"))
    assert main(["trust", str(sun)]) == 0
    for words in (["publish", sun], ["publish", sun, "~no-such-user/x"]):
        status, errors = told(capsys, *words)
        assert (status, errors.count("\n")) == (1, 1)
        assert "no such user on this computer; write the whole path" in errors


def test_a_page_changed_since_the_build_is_not_published(
    sun: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["build", str(sun)]) == 0
    home, public = sun / "site/index.html", tmp_path / "public"
    whole, status = home.read_bytes(), home.stat()
    home.write_bytes(whole.replace(b"<html", b"<HTML"))  # of the same size, and of the same time
    os.utime(home, ns=(status.st_atime_ns, status.st_mtime_ns))
    refused, errors = told(capsys, "publish", sun, public)
    assert (refused, public.exists()) == (1, False)
    assert "site: index.html: changed since this computer built the site; run `northlimb build" in errors
    assert main(["build", str(sun)]) == 0
    shutil.copytree(sun, tmp_path / "moved")  # other stamps, the same bytes
    assert main(["publish", str(tmp_path / "moved"), str(public)]) == 0
    assert (public / "index.html").read_bytes() == whole


def test_lists_of_any_size_in_an_archive_handed_over_fill_no_memory(
    sun: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Files of holes take no room in a zip or on a stick."""
    assert main(["build", str(sun)]) == 0
    for name in ("remembered-words.json", ".northlimb-work/pending.json", "theme/style.css"):
        (sun / name).parent.mkdir(exist_ok=True)
        with (sun / name).open("wb") as stream:
            stream.truncate(1 << 40)
        status, errors = told(capsys, "build", sun)
        assert (status, "style.css" in name) in ((0, False), (1, True)), errors
    assert "a theme may hold 500 files of 20000 kB" in errors
    assert told(capsys, "verify", sun)[0] == 0
    assert told(capsys, "trust", sun, "--show")[0] == 0
