"""Several observers in one archive: who took what, series apart and reduced to one, and never mixed in silence."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest
from scenes.discs import Scene

from archive.commands.main import main

from .conftest import draw, new_archive

K = {"A. Teal": 1.0, "B. Wren": 0.5}
# Groups and spots by hand: what two observers counted on two days, and the second alone on a third.
COUNTED = {
    "2026-06-03T0915": ("A. Teal", 2, 10),
    "2026-06-03T1015": ("B. Wren", 4, 20),
    "2026-06-04T0915": ("A. Teal", 3, 12),
    "2026-06-04T1015": ("B. Wren", 5, 30),
    "2026-06-05T1015": ("B. Wren", 1, 2),
}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    root = new_archive(tmp_path_factory.mktemp("society") / "our-sun")
    settings = root / "archive.toml"
    more = '\n[[observers]]\nname = "B. Wren"\ncode = "BW"\nrelative_number_k = 0.8\n'
    more += '\n[[factors]]\nobserver = "B. Wren"\ninstrument = "Doorstep"\nrelative_number_k = 0.5\n'
    settings.write_text(settings.read_text(encoding="utf-8") + more, encoding="utf-8")
    for number, (identifier, (observer, groups, spots)) in enumerate(COUNTED.items()):
        picture = draw(root.parent / f"{number}.png", Scene(noise=0.002 + number * 1e-4))
        named = ["--observer", observer] if observer != "A. Teal" else []
        time = f"{identifier[:13]}:{identifier[13:]}:00Z"
        assert main(["add", str(root), str(picture), "--time", time, *named]) == 0
        record = root / identifier[:4] / identifier[:10] / f"{identifier[11:]}Z.toml"
        text = record.read_text(encoding="utf-8")
        record.write_text(f"{text}\n[counts]\ngroups = {groups}\nspots = {spots}\n", encoding="utf-8")
    assert main(["build", str(root)]) == 0
    return root


def report(folder: Path, capsys: pytest.CaptureFixture[str], *words: str) -> dict[str, dict[str, str]]:
    """The lines of a month's report as CSV, by day."""
    capsys.readouterr()
    assert main(["report", str(folder), "--month", "2026-06", "--format", "csv", *words]) == 0
    return {row["day"]: row for row in csv.DictReader(capsys.readouterr().out.splitlines())}


def test_a_record_names_its_observer_and_pages_data_and_feed_do(folder: Path) -> None:
    record = (folder / "2026/2026-06-03/1015Z.toml").read_text(encoding="utf-8")
    assert 'observer = "B. Wren"' in record
    data = json.loads((folder / "site/data/observations.json").read_text(encoding="utf-8"))
    assert {one["id"]: one["observer"] for one in data} == {f"{at}Z": who for at, (who, *_) in COUNTED.items()}
    assert {one["counts"]["relative_number"] for one in data if one["id"].startswith("2026-06-03")} == {30.0}
    day = (folder / "site/days/2026-06-03/index.html").read_text(encoding="utf-8")
    assert "A. Teal, Doorstep" in day
    assert "B. Wren, Doorstep" in day
    assert '"creditText": "B. Wren"' in (folder / "site/days/2026-06-05/index.html").read_text(encoding="utf-8")
    assert "<name>B. Wren</name>" in (folder / "site/feed.xml").read_text(encoding="utf-8")
    observatory = (folder / "site/observatory/index.html").read_text(encoding="utf-8")
    assert "B. Wren. The Sun on 5 June 2026" in observatory
    assert "<td>BW</td>" in observatory


