"""The figure of the evidence for north: a dial with the Sun's axis upright, drawn at build time as SVG.

Lengths are in the figure's own units, the origin at the disc's centre, x to the right, y down. Angles run
counter-clockwise from the top, as on the disc.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

from archive.language import gettext, gettext_noop
from archive.model.angles import difference_deg
from archive.model.choices import EvidenceKind
from archive.model.observation import Evidence, Observation, Orientation
from archive.website.disc_directions import Direction, disc_directions, shown_at_deg
from archive.website.formatting import UNKNOWN, degrees
from archive.website.orientation_text import EVIDENCE_NAMES

__all__ = ["EvidenceMark", "NorthFigure", "Pointer", "north_figure"]

_RADIUS = 100.0
_POINTER = (102.0, 108.0)
_LETTERS = 117.0  # radius of the first ring of letters; letters that would touch go one ring further out
_LETTER_STEP = 14.0
_LETTER_ROOM_DEG = 8.0  # 16 units on the first ring: a letter and a gap
_RINGS = (78.0, 18.0)  # outermost and innermost ring of evidence: their names fit between the ring's top and the limb
_RING_STEP = 12.0
_CHARACTER = 5.0  # mean width of a letter of the rings' names, to keep them inside the limb
_NARROWEST_SHOWN_DEG = 0.01
_KINDS: dict[EvidenceKind, str] = {
    # Translators: short names of the evidence for north, written small inside a figure: one word each.
    "stated": gettext_noop("stated"),
    "header": gettext_noop("header"),
    "moon": gettext_noop("moon"),
    "spots": gettext_noop("spots"),
    "sky": gettext_noop("sky"),
    "drift": gettext_noop("drift"),
    "refraction": gettext_noop("refraction"),
}


@dataclass(frozen=True)
class Pointer:
    """A direction marked outside the limb: a short line, its letter, and what the key below says of it."""

    letter: str
    line: str
    x: str
    y: str
    words: str
    value: str
    remark: str


@dataclass(frozen=True)
class EvidenceMark:
    """A piece of evidence: an arc of one standard error to each side, a tick at its angle, its kind."""

    arc: str
    tick: str
    kind: str
    x: str
    y: str
    anchor: str
    other_hand: bool


@dataclass(frozen=True)
class NorthFigure:
    """What the template draws; `fans` are two and one standard errors wide, `error` is empty where unknown."""

    mark: str
    title: str
    description: str
    scale: str
    fans: tuple[str, ...]
    pointers: tuple[Pointer, ...]
    evidence: tuple[EvidenceMark, ...]
    error: str
    other_hand: bool


def north_figure(observation: Observation, mark: str) -> NorthFigure | None:
    """Draw the evidence for north; None where north is not known, for there is no axis to draw.

    Parameters
    ----------
    observation : Observation
    mark : str
        Unique on the page; the ids of title and description begin with it.
    """
    orientation = observation.orientation
    if not orientation.is_known:
        return None
    directions = disc_directions(observation.sun, orientation)
    evidence = _evidence_marks(orientation)
    sigma_deg = orientation.sigma_deg
    return NorthFigure(
        mark=mark,
        title=gettext("Solar north on the disc, and the evidence for it"),
        description=_description(orientation, directions),
        scale=_scale(),
        fans=() if sigma_deg is None else (_fan(2 * sigma_deg), _fan(sigma_deg)),
        pointers=_pointers(directions, _error_words(sigma_deg)),
        evidence=evidence,
        error=_error_words(sigma_deg),
        other_hand=any(piece.other_hand for piece in evidence),
    )


def _error_words(sigma_deg: float | None) -> str:
    """Write the standard error with the digits that mean something; no error is written as nought."""
    if sigma_deg is None:
        return ""
    decimals = 2 if sigma_deg < 1 else 1 if sigma_deg < 10 else 0
    return f"± {degrees(max(sigma_deg, _NARROWEST_SHOWN_DEG), decimals)}"


def _description(orientation: Orientation, directions: Sequence[Direction]) -> str:
    """Say in words what the figure shows, for those who do not see it."""
    error = _error_words(orientation.sigma_deg)
    top = (
        gettext("Solar north is at the top, {error}.", error=error) if error else gettext("Solar north is at the top.")
    )
    parts = [top]
    if directions:
        where = "; ".join(f"{one.words}, {_turn_words(one.angle_deg)}" for one in directions)
        parts.append(gettext("Counted from it: {directions}.", directions=where))
    if orientation.evidence:
        pieces = "; ".join(_piece_words(piece, orientation) for piece in orientation.evidence)
        parts.append(gettext("Evidence: {pieces}.", pieces=pieces))
    return " ".join(parts)


def _piece_words(piece: Evidence, orientation: Orientation) -> str:
    where = _turn_words(shown_at_deg(piece, orientation))
    hand = ", " + gettext("in the mirror image") if _other_hand(piece, orientation) else ""
    return f"{gettext(EVIDENCE_NAMES[piece.kind])}, {where}, {_error_words(piece.sigma_deg)}{hand}"


def _turn_words(angle_deg: float) -> str:
    """Write an angle without a sign, for the ear."""
    angle = degrees(abs(angle_deg))
    return (
        gettext("{angle} clockwise", angle=angle)
        if angle_deg < 0
        else gettext("{angle} counter-clockwise", angle=angle)
    )


def _other_hand(piece: Evidence, orientation: Orientation) -> bool:
    return piece.mirrored != bool(orientation.mirrored)


def _pointers(directions: Sequence[Direction], error: str) -> tuple[Pointer, ...]:
    """Mark N and the other directions, each letter on the innermost ring where it touches no other."""
    pointers = [Pointer("N", *_pointer_place(0.0, 0), gettext("north pole of the Sun"), error or UNKNOWN, "")]
    taken = [(0, 0.0)]
    for one in directions:
        near = {ring for ring, at_deg in taken if abs(difference_deg(at_deg, one.angle_deg)) < _LETTER_ROOM_DEG}
        ring = min(set(range(len(taken) + 1)) - near)
        taken.append((ring, one.angle_deg))
        value = degrees(one.angle_deg, signed=True)
        pointers.append(Pointer(one.letter, *_pointer_place(one.angle_deg, ring), one.words, value, one.remark))
    return tuple(pointers)


def _pointer_place(angle_deg: float, ring: int) -> tuple[str, str, str]:
    """Return the line, and the letter's x and y."""
    x, y = _point(_LETTERS + ring * _LETTER_STEP, angle_deg)
    return _radial(*_POINTER, angle_deg), _figure(x), _figure(y)


