"""One observation as a page shows it: its picture, what the reader is warned of, its tables and files."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from markupsafe import Markup

from archive.language import (
    day_and_month,
    decimal,
    format_day,
    format_time,
    gettext,
    gettext_noop,
    kept_words,
    ngettext,
)
from archive.model.observation import Capture, Observation, SunView
from archive.website.addresses import Here, compare_page, picture_files
from archive.website.content import Entry, Tint, UnmeasuredPicture
from archive.website.disc_overlay import OverlayView, overlay_view
from archive.website.formatting import (
    UNKNOWN,
    arcminutes,
    degrees,
    exposure,
    format_latitude,
    format_meridian_distance,
    measured,
    number,
)
from archive.website.group_rows import GroupRow, named_rows
from archive.website.north_figure import NorthFigure, north_figure
from archive.website.orientation_text import EVIDENCE_NAMES, doubts, format_orientation
from archive.website.pages import Fact, Link, Picture
from archive.website.zoom import ZoomView, zoom_view

__all__ = [
    "EvidenceRow",
    "ObservationView",
    "disc_picture",
    "format_band",
    "format_source",
    "light_pictures",
    "observation_view",
]

_BAND_WORDS = {
    # Translators: bands of the spectrum, as at the end of "80 mm refractor, Quay, white light".
    "white": gettext_noop("white light"),
    "h-alpha": gettext_noop("H-alpha"),
    "calcium-k": gettext_noop("calcium K"),
    "other": gettext_noop("another band"),
}


_LOOK_WORDS = {
    # Translators: looks of a disc: as photographed, in warm colours, in grey, or without limb darkening.
    "natural": gettext_noop("natural"),
    "warm": gettext_noop("warm"),
    "mono": gettext_noop("mono"),
    "flat": gettext_noop("flat"),
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
        source=format_source(observation),
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
        capture=(
            *_capture_facts(observation),
            *(Fact(kept_words(name), kept_words(value)) for name, value in entry.advice),
        ),
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
    return Link(gettext("Compare with {day}", day=before), here.to(compare_page(entry.observation.day)))


def format_source(one: Observation | UnmeasuredPicture) -> str:
    """Write who took a picture, where the archive has several observers, with what, where and in which light."""
    return ", ".join(filter(None, (one.observer, one.instrument, one.site, format_band(one.band))))


def format_band(band: str) -> str:
    """Write a band in the trade's words."""
    return gettext(_BAND_WORDS[band])


def disc_picture(entry: Entry, here: Here) -> Picture:
    """Return the turned disc, described by what is known of it."""
    observation = entry.observation
    files = picture_files(observation)
    north = observation.orientation.is_known
    day = format_day(observation.day)
    return Picture(
        src=here.to(files.disc),
        alt=_disc_words(day, format_time(observation.time_utc, day=observation.day), north=north)
        + _counted_words(observation),
        href=here.to(files.disc),
        words=f"{day}, {format_time(observation.time_utc, day=observation.day)}",
        oriented=north,
        light=light_pictures(entry, here),
    )


def _disc_words(day: str, time: str, *, north: bool) -> str:
    if north:
        return gettext("The Sun on {day} at {time}, north up", day=day, time=time)
    return gettext("The Sun on {day} at {time}, original orientation, north not known", day=day, time=time)


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
        return ": " + gettext("no spots")
    groups = ngettext("{n} group", "{n} groups", counts.groups)
    return f": {groups}, " + ngettext("{n} spot", "{n} spots", counts.spots) + _largest_words(observation)


def _largest_words(observation: Observation) -> str:
    groups = [one.group for one in observation.groups or ()]
    if not groups:
        return ""
    largest = max(groups, key=lambda group: group.size_msh)
    if largest.latitude_deg is None or largest.central_meridian_distance_deg is None:
        return ""
    meridian = format_meridian_distance(largest.central_meridian_distance_deg, 0)
    place = f"{format_latitude(largest.latitude_deg, 0)} {meridian}"
    # Translators: {place} is like "N12 W34"; the words follow "2 groups, 5 spots, ".
    words = gettext("the largest at {place}", place=place) if len(groups) > 1 else gettext("at {place}", place=place)
    return f", {words}"


def _cautions(entry: Entry) -> tuple[str, ...]:
    """Put doubts about north first; a warning that repeats a dispute is left out, for the doubts tell it plainly."""
    orientation = entry.observation.orientation
    told = [
        kept_words(words) for words in entry.warnings if not any(dispute in words for dispute in orientation.disputes)
    ]
    return (*doubts(orientation), *told)


def _sun_facts(sun: SunView) -> tuple[Fact, ...]:
    return (
        Fact(
            "P", degrees(sun.p_deg, signed=True), gettext("tilt of the Sun’s axis from celestial north, east positive")
        ),
        Fact(Markup("B<sub>0</sub>"), degrees(sun.b0_deg, signed=True), gettext("solar latitude of the disc’s centre")),
        Fact(Markup("L<sub>0</sub>"), degrees(sun.l0_deg), gettext("Carrington longitude of the disc’s centre")),
        Fact(gettext("Semidiameter"), arcminutes(sun.semidiameter_arcsec), gettext("apparent radius of the Sun")),
        Fact(gettext("Rotation"), number(sun.carrington_rotation), gettext("Carrington rotation number")),
        *(_sky_facts(sun) if sun.has_horizon else ()),
    )


