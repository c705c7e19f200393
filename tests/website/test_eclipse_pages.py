"""What pages tell of eclipses: those with pictures, and the next one."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from archive.model.eclipse import EclipseAt
from archive.model.observatory import Site
from archive.safety import CAUTION, ECLIPSE_CAUTION
from website.eclipses import eclipse, with_eclipse
from website.invented import InventedContent, build_site
from website.read_pages import page_text


@pytest.fixture(scope="module")
def partial() -> EclipseAt:
    return eclipse()


def page(content: InventedContent, folder: Path, path: str) -> str:
    build_site(content, folder)
    return page_text(folder, path)


def test_the_day_of_an_eclipse_tells_its_course_and_its_pictures(
    content: InventedContent, partial: EclipseAt, tmp_path: Path
) -> None:
    """Besselian elements of 2026 August 12 (Espenak) for 52.1 N, 1.3 W: C1 17:16:07, greatest 18:12:29 with magnitude
    0.927, C4 19:05:49; by tests/sun/besselian.py within 3 s."""
    shown = with_eclipse(content, partial, [None, 0.03, 0.24, None, 0.88])
    text = page(shown, tmp_path / "site", "days/2026-08-12/index.html")
    assert "Partial eclipse of the Sun" in text
    assert "Magnitude0.927" in text
    assert "Greatest phase 18:12:29" in text
    assert text.count("covered") > 7
    # The first picture was taken before the eclipse.
    assert "17:06 UTC 0 %" not in text
    assert "17:21 UTC 3 % 3 %" in text
    assert "17:51 UTC 53 % –" in text


def test_other_days_say_nothing_of_it(content: InventedContent, partial: EclipseAt, tmp_path: Path) -> None:
    shown = with_eclipse(content, partial, [0.1])
    assert "clipse" not in page(shown, tmp_path / "site", "days/2026-06-03/index.html")


@pytest.mark.parametrize("path", ["index.html", "eclipses/2026-08-12/index.html"])
def test_the_caution_comes_first_where_an_eclipse_is_to_come(
    content: InventedContent, partial: EclipseAt, tmp_path: Path, path: str
) -> None:
    text = page(replace(content, eclipse_to_come=partial), tmp_path / "site", path)
    assert ECLIPSE_CAUTION in text
    assert text.index(ECLIPSE_CAUTION) < text.index("of the disc is covered at")


def test_the_page_of_an_eclipse_to_come_has_both_cautions_and_all_circumstances(
    content: InventedContent, tmp_path: Path
) -> None:
    """2026 August 12 at 42.0 N, 3.5 W: total for 1 min 44 s by the Besselian elements (see above)."""
    total = eclipse(site=Site("Ridge", 42.0, -3.5, 900.0))
    shown = replace(content, eclipse_to_come=total)
    text = page(shown, tmp_path / "site", "eclipses/2026-08-12/index.html")
    assert CAUTION in text
    assert text.index(CAUTION) < text.index("Circumstances")
    assert "Total eclipse of the Sun" in text
    assert "Total1 min 45 s" in text or "Total1 min 44 s" in text
    assert "Fourth contact Sun not up 19:22" in text
    assert "100 % covered" in text
    assert "mountains and valleys" in text
    assert "rotation is known here up to 2025" in text
    assert "dotted while the Sun is not up" in text


def test_a_site_without_an_eclipse_to_come_has_no_page_of_one(content: InventedContent, tmp_path: Path) -> None:
    build_site(content, tmp_path / "site")
    assert not (tmp_path / "site" / "eclipses").exists()
    assert "clipse" not in (tmp_path / "site" / "index.html").read_text(encoding="utf-8")


def test_the_greatest_phase_that_is_seen_is_that_on_the_horizon(content: InventedContent, tmp_path: Path) -> None:
    """2017 August 21 far out in the Pacific: greatest phase was before sunrise (as in tests/sun)."""
    low = eclipse(datetime(2017, 8, 21, 12, tzinfo=UTC), Site("Buoy", 21.3, -168.0, 0.0))
    text = page(replace(content, eclipse_to_come=low), tmp_path / "site", "index.html")
    assert low.eclipse.best != low.eclipse.greatest
    assert "with the Sun on the horizon" in text