def _evidence_marks(orientation: Orientation) -> tuple[EvidenceMark, ...]:
    """Put each piece on a ring of its own; what sees north in the lower half begins again at the limb."""
    lower = [piece for piece in orientation.evidence if abs(shown_at_deg(piece, orientation)) > 90]
    upper = [piece for piece in orientation.evidence if piece not in lower]
    return (*_on_rings(upper, orientation), *_on_rings(lower, orientation))


def _on_rings(pieces: Sequence[Evidence], orientation: Orientation) -> list[EvidenceMark]:
    """Put the surest outermost, so that long arcs run inside short ones and past their names."""
    outer, inner = _RINGS
    step = min(_RING_STEP, (outer - inner) / max(len(pieces) - 1, 1))
    ranked = sorted(pieces, key=lambda piece: piece.sigma_deg)
    return [_evidence_mark(piece, orientation, outer - step * ring) for ring, piece in enumerate(ranked)]


def _evidence_mark(piece: Evidence, orientation: Orientation, radius: float) -> EvidenceMark:
    at_deg = shown_at_deg(piece, orientation)
    half_deg = min(piece.sigma_deg, 179.0)
    kind = gettext(_KINDS[piece.kind])
    x, y, anchor = _label_place(kind, at_deg, half_deg=half_deg, radius=radius)
    return EvidenceMark(
        arc=_arc(radius, at_deg, half_deg),
        tick=_radial(radius - 4, radius + 4, at_deg),
        kind=kind,
        x=_figure(x),
        y=_figure(y),
        anchor=anchor,
        other_hand=_other_hand(piece, orientation),
    )


def _label_place(words: str, at_deg: float, *, half_deg: float, radius: float) -> tuple[float, float, str]:
    """Place a name beside the arc's right end, or under (over) it where it would run into the limb."""
    ends = [_point(radius, at_deg + half_deg), _point(radius, at_deg - half_deg)]
    x, y = max(ends)
    room = math.sqrt(_RADIUS**2 - y**2) - 8 - x
    if 5 + _CHARACTER * len(words) <= room:
        return x + 5, y + 3.5, "start"
    arc_above = math.cos(math.radians(at_deg)) > 0
    return x, y + (13 if arc_above else -6), "end"


@cache
def _scale() -> str:
    """Draw a stroke every ten degrees inside the limb, longer every thirty."""
    return " ".join(_radial(_RADIUS - (6 if at % 30 == 0 else 3), _RADIUS, at) for at in range(0, 360, 10))


def _fan(half_deg: float) -> str:
    """Draw the sector to both sides of the axis; from 180 degrees on it is the whole disc."""
    if half_deg >= 180:
        top, bottom = _pair(_RADIUS, 0), _pair(_RADIUS, 180)
        turn = f"A{_RADIUS:g},{_RADIUS:g} 0 1 1"
        return f"M{top} {turn} {bottom} {turn} {top} Z"
    return f"M0,0 L{_arc(_RADIUS, 0, half_deg)[1:]} Z"


def _arc(radius: float, at_deg: float, half_deg: float) -> str:
    """Draw an arc clockwise over `half_deg` to both sides of an angle."""
    large = int(half_deg > 90)
    start, end = _pair(radius, at_deg + half_deg), _pair(radius, at_deg - half_deg)
    return f"M{start} A{radius:g},{radius:g} 0 {large} 1 {end}"


def _radial(inner: float, outer: float, angle_deg: float) -> str:
    return f"M{_pair(inner, angle_deg)} L{_pair(outer, angle_deg)}"


def _pair(radius: float, angle_deg: float) -> str:
    x, y = _point(radius, angle_deg)
    return f"{_figure(x)},{_figure(y)}"


def _point(radius: float, angle_deg: float) -> tuple[float, float]:
    """Go counter-clockwise from the top: to the left, while x runs to the right and y down."""
    angle = math.radians(angle_deg)
    return -radius * math.sin(angle), -radius * math.cos(angle)


def _figure(value: float) -> str:
    return f"{round(value, 2) + 0.0:.2f}"  # -0.0 becomes 0.0
