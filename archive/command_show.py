"""What `show` says of a day's pictures."""

from __future__ import annotations

from collections.abc import Sequence

from archive.command_output import count_words, north_in_words, print_answer, print_warnings
from archive.command_streams import out
from archive.model.observation import NamedGroup, Observation
from archive.records.corrections import groups_text

__all__ = ["print_observations"]


def print_observations(found: Sequence[Observation], *, as_json: bool) -> None:
    """Limb, Sun, evidence for north and groups of each picture."""
    if as_json:
        print_answer(found, as_json=True)
        return
    for one in found:
        _print_observation(one)
        _print_counts(one)


def _print_observation(one: Observation) -> None:
    disc, view = one.disc, one.sun
    out(f"{one.id}  {one.time_utc:%Y-%m-%d %H:%M:%S} UTC  {one.site}, {one.instrument}  {one.picture.file}")
    out(
        f"  disc     ({disc.x_px:.2f}, {disc.y_px:.2f}) px, radius {disc.radius_px:.2f} px, "
        f"flattening {100 * disc.flattening:.2f} %, scatter {disc.rms_px:.2f} px, "
        f"{100 * disc.limb_fraction:.0f} % of the limb"
    )
    out(
        f"  Sun      P {view.p_deg:+.2f}, B0 {view.b0_deg:+.2f}, L0 {view.l0_deg:.2f} deg, "
        f"altitude {view.altitude_deg:.1f} deg, parallactic angle {view.parallactic_angle_deg:+.1f} deg"
    )
    out(f"  north    {north_in_words(one.orientation)}")
    for piece in one.orientation.evidence:
        mirrored = "mirrored" if piece.mirrored else "not mirrored"
        out(f"    {piece.kind:<10} {piece.north_angle_deg:+8.2f} ± {piece.sigma_deg:.2f} deg  {mirrored}  {piece.note}")
    print_warnings(f"{one.id}: {text}" for text in (*one.orientation.disputes, *one.remarks))


def _print_counts(one: Observation) -> None:
    """Counts and groups of a picture, and what to paste into its record to put them right."""
    if one.counts is None or one.groups is None:
        return
    counts = one.counts
    by_hand = " (by hand)" if counts.stated else ""
    out(
        f"  counted  {count_words(counts.groups, 'group')}, {count_words(counts.spots, 'spot')}, "
        f"R {counts.relative_number:g}{by_hand}, area {one.spot_area_msh or 0.0:.0f} millionths of the hemisphere"
    )
    for named in one.groups:
        out(f"    {_group_line(named)}")
    if any(named.group.latitude_deg is not None for named in one.groups):
        record = one.picture.file.rpartition(".")[0]
        out(
            f"  to put groups right, paste into {record}.toml and edit (they then stand in place of the measured ones):"
        )
        for line in groups_text(one.groups).splitlines():
            out(f"    {line}".rstrip())


def _group_line(named: NamedGroup) -> str:
    group = named.group
    spots = f"{count_words(len(group.spots), 'spot')}, {group.area_msh:.0f} MSH"
    name = named.name or "not yet named"
    if group.latitude_deg is None:
        return f"{name:<14}{spots}, place not known"
    errors = "" if group.latitude_sigma_deg is None else f" ± {group.latitude_sigma_deg:.1f}"
    along = "" if group.longitude_sigma_deg is None else f" ± {group.longitude_sigma_deg:.1f}"
    return (
        f"{name:<14}latitude {group.latitude_deg:+.1f}{errors}, longitude {group.carrington_longitude_deg:.1f}{along}, "
        f"{group.central_meridian_distance_deg:+.1f} from the central meridian, {spots}"
    )
