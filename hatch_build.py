"""What a wheel holds besides the sources: the catalogues of messages, compiled."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import Any

from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po
from hatchling.builders.hooks.plugin.interface import BuildHookInterface


class CompiledCatalogues(BuildHookInterface):
    """Compile every catalogue and put it beside its source."""

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        """Add ``LANG.mo`` for each ``LANG.po`` to a wheel; an editable one reads the sources themselves."""
        if self.target_name != "wheel" or version == "editable":
            return
        folder = Path(tempfile.mkdtemp(prefix="catalogues-"))
        sources = Path(self.root) / "site_templates"
        for source in sorted((sources / "locale").rglob("*.po")):
            place = source.relative_to(sources).with_suffix(".mo")
            compiled = folder / place
            compiled.parent.mkdir(parents=True, exist_ok=True)
            with source.open("rb") as words, compiled.open("wb") as written:
                write_mo(written, read_po(words, locale=source.stem))
            build_data["force_include"][str(compiled)] = f"archive/site_templates/{place.as_posix()}"
