"""The invented archive, and the site built from it."""

from __future__ import annotations

from pathlib import Path

import pytest

from archive.website.content import Content
from website.invented import build_site, record_of
from website.invented import content as invented_content


@pytest.fixture
def content(tmp_path: Path) -> Content:
    return invented_content(tmp_path / "derived")


@pytest.fixture
def site(content: Content, tmp_path: Path) -> Path:
    build_site(content, tmp_path / "site", record=record_of(tmp_path / "site"))
    return tmp_path / "site"
