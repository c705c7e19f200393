"""The command line: parse, one call, print. Heavy imports wait until a command needs them."""

from __future__ import annotations

import gc
import sys
from contextlib import closing, suppress
from pathlib import Path
from typing import Any, NoReturn

import click

from archive import __version__
from archive.command_streams import fill_closed_streams, progress, say, silence_stdout, stop_like_ctrl_c
from archive.errors import ArchiveError
from archive.model.choices import CAPTIONS, FILM_STYLES, FILM_VIEWS, LOOKS, MIRRORED, MOUNTS, YES_NO

__all__ = ["main", "northlimb", "run"]

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


def run() -> NoReturn:
    """The `northlimb` command."""
    fill_closed_streams()
    # A long archive is many small values that all live to the end: looking for dead ones among them costs a fifth.
    gc.set_threshold(50_000, 20, 20)
    sys.exit(main())


def main(argv: list[str] | None = None) -> int:
    """Run a command; returns the exit status: 0 done, 1 refused, 2 misuse, 130 stopped by Ctrl-C."""
    words = sys.argv[1:] if argv is None else argv
    try:
        return _status(words)
    except BrokenPipeError:  # whoever read the answer has read enough
        silence_stdout()
        return 1


def _status(words: list[str]) -> int:
    try:
        return int(northlimb.main(args=words, prog_name="northlimb", standalone_mode=False) or 0)
    except click.ClickException as error:
        return _misuse(error, as_json="--json" in words)
    except (click.exceptions.Abort, KeyboardInterrupt):
        say("stopped")
        return 130
    except (ArchiveError, OSError) as error:
        from archive.command_output import print_refusal

        print_refusal(_causes_of(error), as_json="--json" in words)
        return 1


def _causes_of(error: ArchiveError | OSError) -> tuple[str, ...]:
    """One line each; what the system refuses is as much the user's to put right as what this program does."""
    if isinstance(error, ArchiveError):
        return error.causes
    if isinstance(error, BrokenPipeError):
        raise error
    where = f"{error.filename}: " if error.filename else ""
    return (f"{where}{error.strerror or error}; check names, permissions and free space",)


def _misuse(error: click.ClickException, *, as_json: bool) -> int:
    with suppress(OSError):
        error.show()
    if as_json:
        from archive.command_output import print_answer

        print_answer({"status": "misuse", "causes": error.format_message().splitlines()}, as_json=True)
    return error.exit_code


