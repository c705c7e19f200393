"""Where our templates lie, with the catalogues beside them."""

from __future__ import annotations

from pathlib import Path

__all__ = ["templates_dir"]


def templates_dir() -> Path:
    """Find our templates: inside the package where it was installed from a wheel, beside it in a checkout."""
    package = Path(__file__).resolve().parent
    installed = package / "site_templates"
    return installed if installed.is_dir() else package.parent / "site_templates"
