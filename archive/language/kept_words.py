"""What the stages have told in English, told on pages in the language that is spoken.

Remarks, notes on evidence and titles of films are kept as sentences, so that one store serves every language. Here
stand all of them; where one is shown, its values are read out of it and put into the translation.
"""

from __future__ import annotations

import re
from functools import cache

from archive.language.figures import decimal
from archive.language.speech import gettext, gettext_noop, spoken

__all__ = ["KEPT", "kept_title", "kept_words"]

KEPT = (
    # Translators: remarks and notes on pictures. A remark becomes a sentence of its own: a capital letter and a full
    # stop are added where they are needed. Leave " deg" as it is: pages write the sign in its place.
    gettext_noop("the same spots on other days, after derotation"),
    gettext_noop(
        "the same spots on other days, after derotation; mirrored as in other weeks of the instrument, for these leave "
        "it open"
    ),
    gettext_noop("the same spots in white-light pictures of these days, after derotation"),
    gettext_noop("stated by the observer"),
    gettext_noop("{system} coordinates of the file"),
    gettext_noop("helioprojective"),
    gettext_noop("celestial"),
    gettext_noop("P - q + camera angle of the alt-azimuth mount"),
    gettext_noop("P + camera angle of the equatorial mount"),
    gettext_noop("the disc moved {distance} px to the west with tracking off"),
    gettext_noop("refraction flattens the disc by {percent} % along the vertical"),
    gettext_noop("camera angle {angle} deg learned from {n} picture solved by spots"),
    gettext_noop("camera angle {angle} deg learned from {n} pictures solved by spots"),
    gettext_noop("the Sun was {angle} deg below the horizon at this time and site: time or site is wrong"),
    gettext_noop("the spots leave two solutions for north: {first}, or {second}; more days may decide"),
    gettext_noop("{angle} deg mirrored"),
    gettext_noop(
        "the spots of this week fit only as mirror images, unlike those of the weeks around; were its pictures flipped?"
    ),
    gettext_noop(
        "the spots of this week fit only where they are not mirrored, unlike those of the weeks around; were its "
        "pictures flipped?"
    ),
    gettext_noop("its spots fit those of other days only as a mirror image; is mirrored right for this picture?"),
    gettext_noop(
        "its spots fit those of other days only where it is not mirrored; is mirrored right for this picture?"
    ),
    gettext_noop(
        "its spots put north {angle} deg from where the mount does; is the time right, its zone too, and was the "
        "camera as on other days?"
    ),
    gettext_noop("its spots fit better about {n} hours earlier; is the time right?"),
    gettext_noop("its spots fit better about {n} hours later; is the time right?"),
    gettext_noop(
        "more than one disc in the picture: that at {place} px is measured, another of radius {radius} px is at "
        "{other_place}; crop the picture if that is the wrong one"
    ),
    gettext_noop("spots are not counted because {why}; a count by hand is used"),
    gettext_noop("the picture is too small or soft: {why}"),
    gettext_noop("noise hides them: {why}"),
    gettext_noop("what is less than {percent} % darker than the disc does not stand out"),
    gettext_noop("{percent} % of the disc is outside the picture or hidden"),
    gettext_noop("spots under some {area} millionths do not show because the picture is small or soft: {why}"),
    gettext_noop("spots under some {area} millionths would not show here: {why}"),
    gettext_noop("spots are counted where the disc shows: {percent} % of it is outside the picture or hidden"),
    gettext_noop("{blur} px of blur on a radius of {radius} px"),
    gettext_noop("{first_kind} says {first}; {second_kind} says {second}"),
    gettext_noop("{angle} ± {error} deg, mirrored"),
    # Translators: one-word names of the evidence for north.
    gettext_noop("stated"),
    gettext_noop("header"),
    gettext_noop("spots"),
    gettext_noop("sky"),
    gettext_noop("drift"),
    gettext_noop("refraction"),
    # Translators: what the length of a capture did to a picture.
    gettext_noop("Field rotation"),
    gettext_noop("Smear at the limb"),
    gettext_noop("Blur from solar rotation"),
    gettext_noop("Longest capture without derotation"),
    gettext_noop("{rate}° an hour; {angle}° in the capture"),
    gettext_noop("{rate}° an hour"),
    gettext_noop("{length} s (1 px of blur)"),
    # Translators: laws of the Sun's rotation, by what they were measured on.
    gettext_noop("all spots"),
    gettext_noop("recurrent spots"),
    gettext_noop("Doppler features"),
    gettext_noop("this archive"),
    # Translators: pieces of the titles of films, joined by commas.
    gettext_noop("Carrington rotation {number}"),
    gettext_noop("The last {n} days observed"),
    gettext_noop("The last day observed"),
    gettext_noop("{first} to {last}"),
    gettext_noop("smooth rotation"),
    gettext_noop("fixed longitudes"),
    gettext_noop("white light"),
    gettext_noop("H-alpha"),
    gettext_noop("calcium K"),
    gettext_noop("another band"),
)
_FIGURES = re.compile(r"[\d+−\-±().,\s°″′]*(?:(?:px|s|deg)[\d+−\-±().,\s°″′]*)*")


def kept_words(words: str) -> str:
    """Return what a stage has told in the language that is spoken; as it is where it is none of what stages tell."""
    if spoken() == "en" or not words:
        return words
    for template, pattern in _patterns():
        found = pattern.fullmatch(words)
        if found is not None:
            values = {name: kept_words(value) for name, value in found.groupdict().items() if name != "end"}
            told = gettext(template).format(**values).replace(" deg", "°") + (found["end"] or "")
            return told[0].upper() + told[1:] if words[0].isupper() else told
    return _with_decimal_sign(words).replace(" deg", "°") if _FIGURES.fullmatch(words) else words


def kept_title(title: str) -> str:
    """Return the title of a film in the language that is spoken."""
    return title if spoken() == "en" else ", ".join(map(kept_words, title.split(", ")))


def _with_decimal_sign(words: str) -> str:
    return re.sub(r"\d\.\d", lambda found: decimal(found[0]), words)


@cache
def _patterns() -> list[tuple[str, re.Pattern[str]]]:
    """Return a pattern for each sentence; of two that fit, that with fewer names to be read out comes first."""
    return [(one, _pattern(one)) for one in sorted(dict.fromkeys(KEPT), key=lambda one: (one.count("{"), -len(one)))]


def _pattern(template: str) -> re.Pattern[str]:
    pieces = re.split(r"\{(\w+)\}", template)
    fixed = [re.escape(piece).replace(r"\ deg", r"(?:\ deg|°)") for piece in pieces[::2]]
    if fixed[0][:1].isalpha():
        fixed[0] = f"(?i:{fixed[0][0]}){fixed[0][1:]}"
    names = [f"(?P<{name}>.+?)" for name in pieces[1::2]]
    whole = "".join(part for pair in zip(fixed, [*names, ""], strict=True) for part in pair)
    return re.compile(rf"{whole}(?P<end>\.?)")
