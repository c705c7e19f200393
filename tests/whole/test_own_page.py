"""The observatory's own page, the licence and the contact: shown, and carried into what machines read."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
from pathlib import Path

import feedparser
import numpy as np
import pytest
from frictionless import Package
from imageio_ffmpeg import get_ffmpeg_exe
from PIL import Image

from archive.commands.main import main
from archive.model.licence import contact_of, licence_of

from .conftest import draw, new_archive

ABOUT = "A shed by the quay, with a roof that rolls off.\n\n![The shed](shed.png)\n\n![Elsewhere](https://example.org/a.png)\n"


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    scratch = tmp_path_factory.mktemp("own")
    root = new_archive(scratch / "my-sun")
    settings = root / "archive.toml"
    words = 'licence = "cc-by-sa-4.0"\ncontact = "sun@example.org"\naddress = "https://example.org/sun/"\n'
    film = '\n[[films]]\nstyle = "daily"\ndays = 1\nsize_px = 480\n'
    settings.write_text(words + settings.read_text(encoding="utf-8") + film, encoding="utf-8")
    (root / "about.md").write_text(ABOUT, encoding="utf-8")
    Image.fromarray(np.full((40, 60), 90, dtype=np.uint8)).save(root / "shed.png")
    assert main(["add", str(root), str(draw(scratch / "20260603T091500Z.png")), "--north-angle", "0"]) == 0
    assert main(["build", str(root)]) == 0
    return root


def page(root: Path, name: str) -> str:
    return (root / "site" / name).read_text(encoding="utf-8")


def linked_data(html: str) -> dict[str, object]:
    (words,) = re.findall(r'<script type="application/ld\+json">(.*?)</script>', html, re.DOTALL)
    found: dict[str, object] = json.loads(words)
    return found


def test_the_page_shows_the_text_its_picture_and_whom_to_ask(made: Path) -> None:
    html = page(made, "observatory/index.html")
    assert "A shed by the quay" in html
    (src,) = re.findall(r'<img src="([^"]+)" alt="The shed"', html)
    with Image.open(made / "site/observatory" / src) as shown:
        assert shown.size == (60, 40)
    assert "example.org/a.png" not in html
    assert '<a href="mailto:sun@example.org">sun@example.org</a>' in html
    assert "Ask the observer" not in html


# Identifier and address: SPDX License List and creativecommons.org, from memory.
def test_the_licence_stands_on_every_page_and_in_its_linked_data(made: Path) -> None:
    address = "https://creativecommons.org/licenses/by-sa/4.0/"
    for name in ("index.html", "days/index.html", "observatory/index.html", "days/2026-06-03/index.html"):
        assert f'<a rel="license" href="{address}">CC-BY-SA-4.0</a>' in page(made, name)
    for name in ("days/2026-06-03/index.html", "data/index.html"):
        told = linked_data(page(made, name))
        assert told["license"] == address
        assert told["creator"] == {"@type": "Person", "name": "A. Teal", "email": "sun@example.org"}


def test_feed_package_and_film_carry_licence_and_contact(made: Path, tmp_path: Path) -> None:
    feed = feedparser.parse(page(made, "feed.xml")).feed
    assert feed.rights == "CC-BY-SA-4.0"
    assert feed.author_detail.email == "sun@example.org"
    assert [link.href for link in feed.links if link.rel == "license"] == [
        "https://creativecommons.org/licenses/by-sa/4.0/"
    ]
    package = Package(str(made / "site/data/datapackage.json"))
    assert package.licenses[0]["name"] == "CC-BY-SA-4.0"
    assert package.contributors[0] == {"title": "A. Teal", "role": "author", "email": "sun@example.org"}
    films = sorted((made / "site/films").glob("*.mp4"))
    assert films
    for film in films:
        command = [
            get_ffmpeg_exe(),
            "-loglevel",
            "error",
            "-i",
            str(film),
            "-f",
            "ffmetadata",
            "-",
        ]
        facts = subprocess.run(command, capture_output=True, text=True, check=True).stdout
        assert "artist=A. Teal" in facts
        assert "copyright=CC-BY-SA-4.0, https://creativecommons.org/licenses/by-sa/4.0/" in facts
        assert "comment=sun@example.org" in facts
    (listed,) = (made / "site/films").glob("*.json")
    frames = json.loads(listed.read_text(encoding="utf-8"))
    assert (frames["observer"], frames["contact"]) == ("A. Teal", "sun@example.org")


def test_what_only_the_page_shows_remakes_nothing_else(
    made: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    root = tmp_path / "sun"
    shutil.copytree(made, root, symlinks=True)
    main(["build", str(root)])
    capsys.readouterr()
    (root / "about.md").write_text("Now with a wall.\n", encoding="utf-8")
    assert main(["build", str(root), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["report"]["written"] == 1
    assert told["report"]["removed"] == 1  # the picture of the shed
    assert "Now with a wall." in page(root, "observatory/index.html")
    (root / "about.md").write_text("Nun\udcff", encoding="utf-8", errors="surrogateescape")
    assert main(["build", str(root)]) == 0


def test_a_page_of_ones_own_that_is_lost_or_rots_comes_back(
    made: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    root = tmp_path / "sun"
    shutil.copytree(made, root, symlinks=True)
    (root / "about.md").unlink()
    main(["verify", str(root)])
    assert "about.md" in "".join(capsys.readouterr())
    main(["verify", str(root), "--restore", "--yes"])
    assert (root / "about.md").read_text(encoding="utf-8") == ABOUT


# SPDX License List 3, from memory; the words of the observer stay as they are.
@pytest.mark.parametrize(
    ("words", "name", "address"),
    [
        ("CC-BY-NC-ND-4.0", "CC-BY-NC-ND-4.0", "https://creativecommons.org/licenses/by-nc-nd/4.0/"),
        ("cc0-1.0", "CC0-1.0", "https://creativecommons.org/publicdomain/zero/1.0/"),
        ("https://example.org/terms", "https://example.org/terms", "https://example.org/terms"),
        ("All rights reserved", "All rights reserved", None),
        ("CC-BY", "CC-BY", None),
    ],
)
def test_a_licence_is_known_by_its_identifier(words: str, name: str, address: str | None) -> None:
    found = licence_of(words)
    assert found is not None
    assert (found.words, found.address) == (name, address)


def test_a_contact_is_an_address_or_words() -> None:
    assert [contact_of(words).link for words in ("a@b.example", "https://b.example/", "Ask at the quay")] == [  # type: ignore[union-attr]
        "mailto:a@b.example",
        "https://b.example/",
        "",
    ]
