"""One observation as a page shows it: its picture, what the reader is warned of, its tables and files."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from markupsafe import Markup

from archive.model.observation import Capture, Observation, SunView
from archive.website.addresses import Here, compare_page, picture_files
from archive.website.content import Entry, Tint
from archive.website.disc_overlay import OverlayView, overlay_view
from archive.website.formatting import (
    UNKNOWN,
    arcminutes,
    day_and_month,
    degrees,
    exposure,
    format_day,
    format_latitude,
    format_meridian_distance,
    format_time,
    measured,
    number,
    plural,
)
from archive.website.group_rows import GroupRow, named_rows
from archive.website.north_figure import NorthFigure, north_figure
from archive.website.orientation_text import EVIDENCE_NAMES, doubts, format_orientation
from archive.website.pages import Fact, Link, Picture
from archive.website.zoom import ZoomView, zoom_view

__all__ = ["EvidenceRow", "ObservationView", "disc_picture", "format_band", "light_pictures", "observation_view"]

_BAND_WORDS = {
    "white": "white light",
    "h-alpha": "H-alpha",
    "calcium-k": "calcium K",
    "other": "another band",
}


@dataclass(frozen=True)
class EvidenceRow:
    """One piece of evidence for the way up, in words."""

    kind: str
    north_angle: str
    sigma: str
    mirrored: str
    note: str


@dataclass(frozen=True)
class LookView:
    """A look beside the first: its place in the page, where it is shown large, and the tint that makes it, if any."""

    anchor: str
    picture: Picture
    tint: str


@dataclass(frozen=True)
class ObservationView:
    """What a page tells of one observation; every table may be empty but the Sun's.

    `groups` is None where the picture was not counted; `by_hand` where the count is the observer's own; `overlay` is
    None where north is not known, `compare` where there is no day before to compare with.
    """

    anchor: str
    time: str
    time_machine: str
    source: str
    picture: Picture
    overlay: OverlayView | None
    zoom: ZoomView
    compare: Link | None
    orientation: str
    cautions: tuple[str, ...]
    sun: tuple[Fact, ...]
    counted: tuple[Fact, ...]
    by_hand: bool
    groups: tuple[GroupRow, ...] | None
    capture: tuple[Fact, ...]
    north_angle: str
    sigma: str
    mirrored: str
    evidence: tuple[EvidenceRow, ...]
    north: NorthFigure | None
    looks: tuple[LookView, ...]
    tints: tuple[Tint, ...]
    files: tuple[Link, ...]


def observation_view(entry: Entry, here: Here, *, group_pages: Collection[str] = ()) -> ObservationView:
    """Gather what a page at `here` tells of an observation; `group_pages` are the groups that have a page."""
    observation, disc = entry.observation, disc_picture(entry, here)
    anchor = f"t{observation.id.partition('T')[2]}"
    return ObservationView(
        anchor=anchor,
        time=format_time(observation.time_utc, day=observation.day),
        time_machine=f"{observation.time_utc:%Y-%m-%dT%H:%M:%SZ}",
        source=f"{observation.instrument}, {observation.site}, {format_band(observation.band)}",
        picture=disc,
        overlay=overlay_view(entry.overlay, here, group_pages=group_pages),
        zoom=zoom_view(observation, here),
        compare=_compare(entry, here),
        orientation=format_orientation(observation.orientation),
        cautions=_cautions(entry),
        sun=_sun_facts(observation.sun),
        counted=_counted_facts(observation),
        by_hand=observation.counts is not None and observation.counts.stated,
        groups=None if observation.groups is None else named_rows(observation.groups, here, pages=group_pages),
        capture=(*_capture_facts(observation), *(Fact(name, value) for name, value in entry.advice)),
        north_angle=degrees(observation.orientation.north_angle_deg, signed=True),
        sigma=degrees(observation.orientation.sigma_deg),
        mirrored=_yes_no(observation.orientation.mirrored),
        evidence=_evidence_rows(observation),
        north=north_figure(observation, f"{anchor}-north"),
        looks=_looks(entry, here, disc, anchor),
        tints=entry.pictures.tints,
        files=_files(entry, here),
    )


def _compare(entry: Entry, here: Here) -> Link | None:
    if entry.derotated is None:
        return None
    before = day_and_month(entry.derotated.to_day)
    return Link(f"Compare with {before}", here.to(compare_page(entry.observation.day)))


def format_band(band: str) -> str:
    """Write a band in the trade's words."""
    return _BAND_WORDS[band]


