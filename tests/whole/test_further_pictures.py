"""Further pictures of a day: `add --extra`, pictures in notes, what the day's page shows of them, and upkeep."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from archive.commands.main import main

from .conftest import draw, new_archive

Answer = Callable[..., tuple[int, Any]]
DAY = "2026/2026-06-03"
CAPTION = "The leader, with its [light] *bridge* & <more>"


def close_up(path: Path, *, side_px: int = 2000) -> Path:
    """A photograph that tells more than it should."""
    shades = np.add.outer(np.linspace(30, 200, side_px * 3 // 4), np.linspace(0, 50, side_px))
    exif = Image.Exif()
    exif[0x010F] = "Lumograph"
    exif.get_ifd(0x8769).update({0x9003: "2026:06:03 09:20:00", 0x9011: "+00:00", 0xA431: "SN-7734-QX"})
    Image.fromarray(shades.astype(np.uint8)).save(path, exif=exif)
    return path


class Figures(HTMLParser):
    """The pictures of the notes on a page, each with its attributes and caption."""

    def __init__(self, page: Path) -> None:
        super().__init__()
        self.found: list[dict[str, str]] = []
        self._in_notes = self._in_caption = False
        self.feed(page.read_text(encoding="utf-8"))

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        told = {key: value or "" for key, value in attrs}
        self._in_notes |= "prose" in told.get("class", "")
        if tag == "img" and self._in_notes:
            self.found.append({**told, "caption": ""})
        self._in_caption = tag == "figcaption"

    def handle_endtag(self, tag: str) -> None:
        self._in_notes &= tag != "section"
        self._in_caption &= tag != "figcaption"

    def handle_data(self, data: str) -> None:
        if self._in_notes and self._in_caption:
            self.found[-1]["caption"] += data


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An archive with a picture of 3 June and, shown by that day's notes, a close-up and a drawing."""
    scratch = tmp_path_factory.mktemp("further")
    root = new_archive(scratch / "my-sun")
    drawing = scratch / "Drawing 2026-06-03.png"
    Image.fromarray(np.full((60, 40), 255, dtype=np.uint8)).save(drawing)
    assert main(["add", str(root), str(draw(scratch / "20260603T091500Z.png")), "--note", "Steady air."]) == 0
    extra = ["add", str(root), str(close_up(scratch / "0915Z.jpg")), "--extra", "--caption", CAPTION]
    assert main(extra) == 0
    assert main(["add", str(root), str(drawing), "--extra"]) == 0
    for _ in range(2):  # the first one names the groups, which the second reads
        assert main(["build", str(root)]) == 0
    return root


def sums(root: Path) -> dict[str, str]:
    lines = (root / "checksums.sha256").read_text(encoding="utf-8").splitlines()
    return {line[66:]: line[:64] for line in lines}


def test_a_further_picture_keeps_its_bytes_under_a_name_that_is_no_observations(made: Path) -> None:
    filed = made / DAY / "picture-0915z.jpg"
    assert filed.read_bytes() == (made.parent / "0915Z.jpg").read_bytes()
    assert sums(made)[f"{DAY}/picture-0915z.jpg"] == hashlib.sha256(filed.read_bytes()).hexdigest()
    assert (made / DAY / "drawing-2026-06-03.png").is_file()
    notes = (made / DAY / "notes.md").read_text(encoding="utf-8").split("\n\n")
    assert notes[0] == "Steady air."
    assert notes[2] == "![](drawing-2026-06-03.png)\n"


def test_the_days_page_shows_it_smaller_with_its_caption_and_nothing_private(made: Path) -> None:
    page = made / "site/days/2026-06-03/index.html"
    first, second = Figures(page).found
    assert first["caption"] == first["alt"] == CAPTION
    assert second["alt"]  # a picture without a caption is described all the same
    for one, most in ((first, (1600, 1200)), (second, (40, 60))):
        assert one["loading"] == "lazy"
        with Image.open(page.parent / one["src"]) as shown:
            assert (int(one["width"]), int(one["height"])) == shown.size == most
            assert not shown.getexif()
    published = b"".join(path.read_bytes() for path in (made / "site").rglob("*") if path.is_file())
    for words in (b"Lumograph", b"SN-7734-QX", b"0915z.jpg"):
        assert words not in published


