"""The usual caution for anyone who points glass at the Sun: one text for site, README and commands."""

from archive.language import gettext_noop

__all__ = ["CAUTION"]

# Translators: this is about people's safety: leave out nothing, and soften nothing.
CAUTION = gettext_noop(
    "The Sun blinds and burns in an instant. Never point a telescope, a finder or a camera at the Sun, "
    "and never look through one, without a filter made for solar use over its full front aperture. Fit "
    "and check the filter before the instrument is turned to the Sun, and leave it on until the "
    "instrument is turned away. Cover or remove finders. Never leave the instrument unattended near "
    "children. Follow the instructions of the makers and your local safety advice; where they say more "
    "than this, they come first."
)