def disc_picture(entry: Entry, here: Here) -> Picture:
    """Return the turned disc, described by what is known of it."""
    observation = entry.observation
    files = picture_files(observation)
    north = observation.orientation.is_known
    day = format_day(observation.day)
    return Picture(
        src=here.to(files.disc),
        alt=f"The Sun on {day} at {format_time(observation.time_utc, day=observation.day)}, "
        + ("north up" if north else "original orientation, north not known")
        + _counted_words(observation),
        href=here.to(files.disc),
        words=f"{day}, {format_time(observation.time_utc, day=observation.day)}",
        oriented=north,
        light=light_pictures(entry, here),
    )


def light_pictures(entry: Entry, here: Here) -> str:
    """List the disc in AVIF at several widths, as `srcset` does."""
    files = picture_files(entry.observation)
    return ", ".join(f"{here.to(files.light(side_px))} {side_px}w" for side_px in sorted(entry.pictures.light))


def _counted_words(observation: Observation) -> str:
    """Say in one breath what was counted, for who cannot see the disc."""
    counts = observation.counts
    if counts is None:
        return ""
    if not counts.spots:
        return ": no spots"
    return f": {plural(counts.groups, 'group')}, {plural(counts.spots, 'spot')}{_largest_words(observation)}"


def _largest_words(observation: Observation) -> str:
    groups = [one.group for one in observation.groups or ()]
    if not groups:
        return ""
    largest = max(groups, key=lambda group: group.size_msh)
    if largest.latitude_deg is None or largest.central_meridian_distance_deg is None:
        return ""
    meridian = format_meridian_distance(largest.central_meridian_distance_deg, 0)
    place = f"{format_latitude(largest.latitude_deg, 0)} {meridian}"
    return f", {'the largest ' if len(groups) > 1 else ''}at {place}"


def _cautions(entry: Entry) -> tuple[str, ...]:
    """Put doubts about north first; a warning that repeats a dispute is left out, for the doubts tell it plainly."""
    orientation = entry.observation.orientation
    told = [words for words in entry.warnings if not any(dispute in words for dispute in orientation.disputes)]
    return (*doubts(orientation), *told)


def _sun_facts(sun: SunView) -> tuple[Fact, ...]:
    return (
        Fact("P", degrees(sun.p_deg, signed=True), "tilt of the Sun’s axis from celestial north, east positive"),
        Fact(Markup("B<sub>0</sub>"), degrees(sun.b0_deg, signed=True), "solar latitude of the disc’s centre"),
        Fact(Markup("L<sub>0</sub>"), degrees(sun.l0_deg), "Carrington longitude of the disc’s centre"),
        Fact("Semidiameter", arcminutes(sun.semidiameter_arcsec), "apparent radius of the Sun"),
        Fact("Rotation", number(sun.carrington_rotation), "Carrington rotation number"),
        *(_sky_facts(sun) if sun.has_horizon else ()),
    )


def _sky_facts(sun: SunView) -> tuple[Fact, ...]:
    return (
        Fact(
            "Altitude",
            degrees(sun.altitude_deg, 1),
            "height above the horizon, without refraction",
        ),
        Fact("Azimuth", degrees(sun.azimuth_deg, 1), "from north through east"),
        Fact(
            "Parallactic angle",
            degrees(sun.parallactic_angle_deg, signed=True),
            "position angle of the zenith",
        ),
    )


def _counted_facts(observation: Observation) -> tuple[Fact, ...]:
    counts = observation.counts
    if counts is None and observation.spot_area_msh is None:
        return ()
    return (
        Fact("Groups", number(counts.groups if counts else None), "sunspot groups, g"),
        Fact("Spots", number(counts.spots if counts else None), "spots, s"),
        Fact(
            "R",
            number(counts.relative_number if counts else None),
            "relative number, k(10g\N{NO-BREAK SPACE}+\N{NO-BREAK SPACE}s)",
        ),
        Fact(
            "Area",
            measured(observation.spot_area_msh, observation.spot_area_sigma_msh),
            _area_meaning(observation),
        ),
    )


