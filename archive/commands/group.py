"""The group of commands: its help is written from a table, and a command's module is loaded when it is asked for."""

from __future__ import annotations

from importlib import import_module
from typing import Any

import click

from archive import __version__

__all__ = ["SHORT_HELPS", "load_command", "northlimb"]

# Each as in the command's own module; it stands here too so that the list of commands loads none of them.
SHORT_HELPS = {
    "add": "File finished pictures.",
    "amend": "Give observations other times.",
    "build": "Bring discs to north-up, write the site.",
    "desk": "Work on an archive in the browser.",
    "export": "Export the archive as a BagIt bag.",
    "factor": "Fit the factor k of a series.",
    "film": "Make a film of the Sun turning.",
    "new": "Make an empty archive.",
    "preview": "Show the site on this computer only.",
    "publish": "Send the site to where it is served.",
    "regions": "Give groups their official numbers.",
    "remove": "Take an observation out, or put it back.",
    "report": "Print the counts of a month or a year.",
    "show": "Show a day's observations.",
    "sun": "Show P, B0, L0 and the Sun's altitude.",
    "trust": "Show and allow what an archive may do.",
    "verify": "Check every original.",
}


def load_command(name: str) -> click.Command:
    """Return the command of that name with its options, from the module named like it."""
    # Once a command runs there may be no file left to open, and Ctrl-C may come twice: loaded before, not after.
    import_module("archive.commands.failure")
    command: click.Command = getattr(import_module(f"archive.commands.{name}"), name)
    return command


class _UnloadedCommand(click.Command):
    """A command known by name and short help alone; the whole one takes over once it gets its arguments."""

    def make_context(
        self, info_name: str | None, args: list[str], parent: click.Context | None = None, **extra: Any
    ) -> click.Context:
        assert self.name is not None
        return load_command(self.name).make_context(info_name, args, parent, **extra)


@click.group(
    commands=[_UnloadedCommand(name, short_help=short_help) for name, short_help in SHORT_HELPS.items()],
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)
@click.version_option(__version__, prog_name="northlimb")
def northlimb() -> None:
    """A north-up archive, rotation films and a static site from your own pictures of the Sun.

    Never point a telescope, finder or camera at the Sun without a solar filter made for it over the full
    front aperture; `northlimb sun` prints the whole caution.

    \b
    A first evening:
      northlimb new my-sun
      northlimb add my-sun 20260603T091500Z.png
      northlimb build my-sun
    """
