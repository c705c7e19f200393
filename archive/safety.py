"""The usual cautions for anyone who looks at the Sun: one text each for site, README and commands."""

from archive.language import gettext_noop

__all__ = ["CAUTION", "ECLIPSE_CAUTION"]

# Translators: this is about people's safety: leave out nothing, and soften nothing.
CAUTION = gettext_noop(
    "The Sun blinds and burns in an instant. Never point a telescope, a finder or a camera at the Sun, "
    "and never look through one, without a filter made for solar use over its full front aperture. Fit "
    "and check the filter before the instrument is turned to the Sun, and leave it on until the "
    "instrument is turned away. Cover or remove finders. Never leave the instrument unattended near "
    "children. Follow the instructions of the makers and your local safety advice; where they say more "
    "than this, they come first."
)

ECLIPSE_CAUTION = gettext_noop(
    "The filter stays on throughout the partial phases, before every eye and every instrument: the thinnest crescent "
    "blinds and burns as the whole Sun does. Sunglasses, smoked glass and photographic film are no filters. A partial "
    "or annular eclipse is partial all the time. Only totality, while the Sun is wholly covered, is looked at without "
    "a filter, and never through a telescope, binoculars or a camera unless you know how; the filter is back before "
    "the first bead of light. Follow your local safety advice and the instructions of the makers; where they say more "
    "than this, they come first."
)
