"""From observations to a static site."""