def test_a_drawing_without_paper_is_shown_on_white(archive_folder: Path, tmp_path: Path) -> None:
    assert main(["add", str(archive_folder), str(draw(tmp_path / "20260603T091500Z.png"))]) == 0
    ink = Image.new("RGBA", (48, 40), (0, 0, 0, 0))
    ink.paste((0, 0, 0, 255), (0, 0, 24, 40))
    ink.save(tmp_path / "ink-2026-06-03.png")
    assert main(["add", str(archive_folder), str(tmp_path / "ink-2026-06-03.png"), "--extra"]) == 0
    assert main(["build", str(archive_folder)]) == 0
    page = archive_folder / "site/days/2026-06-03/index.html"
    (one,) = Figures(page).found
    with Image.open(page.parent / one["src"]) as shown:
        levels = np.asarray(shown.convert("L"), float)
    assert levels[:, :20].max() < 10.0
    assert levels[:, 28:].min() > 245.0


def test_the_same_picture_again_changes_nothing(made: Path, answer: Answer) -> None:
    before = {path: path.read_bytes() for path in (made / DAY).iterdir()}
    status, told = answer("add", made, made.parent / "0915Z.jpg", "--extra")
    assert (status, told["pictures"][0]["status"]) == (0, "known")
    assert {path: path.read_bytes() for path in (made / DAY).iterdir()} == before
    status, told = answer("add", made, made.parent / "0915Z.jpg")
    assert (status, told["pictures"][0]["status"]) == (1, "refused")
    assert "northlimb remove FOLDER 2026/2026-06-03/picture-0915z.jpg" in told["pictures"][0]["causes"][0]


