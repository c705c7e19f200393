"""The laws of the Sun's rotation as the pages write them."""

from __future__ import annotations

from markupsafe import Markup

from archive.model.rotation_law import RotationLaw
from archive.website.wording import UNKNOWN, number

__all__ = ["law_formula", "rate_words"]


def rate_words(rate_deg_per_day: float | None, sigma: float | None = None) -> str:
    """Write a rate with its standard error: ``14.21 ± 0.15``."""
    words = number(rate_deg_per_day, 2)
    if sigma is None or words == UNKNOWN:
        return words
    return f"{words} ± {number(max(sigma, 0.01), 2)}".replace(" ", "\N{NO-BREAK SPACE}")


def law_formula(law: RotationLaw) -> Markup:
    """Write the law in the latitude φ, with standard errors where it has them: ``14.37 ± 0.05 − 2.7 sin²φ``."""
    terms = [Markup(rate_words(law.equator_deg_per_day, law.equator_sigma))]
    factors = ((law.sine_squared_deg_per_day, law.sine_squared_sigma, 2), (law.sine_fourth_deg_per_day, None, 4))
    for factor, sigma, power in factors:
        if factor:
            size = rate_words(abs(factor), sigma)
            size = size if sigma is None else f"({size})"
            terms.append(Markup("{} {} sin<sup>{}</sup> φ").format("−" if factor < 0 else "+", size, power))
    return Markup(" ").join(terms)
