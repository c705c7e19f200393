"""Check of the blocks in a theme's templates: a block that the extended templates do not have is a mistake.

Jinja ignores such a block silently.
"""

from __future__ import annotations

import difflib
from typing import TYPE_CHECKING

from archive.errors import SettingsError
from archive.website.theme import ADVICE, Theme

if TYPE_CHECKING:
    import jinja2
    from jinja2 import nodes

__all__ = ["check_blocks"]


def check_blocks(theme: Theme, environment: jinja2.Environment) -> None:
    """Read every template of a theme and look for each block that it fills in the templates that it extends.

    Raises
    ------
    SettingsError
        For each block that none of them has, a cause of its own.
    jinja2.TemplateError
        A template cannot be read, as when it is rendered.
    """
    if theme.folder is None:
        return
    causes = []
    for name in (name for name, _ in theme.files if "/" not in name and name.endswith(".html")):
        path, tree = theme.folder / name, _tree(name, environment)
        known = _blocks_above(tree, environment, {name})
        if known is not None:
            unknown = [block for block in _filled(tree) if block.name not in known]
            causes += [_unknown_words(f"{path}: line {block.lineno}", block.name, known) for block in unknown]
    if causes:
        raise SettingsError(*causes)


def _tree(name: str, environment: jinja2.Environment) -> nodes.Template:
    assert environment.loader is not None
    source, filename, _ = environment.loader.get_source(environment, name)
    return environment.parse(source, name, filename)


def _blocks_above(tree: nodes.Template, environment: jinja2.Environment, seen: set[str]) -> set[str] | None:
    """Name the blocks of the templates that one extends, up to the last.

    None where it extends none, so that its blocks are its own; or where which one is not known before a page is
    rendered, or it is missing.
    """
    import jinja2
    from jinja2 import nodes

    extended = list(tree.find_all(nodes.Extends))
    if len(extended) != 1 or not isinstance(name := extended[0].template, nodes.Const):
        return None
    if name.value in seen:  # it extends itself, which Jinja tells
        return None
    try:
        above = _tree(name.value, environment)
    except jinja2.TemplateNotFound:
        return None
    further = _blocks_above(above, environment, seen | {name.value})
    if further is None and above.find(nodes.Extends) is not None:
        return None
    return {block.name for block in above.find_all(nodes.Block)} | (further or set())


def _filled(tree: nodes.Template) -> list[nodes.Block]:
    """List the blocks that stand in no other: those within one are shown with it, whatever their names."""
    from jinja2 import nodes

    blocks = list(tree.find_all(nodes.Block))
    inner = {id(own) for block in blocks for own in block.find_all(nodes.Block)}
    return [block for block in blocks if id(block) not in inner]


def _unknown_words(where: str, name: str, known: set[str]) -> str:
    near = difflib.get_close_matches(name, sorted(known), 1)
    if near:
        meant = f"did you mean {near[0]!r}?"
    else:
        meant = f"known are {', '.join(sorted(known))}" if known else "that template has none"
    return f"{where}: the template it extends has no block {name!r}; {meant}; {ADVICE}"
