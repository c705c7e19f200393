"""The style sheet: enough contrast in light and dark, and a link that changes with it."""

from __future__ import annotations

import hashlib
import re
from pathlib import Path

import pytest

from archive.website.render import static_files

STYLE = static_files()["static/style.css"].decode()


def _colours(scheme: str) -> dict[str, tuple[int, ...]]:
    """Read the custom properties: the first :root is light, that inside the media query overrides it for dark."""
    light, dark = re.findall(r":root \{(.*?)\}", STYLE, re.DOTALL)[:2]
    text = light if scheme == "light" else light + dark
    found = re.findall(r"--([\w-]+): #([0-9a-f]{6});", text)
    return {name: tuple(int(value[i : i + 2], 16) for i in (0, 2, 4)) for name, value in found}


def _luminance(colour: tuple[int, ...]) -> float:
    """Relative luminance by WCAG 2.2."""
    parts = [value / 255 for value in colour]
    red, green, blue = (part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def _contrast(one: tuple[int, ...], other: tuple[int, ...]) -> float:
    """Contrast ratio by WCAG 2.2."""
    dark, light = sorted((_luminance(one), _luminance(other)))
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("text", ["ink", "quiet", "accent"])
@pytest.mark.parametrize("ground", ["paper", "wash"])
def test_text_stands_out_from_its_ground(scheme: str, text: str, ground: str) -> None:
    # WCAG 2.2, success criterion 1.4.3 (level AA): at least 4.5 to 1.
    colours = _colours(scheme)
    assert _contrast(colours[text], colours[ground]) >= 4.5


def test_the_contrast_is_that_of_the_standard() -> None:
    # WCAG 2.2: black on white is 21 to 1; #767676 on white is the known limit of 4.54.
    assert _contrast((0, 0, 0), (255, 255, 255)) == pytest.approx(21)
    assert _contrast((0x76, 0x76, 0x76), (255, 255, 255)) == pytest.approx(4.54, abs=0.005)


def test_dark_and_light_differ() -> None:
    assert _luminance(_colours("dark")["paper"]) < 0.05 < 0.7 < _luminance(_colours("light")["paper"])


def test_the_link_to_the_style_sheet_carries_its_hash(site: Path) -> None:
    mark = hashlib.sha256((site / "static/style.css").read_bytes()).hexdigest()[:12]
    assert f'href="../../static/style.css?v={mark}"' in (site / "days/2026-06-03/index.html").read_text()