def test_the_reports_of_a_series_have_its_k_and_all_days(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """R = k (10 g + s), Wolf; a day without a count is blank."""
    rows = report(folder, capsys, "--observer", "b. wren", "--instrument", "Doorstep")
    assert len(rows) == 30
    assert [rows[f"2026-06-0{day}"]["relative_number"] for day in (2, 3, 4, 5)] == ["", "30", "40", "6"]
    assert {row["method"] for row in rows.values()} == {"", "by hand"}
    rows = report(folder, capsys, "--observer", "A. Teal")
    assert [rows[f"2026-06-0{day}"]["relative_number"] for day in (3, 4, 5)] == ["30", "42", ""]


def test_without_a_choice_the_series_are_reduced_to_one_which_says_so(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    rows = report(folder, capsys)
    told = [[rows[f"2026-06-0{day}"][key] for key in ("relative_number", "observers", "spread")] for day in (3, 4, 5)]
    assert told == [["30", "2", "0"], ["41", "2", "1.4"], ["6", "1", ""]]
    # Counts that no k has reduced are not mixed; a day of one series tells its own.
    assert [rows[f"2026-06-0{day}"]["groups"] for day in (3, 4, 5)] == ["", "", "1"]
    assert [rows[f"2026-06-0{day}"]["observer"] for day in (3, 4, 5)] == ["", "", "B. Wren"]
    assert main(["report", str(folder), "--month", "2026-06"]) == 0
    text = capsys.readouterr().out
    assert "mean of 2 series, each reduced by its k" in text
    assert "B. Wren (BW), Doorstep: k = 0.5, 3 days" in text
    month = (folder / "site/days/2026-06/index.html").read_text(encoding="utf-8")
    assert "R 41" in month
    assert "each reduced by its k" in month
    assert "R is their mean" in (folder / "site/charts/index.html").read_text(encoding="utf-8")


def test_a_year_is_written_to_a_file(folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "year.json"
    assert main(["report", str(folder), "--year", "2026", "--format", "json", "--out", str(out)]) == 0
    found = json.loads(out.read_text(encoding="utf-8"))["report"]
    assert len(found["rows"]) == 365
    assert found["month_means"]["2026-06"]["relative_number"] == pytest.approx((30 + 41 + 6) / 3, abs=0.01)
    assert found["month_means"]["2026-07"]["relative_number"] is None
    capsys.readouterr()
    inside = folder / "2026" / "year.json"
    assert main(["report", str(folder), "--year", "2026", "--out", str(inside)]) == 1
    assert "holds what belongs to the archive" in capsys.readouterr().err
    assert not inside.exists()


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--observer", "C. Rook"], "no observer named 'C. Rook' (known: A. Teal, B. Wren)"),
        (["--instrument", "Shed"], "no instrument named 'Shed'"),
        (["--band", "h-alpha"], "only pictures in white light are counted"),
    ],
)
def test_a_series_that_is_not_there_is_refused(
    folder: Path, words: list[str], told: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["report", str(folder), "--month", "2026-06", *words]) == 1
    assert told in capsys.readouterr().err


def test_an_observer_that_settings_lack_is_refused(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    picture = draw(tmp_path / "20260606T091500Z.png")
    assert main(["add", str(folder), str(picture), "--observer", "C. Rook"]) == 1
    assert "--observer 'C. Rook': not in archive.toml (known: A. Teal, B. Wren)" in capsys.readouterr().err


def test_a_factor_is_fitted_drawn_and_kept_only_if_wanted(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Against a table in the published form: of 3 to 5 June 30, 45 and 9, so k of A. Teal is 75 / 72."""
    table, chart = tmp_path / "daily.csv", tmp_path / "k.svg"
    numbers = {3: 30, 4: 45, 5: 9}
    table.write_text("".join(f"2026;06;{day:02d};2026.420; {number}; 3.0; 20;1\n" for day, number in numbers.items()))
    settings = folder / "archive.toml"
    before = settings.read_text(encoding="utf-8")
    words = ["factor", str(folder), "--observer", "A. Teal", "--table", str(table)]
    capsys.readouterr()
    assert main([*words, "--chart", str(chart), "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["fit"]["k"] == pytest.approx(75 / 72)
    assert found["against"] == "international number, version 2"
    assert chart.read_text(encoding="utf-8").count("<circle") == 3
    assert settings.read_text(encoding="utf-8") == before
    try:
        assert main([*words, "--keep"]) == 0
        assert report(folder, capsys, "--observer", "A. Teal")["2026-06-03"]["relative_number"] == "31.26"
        text = settings.read_text(encoding="utf-8")
        assert text.startswith(before.partition("[[factors]]")[0])
        assert text.count("[[factors]]") == 2
    finally:
        settings.write_text(before, encoding="utf-8")


def test_a_factor_against_the_other_observer(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    capsys.readouterr()
    words = ["factor", str(folder), "--observer", "B. Wren", "--against-observer", "A. Teal", "--json"]
    assert main(words) == 0
    assert json.loads(capsys.readouterr().out)["fit"]["k"] == pytest.approx((30 + 42) / (60 + 80))
    assert main(["factor", str(folder), "--against-observer", "A. Teal"]) == 1
    assert "several series of counts (there are: A. Teal, Doorstep; B. Wren, Doorstep)" in capsys.readouterr().err