def _area_meaning(observation: Observation) -> str:
    unit = "millionths of the solar hemisphere"
    left_out = [named for named in observation.groups or () if named.group.area_msh is None]
    if observation.spot_area_msh is None or not left_out:
        return unit
    return f"{unit}, without {plural(len(left_out), 'group')} near the limb"


def _capture_facts(observation: Observation) -> tuple[Fact, ...]:
    """List what is known of the capture; what is not known is left out."""
    capture = observation.capture
    facts = [
        ("Filter", capture.filter),
        ("Started", capture.start_utc and f"{capture.start_utc:%H:%M:%S} UTC"),
        ("Length", None if capture.length_s is None else f"{capture.length_s:g} s"),
        ("Exposure", None if capture.exposure_s is None else exposure(capture.exposure_s)),
        ("Gain", None if capture.gain is None else f"{capture.gain:g}"),
        ("Binning", None if capture.binning is None else f"{capture.binning} × {capture.binning}"),
        ("Frames stacked", _stacked(capture)),
        ("Seeing", None if capture.seeing is None else f"{capture.seeing:g} of 5"),
        ("Transparency", capture.transparency),
        ("Picture", f"{observation.picture.width_px} × {observation.picture.height_px} px"),
        ("Image scale", _scale(observation)),
    ]
    return tuple(Fact(name, value) for name, value in facts if value)


def _stacked(capture: Capture) -> str | None:
    if capture.frames_stacked is None:
        return None if capture.frames_captured is None else f"{UNKNOWN} of {capture.frames_captured}"
    if not capture.frames_captured:
        return str(capture.frames_stacked)
    percent = 100 * capture.frames_stacked / capture.frames_captured
    share = number(percent) if percent >= 1 else "under 1"
    return f"{capture.frames_stacked} of {capture.frames_captured} ({share} %)"


def _scale(observation: Observation) -> str | None:
    if observation.disc.radius_px <= 0:
        return None
    return f"{number(observation.sun.semidiameter_arcsec / observation.disc.radius_px, 2)}″ per pixel"


def _yes_no(value: bool | None) -> str:
    if value is None:
        return UNKNOWN
    return "yes" if value else "no"


def _evidence_rows(observation: Observation) -> tuple[EvidenceRow, ...]:
    return tuple(
        EvidenceRow(
            kind=EVIDENCE_NAMES[piece.kind],
            north_angle=degrees(piece.north_angle_deg, signed=True),
            sigma=degrees(piece.sigma_deg),
            mirrored=_yes_no(piece.mirrored),
            note=piece.note,
        )
        for piece in observation.orientation.evidence
    )


def _looks(entry: Entry, here: Here, disc: Picture, anchor: str) -> tuple[LookView, ...]:
    files, pictures = picture_files(entry.observation), entry.pictures

    def view(name: str, source: str, tint: str) -> LookView:
        return LookView(
            f"{anchor}-{name}", Picture(source, f"{disc.alt}, {name} look", f"#{anchor}-{name}", name), tint
        )

    drawn = [view(name, here.to(files.look(name)), "") for name in pictures.looks]
    tinted = [
        view(tint.name, here.to(files.look(tint.of) if tint.of else files.disc), tint.name) for tint in pictures.tints
    ]
    return tuple(sorted((*drawn, *tinted), key=lambda look: look.anchor))


def _files(entry: Entry, here: Here) -> tuple[Link, ...]:
    files = picture_files(entry.observation)
    north_up = "The disc, north up" if entry.observation.orientation.is_known else "The disc"
    came = "AVIF" if files.as_it_came.endswith(".avif") else "JPEG"
    links = [
        Link(f"{north_up} (JPEG)", here.to(files.disc)),
        Link(f"Original orientation ({came})", here.to(files.as_it_came)),
    ]
    if entry.pictures.fits is not None:
        links.append(Link("Disc with coordinates (FITS)", here.to(files.fits)))
    return tuple(links)
