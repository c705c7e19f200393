"""`northlimb film`: make a film of the Sun turning."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from archive.commands.options import FOLDER, JSON, SCHEDULER
from archive.commands.permission import open_archive
from archive.commands.printing import format_count, print_answer, print_json, print_warnings
from archive.commands.streams import print_line, progress, stop_like_ctrl_c
from archive.commands.values import Day, ImpossibleValue, NumberRange, WholeNumberRange, as_misuse
from archive.model.choices import BANDS, CAPTIONS, FILM_CLOCKS, FILM_SHAPES, FILM_STYLES, FILM_VIEWS, LOOKS

if TYPE_CHECKING:
    from archive.built import Filmed
    from archive.disk import Folder
    from archive.records.settings import FilmSettings

__all__ = ["film"]

# Options that other styles know nothing of.
_OPTIONS_OF_STYLES = {
    "reach_days": ("--reach", ("smooth",)),
    "view": ("--view", ("corotating",)),
    "longitude_deg": ("--longitude", ("corotating",)),
}


@click.command(
    "film",
    short_help="Make a film of the Sun turning.",
    epilog="Example: northlimb film my-sun --from 2026-05-25 --to 2026-06-07 --out fortnight.mp4",
)
@FOLDER
@click.option("--days", type=WholeNumberRange(1), metavar="N", help="The last N days with observations.  [default: 7]")
@click.option("--from", "first", type=Day(), metavar="DAY", help="First day; with --to.")
@click.option("--to", "last", type=Day(), metavar="DAY", help="Last day; with --from.")
@click.option("--rotation", type=WholeNumberRange(1), metavar="N", help="One Carrington rotation.")
@click.option("--eclipse", is_flag=True, default=None, help="The pictures of the latest eclipse, steady on the Sun.")
@click.option(
    "--style",
    type=click.Choice(FILM_STYLES),
    default="daily",
    show_default=True,
    help="daily: each picture in turn, cross-faded. smooth: smooth rotation in equal steps of time, the surface "
    "derotated between pictures. corotating: fixed Carrington longitudes.",
)
@click.option(
    "--band", type=click.Choice(BANDS), help="Pictures of this band.  [default: white light, where there is any]"
)
@click.option("--all-pictures", is_flag=True, default=None, help="All pictures of a day, not one alone.")
@click.option(
    "--pace",
    "pace_s",
    type=NumberRange(0.2, 60),
    metavar="S",
    help="Seconds of film for a day (smooth) or a picture.  [default: smooth 2, else 1; of an eclipse: 12 for an hour "
    "(smooth), else 0.4]",
)
@click.option(
    "--reach",
    "reach_days",
    type=NumberRange(0, 10, min_open=True),
    metavar="DAYS",
    help="smooth only: how long a picture stands for the surface before and after it.  [default: 3]",
)
@click.option("--shape", type=click.Choice(FILM_SHAPES), help="1:1, 16:9 or 9:16.  [default: square]")
@click.option(
    "--size",
    "size_px",
    type=WholeNumberRange(480, 2160),
    metavar="PX",
    help="Shorter side.  [default: square 1024, else 1080]",
)
@click.option(
    "--look",
    type=click.Choice(LOOKS),
    help="Tint; flat is without limb darkening.  [default: the archive's first look]",
)
@click.option("--caption", type=click.Choice(CAPTIONS), help="Date with time, date only, or none.  [default: full]")
@click.option(
    "--clock", type=click.Choice(FILM_CLOCKS), help="Times in UTC or by the archive's time_zone.  [default: utc]"
)
@click.option("--credit", metavar="TEXT", help="A line at the foot of each frame.")
@click.option("--marks", is_flag=True, default=None, help="N and E beside the disc; not on a map.")
@click.option("--earth", is_flag=True, default=None, help="The Earth to scale.")
@click.option("--title-card", is_flag=True, default=None, help="Two seconds with the film's title before it.")
@click.option(
    "--hold", "hold_s", type=NumberRange(0, 30), metavar="S", help="Hold the last frame so long.  [default: 0]"
)
@click.option("--grid", is_flag=True, default=None, help="Latitude and longitude every 15 degrees.")
@click.option(
    "--axis", is_flag=True, default=None, help="The Sun's axis, where it stands out of the disc; not on a map."
)
@click.option("--group-names", is_flag=True, default=None, help="The names of the sunspot groups.")
@click.option("--view", type=click.Choice(FILM_VIEWS), help="corotating only: a flat map or a disc.  [default: map]")
@click.option(
    "--longitude",
    "longitude_deg",
    type=NumberRange(0, 360),
    metavar="DEG",
    help="corotating only: Carrington longitude in the middle.  [default: the one facing us in the middle of the span]",
)
@click.option(
    "--out", type=click.Path(path_type=Path), help="Write the film here (.mp4, .webp, .gif) instead of into the site."
)
@click.option("--list", "is_list", is_flag=True, help="Tell which films the site keeps, and make none.")
@click.option("--forget", metavar="NAME", help="Keep that film no longer; its name is told by --list.")
@SCHEDULER
@JSON
def film(
    folder: Path,
    as_json: bool,
    out: Path | None,
    scheduler: str | None,
    is_list: bool,
    forget: str | None,
    **wanted: Any,
) -> None:
    """Make a film of the Sun turning. Without --out the site keeps it, and remakes it when its days change."""
    from archive import building
    from archive.execution.executor import executor_at

    stop_like_ctrl_c()
    if is_list or forget is not None:
        _refuse_more_than_a_name(out=out, is_list=is_list, forget=forget, **wanted)
        _list_or_forget(open_archive(folder), forget, as_json=as_json)
        return
    files, asked = open_archive(folder, "theme"), _settings(**wanted)
    with executor_at(scheduler) as executor:
        if out is None:
            made = building.film_in_site(files.path, asked, on_progress=progress(), executor=executor)
        else:
            made = building.film_elsewhere(files.path, asked, out, on_progress=progress(), executor=executor)
    _print_filmed(made, as_json=as_json)


def _refuse_more_than_a_name(*, is_list: bool, forget: str | None, style: str, **others: object) -> None:
    """Beside --list or --forget an option of a film to be made is misuse."""
    if is_list and forget is not None:
        raise click.UsageError("give --list or --forget, not both")
    if style != "daily" or any(value is not None for value in others.values()):
        word = "--list" if is_list else "--forget"
        raise click.UsageError(f"{word} makes no film; leave the other options out")


def _list_or_forget(files: Folder, forget: str | None, *, as_json: bool) -> None:
    from archive.stages.kept_films import forget_film, list_films

    if forget is None:
        listed = list_films(files)
        lines = (f"{film.name}: {', '.join((film.words, *film.options))}" for film in listed)
        print_answer({"films": listed}, lines if listed else ["no films are kept"], as_json=as_json)
        return
    film = forget_film(files, forget, on_progress=progress())
    line = f"{film.name}: forgotten; the next build takes it out of the site"
    print_answer({"status": "forgotten", "film": film}, [line], as_json=as_json)


def _settings(
    *,
    days: int | None,
    first: datetime | None,
    last: datetime | None,
    rotation: int | None,
    eclipse: bool | None,
    **options: object,
) -> FilmSettings:
    """Return the span and the options asked for; the last seven days with observations where no span is."""
    from archive.records.settings import FilmSettings
    from archive.records.toml_files import check_table

    _refuse_option_of_other_style(options)
    if sum((days is not None, first is not None or last is not None, rotation is not None, eclipse is not None)) > 1:
        raise click.UsageError("give one span: --days, or --from and --to, or --rotation, or --eclipse")
    if eclipse is not None and options.get("style") == "corotating":
        raise click.UsageError("--eclipse shows the disc as it was; leave out --style corotating")
    if first is not None and last is not None and first > last:
        raise ImpossibleValue(f"--from {first:%Y-%m-%d} is later than --to {last:%Y-%m-%d}")
    if (first is None) != (last is None):
        raise click.UsageError("give both --from and --to")
    keys: dict[str, Any] = {name: value for name, value in options.items() if value is not None}
    if first is not None and last is not None:
        keys |= {"from": first.date(), "to": last.date()}
    elif rotation is not None:
        keys |= {"rotation": rotation}
    elif eclipse is not None:
        keys |= {"eclipse": True}
    else:
        keys |= {"days": days or 7}
    with as_misuse():
        return check_table(FilmSettings, keys, name="film")


def _refuse_option_of_other_style(options: Mapping[str, object]) -> None:
    """An option that the style asked for would pass over is misuse."""
    style = options.get("style", "daily")
    for name, (option, styles) in _OPTIONS_OF_STYLES.items():
        if options.get(name) is not None and style not in styles:
            raise click.UsageError(f"{option} is of --style {' or '.join(styles)}, not of {style}; leave it out")
    if options.get("axis") and style == "corotating" and options.get("view") != "disc":
        raise click.UsageError("--axis needs a disc: give --view disc with it, or leave it out")


def _print_filmed(made: Filmed, *, as_json: bool) -> None:
    """Where the film is."""
    from archive.disk import read_named

    print_warnings(made.warnings)
    if as_json:
        listed = json.loads(read_named(made.frames_json))
        print_json({"status": "done", "film": made, **listed})
        return
    print_line(
        f"film of {format_count(len(made.observation_ids), 'observation')}, {made.frames} frames: {made.mp4.absolute()}"
    )
    if made.animated_px is None:
        print_line(f"beside it {made.frames_json.name} lists its frames; poster and short clip too")
    else:
        width_px, height_px = made.animated_px
        size_mb = made.mp4.stat().st_size / 1e6
        print_line(f"{width_px} x {height_px} px, {size_mb:.1f} MB, the largest of some sizes within 10 MB")
        print_line(f"beside it {made.frames_json.name} lists its frames")
    if len(made.observation_ids) == 1:
        print_line("it shows one picture, so nothing moves in it; a longer span has more")
    if made.home is not None:
        print_line(f"the site keeps it as {made.mp4.stem}: --forget {made.mp4.stem} takes it out again")
        print_line(f"look at {made.home.absolute()}")
