"""What the commands say: results on stdout, warnings and progress on stderr."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterable, Sequence
from dataclasses import fields, is_dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from archive.command_streams import out, say, terminal_width
from archive.disk import read_named
from archive.model.observation import Orientation
from archive.safety import CAUTION

if TYPE_CHECKING:
    from archive.built import Built, Filmed
    from archive.delivery.evening import Evening
    from archive.delivery.preview import PreviewEvent
    from archive.delivery.publication import Published, Rehearsed
    from archive.filing.adding import Added
    from archive.publishing.checking import Checked
    from archive.reports.days import SunAt

__all__ = [
    "count_words",
    "north_in_words",
    "print_added",
    "print_answer",
    "print_built",
    "print_causes",
    "print_checked",
    "print_created",
    "print_evening",
    "print_filmed",
    "print_preview",
    "print_published",
    "print_refusal",
    "print_rehearsed",
    "print_sun",
    "print_warnings",
]


def print_refusal(causes: Sequence[str], *, as_json: bool) -> None:
    """One line a cause."""
    print_causes(causes)
    print_answer({"status": "refused", "causes": causes}, as_json=as_json)


def print_answer(answer: object, *, as_json: bool) -> None:
    """The machine-readable answer, where it was asked for."""
    if as_json:
        text = json.dumps(answer, default=_plain, ensure_ascii=False, indent=1, allow_nan=False)
        # A name that is no text on this disk comes as escapes, which JSON has for every unit of it.
        out(text.encode("utf-8", "backslashreplace").decode())


def print_created(folder: Path, settings: Path, *, as_json: bool) -> None:
    """Where the archive is, what comes next, and the caution."""
    if as_json:
        print_answer({"status": "done", "folder": folder, "settings": settings}, as_json=True)
        return
    out(f"made {settings}; edit it whenever something changes")
    out(f"next: northlimb add {folder} PICTURE...")
    out()
    out(click.wrap_text(CAUTION, width=terminal_width()))


def print_added(result: Added, *, as_json: bool) -> None:
    """A line for each picture as it is done."""
    print_warnings(result.warnings)
    if result.status == "refused":
        print_causes(result.causes)
    elif as_json:
        return
    elif result.status == "known":
        out(f"{_one_line(result.picture)}: already in the archive as {result.id}; nothing written")
    elif result.status == "removed":
        out(f"{_one_line(result.picture)}: was removed from the archive; name the picture itself to file it again")
    elif result.disc is not None and result.orientation is not None:
        disc = result.disc
        out(
            f"{result.id}  {_one_line(result.picture)}: disc at ({disc.x_px:.1f}, {disc.y_px:.1f}) px, "
            f"radius {disc.radius_px:.1f} px; north {north_in_words(result.orientation)}"
        )


def print_built(built: Built, *, as_json: bool) -> None:
    """What the site holds, and where to look."""
    print_warnings(built.warnings)
    if as_json:
        print_answer({"status": "done", **_fields(built)}, as_json=True)
        return
    report = built.report
    out(
        f"{count_words(built.observations, 'observation')} on {count_words(built.days, 'day')}, "
        f"{count_words(len(built.films), 'film')}: {count_words(report.written, 'file')} written, "
        f"{report.unchanged} unchanged, {report.removed} removed; {report.site_bytes / 1e6:.1f} MB"
    )
    out(f"look at {built.home.absolute()}")


def print_filmed(made: Filmed, *, as_json: bool) -> None:
    """Where the film is."""
    print_warnings(made.warnings)
    if as_json:
        listed = json.loads(read_named(made.frames_json))
        print_answer({"status": "done", "film": made, **listed}, as_json=True)
        return
    out(f"film of {count_words(len(made.observation_ids), 'observation')}, {made.frames} frames: {made.mp4.absolute()}")
    out(f"beside it {made.frames_json.name} lists its frames; poster and small loop too")
    if made.home is not None:
        out(f"look at {made.home.absolute()}")


def print_published(sent: Published, *, as_json: bool) -> None:
    """What travelled."""
    if sent.report.not_of_the_site:
        print_warnings(
            [f"{sent.target}: removed files that were not of this site: {', '.join(sent.report.not_of_the_site)}"]
        )
    if as_json:
        print_answer({"status": "done", **_fields(sent)}, as_json=True)
        return
    report = sent.report
    out(
        f"published to {sent.target}: {count_words(report.copied, 'file')} sent ({report.bytes_copied / 1e6:.1f} MB), "
        f"{report.unchanged} unchanged, {report.removed} removed"
    )


def print_rehearsed(coming: Rehearsed, *, as_json: bool) -> None:
    """What would travel."""
    if as_json:
        print_answer({"status": "done", "dry_run": True, **_fields(coming)}, as_json=True)
        return
    for word, names in (("send", coming.send), ("remove", coming.remove)):
        for name in names:
            out(f"{word}  {_one_line(name)}")
    report = coming.report
    out(
        f"to {coming.target}: {count_words(report.copied, 'file')} to send ({report.bytes_copied / 1e6:.1f} MB), "
        f"{report.unchanged} unchanged, {report.removed} to remove; nothing was changed"
    )


def print_checked(found: Checked, *, as_json: bool) -> None:
    """A line for each file that is not as built."""
    for advice, names in (("missing there", found.missing), ("not the built site's bytes", found.changed)):
        print_causes(f"{found.place}: {name}: {advice}; publish again" for name in names)
    if as_json:
        print_answer({"status": "done" if found.same else "refused", **_fields(found)}, as_json=True)
        return
    out(
        f"{count_words(found.checked, 'file')} read back from {found.place}; "
        f"{'all' if found.same else 'not all'} as built"
    )


def print_evening(evening: Evening, *, as_json: bool) -> None:
    """Site, film and target, after `add --publish`."""
    if as_json:
        return
    print_built(evening.built, as_json=False)
    print_published(evening.published, as_json=False)


def print_preview(event: PreviewEvent, *, as_json: bool) -> None:
    """Where to point the browser; then a line whenever the site was built again, or the reasons why not."""
    from archive.built import Built
    from archive.delivery.preview import Refused

    if isinstance(event, Refused):
        print_refusal(event.causes, as_json=as_json)
    elif isinstance(event, Built):
        print_warnings(event.warnings)
        print_answer({"status": "rebuilt", **_fields(event)}, as_json=as_json)
        if not as_json:
            written, removed = event.report.written, event.report.removed
            out(f"built again: {count_words(written, 'file')} written, {removed} removed")
    else:
        print_answer({"status": "serving", "address": event.address}, as_json=as_json)
        if not as_json:
            out(f"showing {event.site_dir} at {event.address} (Ctrl-C stops)")
    sys.stdout.flush()


def print_sun(found: SunAt, *, as_json: bool) -> None:
    """The Sun at a time and place, and the caution."""
    from archive.stages.capture import longest_words, smear_words

    view, turning = found.sun, found.field_rotation_deg_per_hour
    if as_json:
        print_answer(
            {
                "time_utc": found.time_utc,
                "site": found.site,
                **_fields(view),
                "field_rotation_deg_per_hour": turning,
                "capture": found.capture,
            },
            as_json=True,
        )
        return
    out(f"{found.time_utc:%Y-%m-%d %H:%M:%S} UTC, {found.site}")
    for label, value in (
        ("P", f"{view.p_deg:+.2f} deg"),
        ("B0", f"{view.b0_deg:+.2f} deg"),
        ("L0", f"{view.l0_deg:.2f} deg, Carrington rotation {view.carrington_rotation}"),
        ("semidiameter", f"{view.semidiameter_arcsec:.1f} arcsec"),
        ("altitude", f"{view.altitude_deg:+.1f} deg (without refraction), azimuth {view.azimuth_deg:.1f} deg"),
        ("parallactic angle", f"{view.parallactic_angle_deg:+.1f} deg"),
        ("field rotation", f"{turning:+.1f} deg/h for an alt-azimuth camera, counter-clockwise positive"),
        ("smear in 100 s", smear_words(found.capture.limb_smear_px, found.capture.limb_smear_arcsec) or "none"),
        ("longest capture", longest_words(found.capture) or "--radius PX, the disc's in your pictures, tells it"),
    ):
        out(f"  {label:<18}{value}")
    out()
    out(click.wrap_text(CAUTION, width=terminal_width()))


def north_in_words(orientation: Orientation) -> str:
    """A picture's north angle, its error and what it is worth."""
    if orientation.status == "unknown":
        return "not known: shown as it came (state --north-angle, or the instrument's camera angle and mirroring)"
    mirrored = ", mirrored" if orientation.mirrored else ""
    return f"{orientation.north_angle_deg:+.1f} ± {orientation.sigma_deg:.1f} deg{mirrored} ({orientation.status})"


def count_words(number: int, noun: str) -> str:
    """``1 spot``, ``2 spots``."""
    return f"{number} {noun}{'' if number == 1 else 's'}"


def print_warnings(warnings: Iterable[str]) -> None:
    """One line each."""
    for warning in warnings:
        say(f"warning: {_one_line(warning)}")


def print_causes(causes: Iterable[str]) -> None:
    """One line each."""
    for cause in causes:
        say(f"northlimb: {_one_line(cause)}")


def _one_line(text: str) -> str:
    """No line break and no control character of a file's name reaches the terminal."""
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())


def _fields(value: object) -> dict[str, Any]:
    found: dict[str, Any] = _plain(value)
    return found


def _plain(value: object) -> Any:
    """Dataclasses as objects, times in UTC to the second, paths as text."""
    if is_dataclass(value):
        return {field.name: getattr(value, field.name) for field in fields(value)}
    if isinstance(value, datetime):
        return f"{value.astimezone(UTC):%Y-%m-%dT%H:%M:%SZ}"
    return str(value)
