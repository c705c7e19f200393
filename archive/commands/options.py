"""Arguments and options that several commands take."""

from __future__ import annotations

from pathlib import Path

import click

__all__ = ["FOLDER", "JSON", "SCHEDULER", "SITE_DIR"]

FOLDER = click.argument("folder", type=click.Path(path_type=Path))
JSON = click.option("--json", "as_json", is_flag=True, help="Print a machine-readable answer.")
SITE_DIR = click.option(
    "--site-dir", type=click.Path(path_type=Path), help="Where the site lies.  [default: FOLDER/site]"
)
SCHEDULER = click.option(
    "--scheduler",
    metavar="ADDRESS",
    help="Let the workers of this Dask cluster do it, such as tcp://192.0.2.7:8786; needs northlimb[cluster].  "
    "[default: the processors of this computer]",
)
