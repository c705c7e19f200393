"""`northlimb add`: file finished pictures."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from contextlib import suppress
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from archive.commands.build import built_lines
from archive.commands.options import FOLDER, JSON, SCHEDULER
from archive.commands.permission import ask_time, can_ask, open_archive
from archive.commands.printing import causes_of, format_north, one_line, print_causes, print_json, print_warnings
from archive.commands.publish import published_line, warn_of_foreign_files
from archive.commands.streams import print_line, progress
from archive.commands.values import ImpossibleValue, Number, parse_typed_time
from archive.errors import ArchiveError
from archive.model.choices import YES_NO

if TYPE_CHECKING:
    from archive.delivery.evening import EveningResult
    from archive.filing.adding import AddResult
    from archive.filing.statements import AddOptions

__all__ = ["add"]

_CAVEAT = "spots under some"  # of remarks on what a picture's size or noise hides
_MANY = 4  # pictures, from which their sums are told


@click.command(
    "add",
    short_help="File finished pictures.",
    epilog="Example: northlimb add my-sun ~/pictures/20260603T091500Z.png --note 'Steady air, thin haze.'",
)
@FOLDER
@click.argument("pictures", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--time", "time_text", metavar="ISO", help="Middle of the capture, such as 2026-06-03T10:15+01:00.")
@click.option("--instrument", help="Name of the instrument in archive.toml.")
@click.option("--site", help="Name of the site in archive.toml.")
@click.option(
    "--observer", help="Who took the pictures, a name in archive.toml.  [default: the archive's own observer]"
)
@click.option(
    "--north-angle",
    type=Number(),
    metavar="DEG",
    help="From the picture's up to solar north, counter-clockwise, un-mirrored.",
)
@click.option("--mirrored", type=click.Choice(YES_NO), help="Whether the picture is a mirror image.")
@click.option(
    "--drift",
    nargs=2,
    type=click.Path(path_type=Path),
    metavar="FIRST SECOND",
    help="Two frames of the same camera in order of time, taken with tracking off, some seconds to a minute or two "
    "apart: the disc moves due west. They are measured, not filed. With one PICTURE.",
)
@click.option("--recursive", is_flag=True, help="Look into the folders of a folder as well.")
@click.option(
    "--unmeasured",
    is_flag=True,
    help="File a picture whose disc cannot be measured (soft, saturated, a thin crescent): shown on its day as it "
    "came, never counted, oriented or filmed.",
)
@click.option(
    "--extra",
    is_flag=True,
    help="File a close-up, a drawing or a photograph of the set-up, which the notes of its day then show. For its day "
    "--time may be a day alone.",
)
@click.option("--caption", help="What stands below the picture of --extra.")
@click.option("--note", help="A paragraph for the day's notes (Markdown).")
@click.option("--publish", "publish_too", is_flag=True, help="Then build, film the last week and publish.")
@SCHEDULER
@JSON
def add(
    folder: Path,
    pictures: tuple[Path, ...],
    as_json: bool,
    publish_too: bool,
    recursive: bool,
    scheduler: str | None,
    extra: bool,
    caption: str | None,
    **stated: Any,
) -> int:
    """File finished pictures in the archive FOLDER.

    PICTURES are PNG, JPEG, TIFF, FITS, WebP, HEIF, AVIF or BMP files, or folders of which whatever is new is taken.
    Time and capture facts come from the options, from a note NAME.toml beside NAME.png, from FITS header, EXIF, XMP
    or the file's name. The time at which an editor saved a picture is not taken: where it is all there is, give
    --time.
    """
    from archive.delivery.evening import build_film_publish
    from archive.delivery.publication import check_target
    from archive.execution.executor import executor_at
    from archive.filing.adding import add_pictures
    from archive.filing.extras import add_extras

    if caption is not None and not extra:
        raise click.UsageError("--caption TEXT goes with --extra")
    files = open_archive(folder, *(("theme", "target", "site-files") if publish_too else ()))
    options = _options(pictures, extra=extra, **stated)
    asked = ask_time if can_ask() and not as_json else None
    shared: dict[str, Any] = {"on_progress": progress(), "recursive": recursive, "ask_time": asked}
    answer: dict[str, Any] = {"status": "done", "pictures": [], "passed_over": []}
    caveats = list[str]()
    try:
        if publish_too:
            check_target(files, None)
        with executor_at(scheduler) as executor:
            for result in (
                add_extras(files, pictures, options, caption, **shared)
                if extra
                else add_pictures(files, pictures, options, executor=executor, **shared)
            ):
                answer["passed_over" if result.status == "passed_over" else "pictures"].append(result)
                _print_added(result, caveats, as_json=as_json)
            _print_sums(answer, caveats, as_json=as_json)
            if any(result.status == "refused" for result in answer["pictures"]):
                answer["status"] = "refused"
            if publish_too:  # what was refused keeps nothing else from being published
                answer["evening"] = build_film_publish(files, on_progress=progress(), executor=executor)
                if not as_json:
                    _print_evening(answer["evening"])
    except (ArchiveError, OSError) as error:  # what is filed by then is filed, and reported
        answer |= {"status": "refused", "causes": causes_of(error)}
        print_causes(answer["causes"])
    if as_json:
        print_json(answer)
    return 0 if answer["status"] == "done" else 1


def _options(
    pictures: Sequence[Path],
    *,
    extra: bool,
    unmeasured: bool,
    time_text: str | None,
    mirrored: str | None,
    north_angle: float | None,
    drift: tuple[Path, Path] | None,
    **stated: str | None,
) -> AddOptions:
    """Return what the observer states of the pictures; two drift frames go with one picture."""
    from archive.filing.statements import AddOptions

    if extra and unmeasured:
        raise click.UsageError("--extra and --unmeasured: give one of them")
    if (extra or unmeasured) and (drift is not None or mirrored is not None or north_angle is not None):
        without = "--extra" if extra else "--unmeasured"
        raise click.UsageError(
            f"--drift, --mirrored and --north-angle tell of a disc, which {without} does not look for"
        )
    if drift is not None and (len(pictures) != 1 or pictures[0].is_dir()):
        raise click.UsageError("--drift FIRST SECOND goes with one picture, not with several or a folder")
    if north_angle is not None and not -360 <= north_angle <= 360:
        raise ImpossibleValue(f"--north-angle {north_angle:g}: write degrees from -360 to 360")
    day = None if time_text is None or not extra else _day_alone(time_text)
    return AddOptions(
        time=None if time_text is None or day is not None else parse_typed_time(time_text),
        day=day,
        mirrored=None if mirrored is None else mirrored == "yes",
        north_angle_deg=north_angle,
        drift=drift,
        unmeasured=unmeasured,
        **stated,
    )


def _day_alone(text: str) -> date | None:
    """Return a day without a time, which will do for a further picture; else None."""
    if len(text.strip()) == len("2026-06-03"):
        with suppress(ValueError):
            return date.fromisoformat(text.strip())
    return None


def _print_sums(answer: Mapping[str, Any], caveats: Sequence[str], *, as_json: bool) -> None:
    """Print how many there were of each, where more than a few were given."""
    if len(caveats) > 1:
        more = f"{len(caveats) - 1} more picture{'s' if len(caveats) > 2 else ''}"
        print_warnings([f"the smallest spots do not show in {more} either; `northlimb show` tells each one's limit"])
    words = {"added": "filed", "known": "in the archive before", "removed": "removed before", "refused": "refused"}
    found = Counter(result.status for result in answer["pictures"])
    if not as_json and sum(found.values()) >= _MANY:
        passed_over = {"passed over": len(answer["passed_over"])} if answer["passed_over"] else {}
        sums = {name: found[status] for status, name in words.items() if found[status]} | passed_over
        print_line("in all: " + ", ".join(f"{count} {name}" for name, count in sums.items()))


def _print_evening(evening: EveningResult) -> None:
    print_warnings(evening.built.warnings)
    for line in built_lines(evening.built):
        print_line(line)
    warn_of_foreign_files(evening.published)
    print_line(published_line(evening.published))


def _print_added(result: AddResult, caveats: list[str], *, as_json: bool) -> None:
    """A line for each picture as it is done; the answer in JSON comes at the end.

    What small spots do not show is told of the first picture alone: it is the same of nearly all of a telescope's.
    """
    told = [line for line in result.warnings if _CAVEAT in line]
    print_warnings([line for line in result.warnings if line not in told or not caveats])
    caveats += told
    if result.status == "refused":
        print_causes(result.causes)
    elif as_json or result.status == "passed_over":
        return
    elif result.status == "known":
        filed_as = result.id or result.file
        print_line(f"{one_line(result.picture)}: already in the archive as {filed_as}; nothing written")
    elif result.status == "removed":
        print_line(
            f"{one_line(result.picture)}: was removed from the archive; name the picture itself to file it again"
        )
    elif result.file is not None:
        print_line(f"{result.file}  {one_line(result.picture)}: a further picture, which the day's notes show")
    elif result.disc is None:
        read_as = f"; {result.time_read_as}" if result.time_read_as else ""
        print_line(f"{result.id}  {one_line(result.picture)}: not measured; shown on its day as it came{read_as}")
    elif result.disc is not None and result.orientation is not None:
        disc = result.disc
        print_line(
            f"{result.id}  {one_line(result.picture)}: disc at ({disc.x_px:.1f}, {disc.y_px:.1f}) px, "
            f"radius {disc.radius_px:.1f} px; north {format_north(result.orientation, result.band)}"
            + (f"; {result.time_read_as}" if result.time_read_as else "")
        )
        if result.settled_days:
            print_line(f"  north is now known for {', '.join(result.settled_days)} too; the next build shows it")