def _sky_facts(sun: SunView) -> tuple[Fact, ...]:
    return (
        Fact(
            gettext("Altitude"),
            degrees(sun.altitude_deg, 1),
            gettext("height above the horizon, without refraction"),
        ),
        Fact(gettext("Azimuth"), degrees(sun.azimuth_deg, 1), gettext("from north through east")),
        Fact(
            gettext("Parallactic angle"),
            degrees(sun.parallactic_angle_deg, signed=True),
            gettext("position angle of the zenith"),
        ),
    )


def _counted_facts(observation: Observation) -> tuple[Fact, ...]:
    counts = observation.counts
    if counts is None and observation.spot_area_msh is None:
        return ()
    return (
        Fact(gettext("Groups"), number(counts.groups if counts else None), gettext("sunspot groups, g")),
        Fact(gettext("Spots"), number(counts.spots if counts else None), gettext("spots, s")),
        Fact(
            "R",
            number(counts.relative_number if counts else None),
            gettext("relative number, k(10g\N{NO-BREAK SPACE}+\N{NO-BREAK SPACE}s)"),
        ),
        Fact(
            gettext("Area"),
            measured(observation.spot_area_msh, observation.spot_area_sigma_msh),
            _area_meaning(observation),
        ),
    )


def _area_meaning(observation: Observation) -> str:
    left_out = [named for named in observation.groups or () if named.group.area_msh is None]
    if observation.spot_area_msh is None or not left_out:
        return gettext("millionths of the solar hemisphere")
    return ngettext(
        "millionths of the solar hemisphere, without {n} group near the limb",
        "millionths of the solar hemisphere, without {n} groups near the limb",
        len(left_out),
    )


def _capture_facts(observation: Observation) -> tuple[Fact, ...]:
    """List what is known of the capture; what is not known is left out."""
    capture = observation.capture
    facts = [
        (gettext("Observer"), observation.observer),
        (gettext("Filter"), capture.filter),
        (gettext("Started"), capture.start_utc and f"{capture.start_utc:%H:%M:%S} UTC"),
        (gettext("Length"), None if capture.length_s is None else decimal(f"{capture.length_s:g} s")),
        (gettext("Exposure"), None if capture.exposure_s is None else exposure(capture.exposure_s)),
        (gettext("Gain"), None if capture.gain is None else decimal(f"{capture.gain:g}")),
        (gettext("Binning"), None if capture.binning is None else f"{capture.binning} × {capture.binning}"),
        (gettext("Frames stacked"), _stacked(capture)),
        (gettext("Seeing"), None if capture.seeing is None else gettext("{n} of 5", n=decimal(f"{capture.seeing:g}"))),
        (gettext("Transparency"), capture.transparency),
        (gettext("Picture"), f"{observation.picture.width_px} × {observation.picture.height_px} px"),
        (gettext("Image scale"), _scale(observation)),
    ]
    return tuple(Fact(name, value) for name, value in facts if value)


def _stacked(capture: Capture) -> str | None:
    if capture.frames_stacked is None:
        return (
            None
            if capture.frames_captured is None
            else gettext("{stacked} of {captured}", stacked=UNKNOWN, captured=capture.frames_captured)
        )
    if not capture.frames_captured:
        return str(capture.frames_stacked)
    percent = 100 * capture.frames_stacked / capture.frames_captured
    used = gettext("{stacked} of {captured}", stacked=capture.frames_stacked, captured=capture.frames_captured)
    share = f"{number(percent)} %" if percent >= 1 else gettext("under 1 %")
    return f"{used} ({share})"


def _scale(observation: Observation) -> str | None:
    if observation.disc.radius_px <= 0:
        return None
    scale = number(observation.sun.semidiameter_arcsec / observation.disc.radius_px, 2)
    return gettext("{scale}″ per pixel", scale=scale)


def _yes_no(value: bool | None) -> str:
    if value is None:
        return UNKNOWN
    return gettext("yes") if value else gettext("no")


def _evidence_rows(observation: Observation) -> tuple[EvidenceRow, ...]:
    return tuple(
        EvidenceRow(
            kind=gettext(EVIDENCE_NAMES[piece.kind]),
            north_angle=degrees(piece.north_angle_deg, signed=True),
            sigma=degrees(piece.sigma_deg),
            mirrored=_yes_no(piece.mirrored),
            note=kept_words(piece.note),
        )
        for piece in observation.orientation.evidence
    )


def _looks(entry: Entry, here: Here, disc: Picture, anchor: str) -> tuple[LookView, ...]:
    files, pictures = picture_files(entry.observation), entry.pictures

    def view(name: str, source: str, tint: str) -> LookView:
        words = gettext(_LOOK_WORDS.get(name, name))
        alt = gettext("{disc}, {look} look", disc=disc.alt, look=words)
        return LookView(f"{anchor}-{name}", Picture(source, alt, f"#{anchor}-{name}", words), tint)

    drawn = [view(name, here.to(files.look(name)), "") for name in pictures.looks]
    tinted = [
        view(tint.name, here.to(files.look(tint.of) if tint.of else files.disc), tint.name) for tint in pictures.tints
    ]
    return tuple(sorted((*drawn, *tinted), key=lambda look: look.anchor))


def _files(entry: Entry, here: Here) -> tuple[Link, ...]:
    files = picture_files(entry.observation)
    north = entry.observation.orientation.is_known
    came = "AVIF" if files.as_it_came.endswith(".avif") else "JPEG"
    links = [
        Link(gettext("The disc, north up (JPEG)") if north else gettext("The disc (JPEG)"), here.to(files.disc)),
        Link(gettext("Original orientation ({kind})", kind=came), here.to(files.as_it_came)),
    ]
    if entry.pictures.fits is not None:
        links.append(Link(gettext("Disc with coordinates (FITS)"), here.to(files.fits)))
    return tuple(links)
