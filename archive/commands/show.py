"""`northlimb show`: a day's observations."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from archive.commands.options import FOLDER, JSON
from archive.commands.permission import open_archive
from archive.commands.printing import format_count, format_north, json_fields, print_answer, print_warnings
from archive.commands.streams import progress
from archive.model.figures import format_measured
from archive.model.group import shown_name

if TYPE_CHECKING:
    from archive.model.observation import NamedGroup, Observation
    from archive.reports.days import UnmeasuredObservation

__all__ = ["show"]


@click.command("show", short_help="Show a day's observations.", epilog="Example: northlimb show my-sun 2026-06-03")
@FOLDER
@click.argument("day")
@JSON
def show(folder: Path, day: str, as_json: bool) -> None:
    """Show a DAY's observations: limb, Sun, the evidence for north, and the groups of spots.

    DAY is a day of the pages, or one observation of it such as 2026-06-03T0915Z.
    """
    from archive.model.observation import Observation
    from archive.reports.days import show_day
    from archive.stages.spots_in_picture import spots_in_picture
    from archive.stages.uncounted import uncounted_reason

    found = show_day(open_archive(folder), day, on_progress=progress())
    answer = [
        {**json_fields(one), "spots": spots_in_picture(one), "not_counted": uncounted_reason(one)}
        if isinstance(one, Observation)
        else one
        for one in found
    ]
    print_answer(answer, _lines(found), as_json=as_json)


def _lines(found: Sequence[Observation | UnmeasuredObservation]) -> Iterator[str]:
    """Return what is known of each picture; its warnings are printed between."""
    from archive.model.observation import Observation

    for one in found:
        yield f"{one.id}  {one.time_utc:%Y-%m-%d %H:%M:%S} UTC  {one.site}, {one.instrument}  {one.picture.file}"
        if not isinstance(one, Observation):
            yield "  not measured: shown as it came, neither oriented nor counted, and in no film"
            continue
        yield from _observation_lines(one)
        print_warnings(f"{one.id}: {text}" for text in (*one.orientation.disputes, *one.remarks))
        yield from _count_lines(one)


def _observation_lines(one: Observation) -> Iterator[str]:
    disc, view = one.disc, one.sun
    yield (
        f"  disc     ({disc.x_px:.2f}, {disc.y_px:.2f}) px, radius {disc.radius_px:.2f} px, "
        f"flattening {100 * disc.flattening:.2f} %, scatter {disc.rms_px:.2f} px, "
        f"{100 * disc.limb_fraction:.0f} % of the limb"
    )
    sky = f", altitude {view.altitude_deg:.1f} deg, parallactic angle {view.parallactic_angle_deg:+.1f} deg"
    yield (
        f"  Sun      P {view.p_deg:+.2f}, B0 {view.b0_deg:+.2f}, L0 {view.l0_deg:.2f} deg"
        f"{sky if view.has_horizon else ', seen from space'}"
    )
    yield f"  north    {format_north(one.orientation, one.band)}"
    for piece in one.orientation.evidence:
        mirrored = "mirrored" if piece.mirrored else "not mirrored"
        angle = f"{piece.north_angle_deg:+8.2f} ± {piece.sigma_deg:.2f} deg"
        yield f"    {piece.kind:<10} {angle}  {mirrored}  {piece.note}"


def _count_lines(one: Observation) -> Iterator[str]:
    """Counts and groups of a picture, and what to paste into its record to put them right; or why there are none."""
    from archive.records.corrections import groups_text
    from archive.stages.spots_in_picture import spots_in_picture
    from archive.stages.uncounted import uncounted_reason

    if one.counts is None or one.groups is None:
        why = uncounted_reason(one)
        yield f"  counted  not counted{'' if why is None else f': {why}'}"
        return
    counts = one.counts
    by_hand = " (by hand)" if counts.stated else ""
    area = "area not known"
    if one.spot_area_msh is not None:
        area = f"area {format_measured(one.spot_area_msh, one.spot_area_sigma_msh)} millionths of the hemisphere"
    yield (
        f"  counted  {format_count(counts.groups, 'group')}, {format_count(counts.spots, 'spot')}, "
        f"R {counts.relative_number:g}{by_hand}, {area}"
    )
    spots = spots_in_picture(one)
    for number, named in enumerate(one.groups):
        yield f"    {_group_line(named)}"
        for spot in (spot for spot in spots if spot.group == number):
            size = "area not known" if spot.area_msh is None else f"{spot.area_msh:.0f} MSH"
            yield f"      spot at x {spot.x_px:.1f}, y {spot.y_px:.1f} px, {size}"
    record = one.picture.file.rpartition(".")[0]
    if spots:
        at = f"x_px = {spots[0].x_px:.1f}, y_px = {spots[0].y_px:.1f}, radius_px = 5.0"
        yield f"  a spot that is dust: write [[dust]] into {record}.toml, and below it its place, such as {at}"
    if any(named.group.latitude_deg is not None for named in one.groups):
        stands = "they then stand in place of the measured ones"
        yield f"  to put groups right, paste into {record}.toml and edit ({stands}):"
        for line in groups_text(one.groups).splitlines():
            yield f"    {line}".rstrip()


def _group_line(named: NamedGroup) -> str:
    group = named.group
    area = "area not known"
    if group.area_msh is not None:
        area = f"{format_measured(group.area_msh, group.area_sigma_msh)} MSH"
    spots = f"{format_count(len(group.spots), 'spot')}, {area}"
    name = "not yet named" if named.name is None else shown_name(named.name, named.official_name)
    if group.latitude_deg is None:
        return f"{name:<14}{spots}, place not known"
    errors = "" if group.latitude_sigma_deg is None else f" ± {group.latitude_sigma_deg:.1f}"
    along = "" if group.longitude_sigma_deg is None else f" ± {group.longitude_sigma_deg:.1f}"
    return (
        f"{name:<14}latitude {group.latitude_deg:+.1f}{errors}, longitude {group.carrington_longitude_deg:.1f}{along}, "
        f"{group.central_meridian_distance_deg:+.1f} from the central meridian, {spots}"
    )