@click.group(context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
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


@northlimb.command(
    short_help="Make an empty archive.",
    epilog='Example: northlimb new my-sun --title "Sun over the quay" --observer "A. Teal" --site Quay,52.1,-1.3 '
    "--time-zone Europe/London --instrument Doorstep --mount altaz --mirrored no --camera-angle 0",
)
@FOLDER
@click.option("--title", help="Title of the archive and its site.")
@click.option("--observer", help="Name that the site gives as the observer.")
@click.option("--site", help="NAME,LATITUDE,LONGITUDE[,ELEVATION]: degrees, north and east positive; metres.")
@click.option("--time-zone", help="Zone of times that come without one, such as Europe/London.")
@click.option("--instrument", help="Name of the telescope and camera.")
@click.option("--mount", type=click.Choice(MOUNTS), help="How the instrument is mounted.")
@click.option(
    "--mirrored",
    type=click.Choice(MIRRORED),
    help="Whether its pictures are mirror images.  [default: unknown]",
)
@click.option(
    "--camera-angle",
    type=float,
    metavar="DEG",
    help="From the picture's up to the zenith (altaz) or to celestial north (equatorial), counter-clockwise, "
    "un-mirrored; 0 where they agree.  [default: not known]",
)
@JSON
def new(folder: Path, as_json: bool, camera_angle: float | None, **wanted: str | None) -> None:
    """Make an empty archive in FOLDER. On a terminal, what is missing is asked for."""
    from archive.command_input import answers_of, new_settings
    from archive.command_output import print_created
    from archive.records.new_archive import create_archive

    settings = new_settings(answers_of({**wanted, "camera_angle": None if camera_angle is None else str(camera_angle)}))
    print_created(folder, create_archive(folder, settings), as_json=as_json)


@northlimb.command(
    short_help="File finished pictures.",
    epilog="Example: northlimb add my-sun ~/pictures/20260603T091500Z.png --note 'Steady air, thin haze.'",
)
@FOLDER
@click.argument("pictures", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--time", "time_text", metavar="ISO", help="Middle of the capture, such as 2026-06-03T10:15+01:00.")
@click.option("--instrument", help="Name of the instrument in archive.toml.")
@click.option("--site", help="Name of the site in archive.toml.")
@click.option(
    "--north-angle",
    type=float,
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
@click.option("--note", help="A paragraph for the day's notes (Markdown).")
@click.option("--publish", "publish_too", is_flag=True, help="Then build, film the last week and publish.")
@SCHEDULER
@JSON
def add(
    folder: Path, pictures: tuple[Path, ...], as_json: bool, publish_too: bool, scheduler: str | None, **stated: Any
) -> int:
    """File finished pictures in the archive FOLDER.

    PICTURES are PNG, JPEG, TIFF or FITS files, or folders of which whatever is new is taken. Time and capture
    facts come from the options, from a note NAME.toml beside NAME.png, from FITS header, EXIF or the file's name.
    """
    from archive.command_input import add_options
    from archive.command_output import print_added, print_answer, print_causes, print_evening
    from archive.command_trust import opened
    from archive.delivery.evening import build_film_publish
    from archive.delivery.publication import check_first_target
    from archive.execution.executor import executor_at
    from archive.filing.adding import add_pictures

    root = opened(folder, *(("theme", "target", "site-files") if publish_too else ()))
    options = add_options(pictures, **stated)
    answer: dict[str, Any] = {"status": "done", "pictures": [], "passed_over": []}
    try:
        if publish_too:
            check_first_target(root)
        with executor_at(scheduler) as executor:
            for result in add_pictures(root, pictures, options, on_progress=progress(), executor=executor):
                answer["passed_over" if result.status == "passed_over" else "pictures"].append(result)
                print_added(result, as_json=as_json)
            if any(result.status == "refused" for result in answer["pictures"]):
                answer["status"] = "refused"
            if publish_too:  # what was refused keeps nothing else from being published
                answer["evening"] = build_film_publish(root, on_progress=progress(), executor=executor)
                print_evening(answer["evening"], as_json=as_json)
    except (ArchiveError, OSError) as error:  # what is filed by then is filed, and told
        answer |= {"status": "refused", "causes": _causes_of(error)}
        print_causes(answer["causes"])
    print_answer(answer, as_json=as_json)
    return 0 if answer["status"] == "done" else 1


@northlimb.command(short_help="Bring discs to north-up, write the site.", epilog="Example: northlimb build my-sun")
@FOLDER
@SITE_DIR
@SCHEDULER
@JSON
def build(folder: Path, site_dir: Path | None, scheduler: str | None, as_json: bool) -> None:
    """Bring every disc of the archive FOLDER to north-up, and write its site."""
    from archive.command_output import print_built
    from archive.command_trust import opened
    from archive.execution.executor import executor_at
    from archive.pipeline import build as build_archive

    root = opened(folder, "theme")
    with executor_at(scheduler) as executor:
        built = build_archive(root, site_dir=site_dir, on_progress=progress(), executor=executor)
    print_built(built, as_json=as_json)


@northlimb.command(
    short_help="Make a film of the Sun turning.",
    epilog="Example: northlimb film my-sun --from 2026-05-25 --to 2026-06-07 --out fortnight.mp4",
)
@FOLDER
@click.option("--days", type=click.IntRange(1), metavar="N", help="The last N days with observations.  [default: 7]")
@click.option("--from", "first", type=click.DateTime(["%Y-%m-%d"]), metavar="DAY", help="First day (UTC); with --to.")
@click.option("--to", "last", type=click.DateTime(["%Y-%m-%d"]), metavar="DAY", help="Last day (UTC); with --from.")
@click.option("--rotation", type=click.IntRange(1), metavar="N", help="One Carrington rotation.")
@click.option(
    "--style",
    type=click.Choice(FILM_STYLES),
    default="daily",
    show_default=True,
    help="daily: each picture in turn, cross-faded. smooth: equal steps of time, the surface carried by the rotation "
    "law between pictures. corotating: Carrington longitudes held still.",
)
@click.option("--all-pictures", is_flag=True, default=None, help="All pictures of a day, not one alone.")
@click.option(
    "--pace",
    "pace_s",
    type=click.FloatRange(0.2, 60),
    metavar="S",
    help="Seconds of film for a day (smooth) or a picture.  [default: smooth 2, else 1]",
)
@click.option(
    "--reach",
    "reach_days",
    type=click.FloatRange(0, 10, min_open=True),
    metavar="DAYS",
    help="smooth only: how long a picture stands for the surface before and after it.  [default: 3]",
)
@click.option("--size", "size_px", type=click.IntRange(480, 2160), metavar="PX", help="Side.  [default: 1024]")
@click.option(
    "--look",
    type=click.Choice(LOOKS),
    help="Tint; flat is without limb darkening.  [default: the archive's first look]",
)
@click.option("--caption", type=click.Choice(CAPTIONS), help="Date with time, or date only.  [default: full]")
@click.option("--grid", is_flag=True, default=None, help="Latitude and longitude every 15 degrees.")
@click.option(
    "--axis", is_flag=True, default=None, help="The Sun's axis, where it stands out of the disc; not on a map."
)
@click.option("--group-names", is_flag=True, default=None, help="The names of the sunspot groups.")
@click.option("--view", type=click.Choice(FILM_VIEWS), help="corotating only: a flat map or a disc.  [default: map]")
@click.option(
    "--longitude",
    "longitude_deg",
    type=click.FloatRange(0, 360),
    metavar="DEG",
    help="corotating only: Carrington longitude in the middle.  [default: the one facing us in the middle of the span]",
)
@click.option("--out", type=click.Path(path_type=Path), help="Write the film here (.mp4) instead of into the site.")
@SCHEDULER
@JSON
def film(folder: Path, as_json: bool, out: Path | None, scheduler: str | None, **wanted: Any) -> None:
    """Make a film of the Sun turning. Without --out the site keeps it, and remakes it when its days change."""
    from archive.command_input import film_span
    from archive.command_output import print_filmed
    from archive.command_trust import opened
    from archive.execution.executor import executor_at
    from archive.pipeline import film_elsewhere, film_in_site

    root, asked = opened(folder, "theme"), film_span(**wanted)
    with executor_at(scheduler) as executor:
        if out is None:
            made = film_in_site(root, asked, on_progress=progress(), executor=executor)
        else:
            made = film_elsewhere(root, asked, out, on_progress=progress(), executor=executor)
    print_filmed(made, as_json=as_json)


@northlimb.command(
    short_help="Send the site to where it is served.",
    epilog="Example: northlimb publish my-sun sftp://observer@example.org/srv/www/sun --dry-run",
)
@FOLDER
@click.argument("target", required=False)
@SITE_DIR
@click.option("--adopt", is_flag=True, help="Take over a target that holds other files: they are removed.")
@click.option("--dry-run", is_flag=True, help="List what would travel and what would be removed; change nothing.")
@click.option(
    "--check",
    "check_place",
    metavar="PLACE",
    help="Send nothing: read back every file at PLACE, the site's web address or a target, and compare it with the "
    "built site.",
)
@JSON
def publish(folder: Path, target: str | None, as_json: bool, dry_run: bool, check_place: str | None, **how: Any) -> int:
    """Send the built site to TARGET, a name among the targets of archive.toml or a place.

    \b
    A place is one of
      a folder, or a file name that ends in .zip
      rsync+ssh://, sftp://, ftps://, webdavs:// or webdav:// USER@HOST/PATH
      s3://BUCKET/PREFIX
      git+ssh://, git+https:// or git+file:// and a repository, then #BRANCH

    Only what changed travels. Passwords come from the environment (NORTHLIMB_PASSWORD), from ~/.netrc or from
    your keys, never from a URL.
    """
    from archive.command_output import print_checked, print_published, print_rehearsed
    from archive.command_trust import opened
    from archive.delivery import publication

    root = opened(folder, "theme", *(() if target else ("target",)), "site-files")
    if check_place is not None:
        if target is not None or dry_run or how["adopt"]:
            raise click.UsageError("--check sends nothing: leave out TARGET, --dry-run and --adopt")
        found = publication.check(root, check_place, site_dir=how["site_dir"], on_progress=progress())
        print_checked(found, as_json=as_json)
        return 0 if found.same else 1
    wanted = publication.Wanted(target, **how)
    if dry_run:
        print_rehearsed(publication.rehearse(root, wanted, on_progress=progress()), as_json=as_json)
    else:
        print_published(publication.publish(root, wanted, on_progress=progress()), as_json=as_json)
    return 0


@northlimb.command(
    short_help="Check every original.", epilog="Example: northlimb verify my-sun --against /mnt/second-copy/my-sun"
)
@FOLDER
@click.option(
    "--repair",
    "repair_too",
    is_flag=True,
    help="Clear what a stopped run left, and put checksums.sha256 right where an original's bytes are those of its "
    "record.",
)
@click.option(
    "--against",
    multiple=True,
    type=click.Path(path_type=Path),
    metavar="DIR",
    help="A second archive, or a folder with copies of the pictures, where whole copies are looked for; repeatable.",
)
@click.option("--restore", "restore_too", is_flag=True, help="Bring whole copies back, after asking.")
@click.option("--yes", is_flag=True, help="Restore without asking.")
@JSON
def verify(
    folder: Path, repair_too: bool, against: tuple[Path, ...], restore_too: bool, yes: bool, as_json: bool
) -> int:
    """Read every original of the archive FOLDER and compare it with its checksum; read what you wrote in it, too.

    What has changed or is gone is named, and which copy still has it. Nothing is deleted: with --restore the damaged
    file goes to a dated folder in `removed/`.
    """
    from archive.command_input import may_restore
    from archive.command_keep import print_verified
    from archive.command_trust import opened
    from archive.upkeep.restoration import find_copies, restore
    from archive.upkeep.verification import repair
    from archive.upkeep.verification import verify as verify_archive

    root, asks = opened(folder), may_restore(restore_too, yes=yes)
    check = repair if repair_too else verify_archive
    found = check(root, on_progress=progress())
    copies = find_copies(root, found, against, on_progress=progress())
    restored: tuple[str, ...] = ()
    if restore_too and copies and asks(copies):
        restored = restore(root, copies, on_progress=progress())
        found = check(root, on_progress=progress())
        copies = find_copies(root, found, against, on_progress=progress())
    print_verified(found, copies, restored, as_json=as_json)
    return 0 if found.clean else 1


@northlimb.command(
    short_help="Take an observation out, or put it back.",
    epilog="Example: northlimb remove my-sun 2026-06-03T0915Z",
)
@FOLDER
@click.argument("observation")
@click.option("--undo", is_flag=True, help="Put back what the last `remove` of OBSERVATION took out.")
@JSON
def remove(folder: Path, observation: str, undo: bool, as_json: bool) -> None:
    """Take an OBSERVATION, such as 2026-06-03T0915Z, out of the archive FOLDER; nothing is deleted.

    Original and record go to a dated folder in `removed/`, and the original's line goes from the checksums.
    """
    from archive.command_keep import print_moved
    from archive.command_trust import opened
    from archive.upkeep.removal import put_back
    from archive.upkeep.removal import remove as remove_observation

    moved = (put_back if undo else remove_observation)(opened(folder), observation, on_progress=progress())
    print_moved(moved, folder, undone=undo, as_json=as_json)


@northlimb.command(
    short_help="Give an observation another time.",
    epilog="Example: northlimb amend my-sun 2026-06-03T0915Z --time 2026-06-03T09:20:00Z",
)
@FOLDER
@click.argument("observation")
@click.option(
    "--time",
    "time_text",
    metavar="ISO",
    help="Middle of the capture, such as 2026-06-03T10:15+01:00.  [default: the time in its record]",
)
@click.option("--undo", is_flag=True, help="Take back the last `amend` of OBSERVATION.")
@JSON
def amend(folder: Path, observation: str, time_text: str | None, undo: bool, as_json: bool) -> None:
    """Give an OBSERVATION of the archive FOLDER another time; its files are named for the minute, so they move.

    Without --time the files move to fit the time that you have written into the record.
    """
    from archive.command_input import amended_time
    from archive.command_keep import print_amended
    from archive.command_trust import opened
    from archive.upkeep.amendment import amend as amend_observation
    from archive.upkeep.amendment import take_back

    root, time = opened(folder), amended_time(time_text, undo=undo)
    if undo:
        changed = take_back(root, observation, on_progress=progress())
    else:
        changed = amend_observation(root, observation, time, on_progress=progress())
    print_amended(changed, folder, undone=undo, as_json=as_json)


@northlimb.command(
    short_help="See and allow what an archive would do.", epilog="Example: northlimb trust my-sun --show"
)
@FOLDER
@click.option("--show", "only_show", is_flag=True, help="Only show what it asks for; change nothing.")
@click.option("--forget", "take_back", is_flag=True, help="Take back all that it was allowed.")
@click.option("--yes", is_flag=True, help="Allow without asking.")
@JSON
def trust(folder: Path, only_show: bool, take_back: bool, yes: bool, as_json: bool) -> int:
    """Show what the archive FOLDER would do beyond its own folder, and allow it.

    An archive may come from somebody else. Until you allow it, it sends nothing to the targets that it names, its
    theme shapes no page, its links are not followed, and files that lay in its site are not published. What you have
    seen is remembered in your own configuration folder; when any of it changes you are asked again.
    """
    from archive.command_trust import may_allow, print_trusted
    from archive.delivery import trust as trusting
    from archive.records.folder import named_archive

    if only_show and take_back:
        raise click.UsageError("--show changes nothing: leave out --forget")
    root = named_archive(folder)
    found = trusting.asked_of(root)
    if take_back:
        found = trusting.withdraw(root)
    elif not only_show and (yes or may_allow(root, found)):
        found = trusting.trust(root)
    print_trusted(folder, found, as_json=as_json)
    return 0 if only_show or take_back or len(found.allowed) == len(found.grants) else 1


@northlimb.command(
    short_help="Export the archive as a BagIt bag.",
    epilog="Example: northlimb export my-sun --bag /mnt/deposit/my-sun-bag",
)
@FOLDER
@click.option("--bag", required=True, type=click.Path(path_type=Path), metavar="DIR", help="The bag: a new folder.")
@JSON
def export(folder: Path, bag: Path, as_json: bool) -> None:
    """Copy all that is yours of the archive FOLDER into a BagIt bag (RFC 8493), with the checksums of every file.

    Derived things and the site stay behind: `northlimb build` makes them from the bag's `data` folder.
    """
    from archive.command_keep import print_exported
    from archive.command_trust import opened
    from archive.upkeep.export import export_bag

    print_exported(export_bag(opened(folder), bag, on_progress=progress()), as_json=as_json)


@northlimb.command(
    short_help="Show the site on this computer only.", epilog="Example: northlimb preview my-sun --port 8000"
)
@FOLDER
@click.option("--port", type=click.IntRange(0, 65535), default=8000, show_default=True, help="0: any free port.")
@SITE_DIR
@JSON
def preview(folder: Path, port: int, site_dir: Path | None, as_json: bool) -> None:
    """Build the site and show it on this computer only, until Ctrl-C.

    When a picture, a record, a note or archive.toml changes, the site is built again and open pages reload; where
    that is refused the reason is told here, and the site stays as it was.
    """
    from archive.command_output import print_preview
    from archive.command_trust import opened
    from archive.delivery.preview import preview as preview_archive

    stop_like_ctrl_c()
    root = opened(folder, "theme")
    with closing(preview_archive(root, site_dir=site_dir, port=port, new_progress=progress)) as events:
        for event in events:
            print_preview(event, as_json=as_json)


@northlimb.command(short_help="What is known of a day.", epilog="Example: northlimb show my-sun 2026-06-03")
@FOLDER
@click.argument("day")
@JSON
def show(folder: Path, day: str, as_json: bool) -> None:
    """Print what is known of a DAY's pictures: limb, Sun, the evidence for north, and the groups of spots.

    DAY is a date (UTC), or one observation of it such as 2026-06-03T0915Z.
    """
    from archive.command_show import print_observations
    from archive.command_trust import opened
    from archive.reports.days import show_day

    print_observations(show_day(opened(folder), day, on_progress=progress()), as_json=as_json)


@northlimb.command(
    short_help="A month's counts, ready to send.",
    epilog="Example: northlimb report my-sun --month 2026-06 --format csv",
)
@FOLDER
@click.option("--month", required=True, metavar="YYYY-MM", help="The month (UTC), such as 2026-06.")
@click.option(
    "--format", "kind", type=click.Choice(["text", "csv"]), default="text", show_default=True, help="Table or CSV."
)
@JSON
def report(folder: Path, month: str, kind: str, as_json: bool) -> None:
    """Print a month's table of groups, spots and relative numbers, one observation a day, with means.

    Of several counted pictures of a day the one that the site shows counts: with known north first, then the sharpest.
    Hemispheres are left open where north is not known.
    """
    from archive.command_report import print_report
    from archive.command_trust import opened
    from archive.reports.month import month_report

    print_report(month_report(opened(folder), month, on_progress=progress()), kind=kind, as_json=as_json)


@northlimb.command(
    short_help="P, B0, L0 and the Sun's altitude.",
    epilog="Example: northlimb sun --site Quay,52.1,-1.3 --time 2026-06-03T09:15Z",
)
@click.argument("folder", required=False, type=click.Path(path_type=Path))
@click.option("--site", help="A site's name in FOLDER, or NAME,LATITUDE,LONGITUDE[,ELEVATION] without one.")
@click.option(
    "--time", "time_text", metavar="ISO", help="With its zone, such as 2026-06-03T10:15+01:00.  [default: now]"
)
@click.option("--radius", "radius_px", type=click.FloatRange(1), metavar="PX", help="Radius of the disc in a picture.")
@JSON
def sun(folder: Path | None, site: str | None, time_text: str | None, radius_px: float | None, as_json: bool) -> None:
    """Print P, B0, L0, the Sun's altitude, how fast an alt-azimuth picture turns, and what that asks of a capture."""
    from archive.command_input import moment_of, sun_site
    from archive.command_output import print_sun
    from archive.reports.days import sun_at

    found = sun_at(moment_of(folder, time_text), sun_site(folder, site), radius_px=radius_px)
    print_sun(found, as_json=as_json)