def test_a_new_note_with_a_picture_measures_and_draws_nothing_anew(
    made: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delattr("archive.pipeline.gathered_site")
    assert main(["add", str(made), str(close_up(tmp_path / "set-up.jpg", side_px=64)), "--extra"]) == 0
    assert main(["build", str(made)]) == 0
    assert len(Figures(made / "site/days/2026-06-03/index.html").found) == 3
    assert main(["remove", str(made), "2026-06-03/set-up.jpg"]) == 0
    assert main(["build", str(made)]) == 0
    assert len(Figures(made / "site/days/2026-06-03/index.html").found) == 2


def test_what_lies_elsewhere_is_neither_shown_nor_fetched_and_is_told(
    archive_folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["add", str(archive_folder), str(draw(tmp_path / "20260603T091500Z.png"))]) == 0
    day = archive_folder / DAY
    Image.new("L", (40, 40)).save(archive_folder / "secret.png")
    (day / "link.png").symlink_to(archive_folder / "secret.png")
    Image.new("L", (40, 40)).save(day / "stray.png")
    (day / "torn.png").write_bytes(b"\x89PNG\r\n\x1a\n torn")
    elsewhere = ("https://example.org/x.png", "//example.org/y.png", "../../secret.png", "%2e%2e/%2e%2e/secret.png")
    inline = "data:image/png;base64,AAAA"
    words = "\n\n".join(f"![Far {number}]({one})" for number, one in enumerate((*elsewhere, inline)))
    near = "![gone](gone.png) ![linked](link.png) ![torn](torn.png)"
    (day / "notes.md").write_text(f"{words}\n\n{near}\n\n![near](./0915Z.png)\n", encoding="utf-8")
    capsys.readouterr()
    assert main(["build", str(archive_folder)]) == 0
    told = capsys.readouterr().err
    page = archive_folder / "site/days/2026-06-03/index.html"
    assert [one["alt"] for one in Figures(page).found] == ["near"]
    assert "Far 3" in page.read_text(encoding="utf-8")
    html = page.read_text(encoding="utf-8")
    assert not re.search(r'(?:src|href)="[^"]*(?:example\.org|secret|data:)', html)
    (line,) = [line for line in told.splitlines() if "only pictures beside the notes" in line]
    assert all(one in line for one in (*elsewhere, inline))
    (line,) = [line for line in told.splitlines() if "not beside it" in line]
    assert "gone.png, link.png" in line
    assert re.search(rf"{DAY}/stray\.png: is not shown: .*!\[what it shows\]\(stray\.png\)", told)
    assert sum("torn.png" in line for line in told.splitlines()) == 1


def test_the_day_is_told_by_the_option_or_the_name_else_it_is_refused_with_advice(
    archive_folder: Path, tmp_path: Path, answer: Answer
) -> None:
    plain = tmp_path / "Zeichnung Größe.png"
    Image.new("L", (40, 40)).save(plain)
    status, told = answer("add", archive_folder, plain, "--extra")
    assert status == 1
    assert "--time 2026-06-03" in told["pictures"][0]["causes"][0]
    status, told = answer("add", archive_folder, plain, "--extra", "--time", "2026-06-04")
    assert (status, told["pictures"][0]["file"]) == (0, "2026/2026-06-04/zeichnung-grosse.png")
    assert "no page yet" in told["pictures"][0]["warnings"][0]
    Image.new("L", (41, 40)).save(plain)
    _, told = answer("add", archive_folder, plain, "--extra", "--time", "2026-06-04T09:00Z")
    assert told["pictures"][0]["file"] == "2026/2026-06-04/zeichnung-grosse-2.png"
    assert main(["verify", str(archive_folder)]) == 0
    for options in (("--extra", "--unmeasured"), ("--caption", "Words"), ("--extra", "--mirrored", "yes")):
        assert main(["add", str(archive_folder), str(plain), *options]) == 2


def test_a_picture_laid_there_by_hand_is_no_fault_and_repair_lists_it(
    archive_folder: Path, tmp_path: Path, answer: Answer
) -> None:
    assert main(["add", str(archive_folder), str(draw(tmp_path / "20260603T091500Z.png"))]) == 0
    close_up(archive_folder / DAY / "By hand.jpg", side_px=64)
    status, told = answer("verify", archive_folder)
    assert (status, told["extra"]) == (1, [f"{DAY}/By hand.jpg"])
    (archive_folder / DAY / "notes.md").write_text("![near](<By hand.jpg>)\n", encoding="utf-8")
    status, told = answer("verify", archive_folder)
    assert (status, told["unlisted_extras"]) == (0, [f"{DAY}/By hand.jpg"])
    assert main(["verify", str(archive_folder), "--repair"]) == 0
    assert f"{DAY}/By hand.jpg" in sums(archive_folder)


def test_rot_in_a_further_picture_is_found_and_a_copy_brought_back(made: Path, tmp_path: Path, answer: Answer) -> None:
    filed = made / DAY / "drawing-2026-06-03.png"
    whole = filed.read_bytes()
    (tmp_path / "copy.png").write_bytes(whole)
    filed.write_bytes(whole[:-1] + b"x")
    status, told = answer("verify", made)
    assert (status, told["changed"]) == (1, [f"{DAY}/drawing-2026-06-03.png"])
    assert main(["verify", str(made), "--against", str(tmp_path), "--restore", "--yes"]) == 0
    assert filed.read_bytes() == whole


def test_removed_it_goes_with_its_line_and_comes_back_with_it(made: Path, tmp_path: Path) -> None:
    notes, listed = made / DAY / "notes.md", sums(made)
    notes.write_bytes(notes.read_bytes().replace(b"Steady air.", b"Steady \xe4ir."))  # of another encoding
    before = notes.read_bytes()
    assert main(["remove", str(made), "2026-06-03/picture-0915z.jpg"]) == 0
    assert notes.read_bytes() == b"Steady \xe4ir.\n\n![](drawing-2026-06-03.png)\n"
    assert main(["verify", str(made)]) == 0
    assert main(["remove", str(made), "2026-06-03/picture-0915z.jpg", "--undo"]) == 0
    assert sorted(notes.read_bytes().split()) == sorted(before.split())
    assert sums(made) == listed
    assert main(["remove", str(made), "2026-06-03/none.jpg"]) == 1
    assert main(["export", str(made), "--bag", str(tmp_path / "bag")]) == 0
    assert (tmp_path / "bag/data" / DAY / "picture-0915z.jpg").is_file()
